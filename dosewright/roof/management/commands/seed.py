"""Fills an empty home with an invented site and invented orders."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandParser

from dosewright.ground import work
from dosewright.ground.models import Site
from dosewright.ground.pure.errors import Conflict, Refusal
from dosewright.roof import clock
from dosewright.roof.checks import SEEDED
from dosewright.roof.demo import house, orders
from dosewright.roof.demo.invented import invented_orders
from dosewright.roof.demo.medicines import HYDROCORTISONE, set_up_medicines
from dosewright.roof.demo.stage import Stage
from dosewright.roof.json_command import JsonCommand
from prescriptions.intake.order_json import read_orders

MOST_ORDERS = 100_000


class Command(JsonCommand):
    """python3 manage.py seed --orders N --seed S [--json]"""

    help = "fill an empty home with an invented site, its people, a formulation and invented orders"

    def add_own_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--orders", type=_count, required=True, metavar="N")
        parser.add_argument("--seed", type=int, required=True, metavar="S", help="the same seed gives the same orders")

    def answer(self, **options: Any) -> Any:
        call_command("migrate", verbosity=0)
        if Site.objects.exists():
            raise Conflict(
                Refusal(
                    field="home",
                    value=str(settings.DOSEWRIGHT_HOME),
                    message="is not empty",
                    accepted="a home without a site",
                    rule="empty home",
                )
            )
        (settings.DOSEWRIGHT_HOME / SEEDED).write_text("The people and orders of this home are invented.\n")
        stage = Stage(home=Path(settings.DOSEWRIGHT_HOME))
        stage.open()
        site = house.found(stage)
        formulation = next(iter(set_up_medicines(stage, (HYDROCORTISONE,))))
        today = clock.now().date()
        asked = invented_orders(options["orders"], options["seed"], today)
        entered = orders.enter_all(
            stage, [(item["reference"], one) for item, one in zip(asked, read_orders(asked, today=today), strict=True)]
        )
        _work_off()
        return {
            "site": site.code,
            "formulation": formulation,
            "orders": [{"code": one.code, "reference": one.reference, "refused": one.refused or []} for one in entered],
            "logins": str(settings.DOSEWRIGHT_HOME / "keys" / "invented_logins.json"),
        }

    def tell(self, document: Any) -> None:
        self.stdout.write(f"{len(document['orders'])} invented orders at site {document['site']}")
        self.stdout.write(f"logins: {document['logins']}")


def _work_off() -> None:
    """Run the work that the orders left, until there is none."""
    while found := work.sweep(clock=clock.now):
        for work_id in found:
            work.run(work_id, clock=clock.now)
        sys.stderr.write(".")
    sys.stderr.write("\n")


def _count(text: str) -> int:
    number = int(text)
    if not 0 <= number <= MOST_ORDERS:
        raise ValueError(f"0 to {MOST_ORDERS} orders")
    return number
