"""One shelf for all tests of a class, each of them undone: to plan and print a batch takes seconds."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any, ClassVar

from django.db import transaction
from django.test import TestCase

from prescriptions.queries import order_facts
from tests.orders import enter_signed, order_request
from tests.packs import Shelf, shelf


class OnShelf(TestCase):
    """Builds the shelf once inside the class's transaction; every test rolls back to it."""

    shelf_facts: ClassVar[dict[str, Any]] = {}
    on: ClassVar[Shelf]

    @classmethod
    def setUpClass(cls) -> None:
        super().setUpClass()
        try:
            cls.on = shelf(**cls.shelf_facts)
            cls.build()
        except BaseException:
            cls.tearDownClass()
            raise

    @classmethod
    def build(cls) -> None:
        """Go further with the shelf than `shelf` does."""


def order_more(on: Shelf, code: str) -> None:
    """Enter a second order of the same substance for the shelf's patient, which is a new alert on the first."""
    enter_signed(on.cast, order_request(patient={"code": order_facts(on.order).patient}), at=on.at)


@contextlib.contextmanager
def undone() -> Iterator[None]:
    """Undo what the body writes; actions inside may open their own durable transactions, as in a test."""
    block = transaction.atomic()
    block._from_testcase = True  # type: ignore[attr-defined]
    with block:
        yield
        transaction.set_rollback(True)
