"""Whatever people do at a site, in any order: what must be true of it is true after every step.

Some histories run with every test; many by their own command, which prints what they consisted of::

    HISTORIES=10000 python -m pytest tests/races/test_histories.py -s
"""

from __future__ import annotations

import os
from collections import Counter
from typing import ClassVar

import pytest
from django.db import connection
from django.test import TestCase
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.batches import undone
from tests.races.histories import Player, Site, founded
from tests.races.invariants import INVARIANTS, Book, broken, broken_record

pytestmark = pytest.mark.slow

ASKED = os.environ.get("HISTORIES", "")
HISTORIES = int(ASKED or 10)
STEPS = int(os.environ.get("HISTORY_STEPS") or 10)
LEAST_MOVES = 10
"""Kinds of moves that must have been made, or the histories mean nothing."""


class History(RuleBasedStateMachine):
    """One history; it is undone when it ends, so that each begins at the same site."""

    site: ClassVar[Site]
    tally: ClassVar[Counter[str]] = Counter()
    told: ClassVar[Counter[str]] = Counter()

    def __init__(self) -> None:
        super().__init__()
        self.block = undone()
        self.block.__enter__()
        self.book = Book()
        assert broken(self.book) == []
        self.player = Player(self.site, self.tally)
        self.steps = 0

    @rule(data=st.data())
    def somebody_does_something(self, data: st.DataObject) -> None:
        self.player.play(lambda most: data.draw(st.integers(0, most - 1)))
        self.steps += 1

    @invariant()
    def nothing_is_broken(self) -> None:
        assert broken(self.book) == []

    def teardown(self) -> None:
        try:
            assert broken_record() == []
            History.told["histories"] += 1
            History.told["steps"] += self.steps
            if ASKED and History.told["histories"] % 10 == 0:
                print(dict(History.told), flush=True)
        finally:
            self.block.__exit__(None, None, None)


SPOILT = {
    "units_are_conserved": "UPDATE plates_placedunit SET state = 'planned' WHERE id = (SELECT min(unit_id) FROM "
    "labels_packunit)",
    "stock_is_conserved": "UPDATE stock_balance SET amount_ug = amount_ug + 1",
    "one_batch_runs_on_a_printer": "DELETE FROM plates_printbatch WHERE state = 'planned'",
    "one_formulation_in_a_tank": "UPDATE stock_equipment SET formulation_code = 'FM-OTHER' WHERE kind = 'tank'",
    "a_reference_is_one_order": "UPDATE prescriptions_order SET reference = reference || 'x'",
    "a_line_is_made_once": "UPDATE prescriptions_doseline SET committed_to = ''",
    "packs_are_not_mixed": "UPDATE labels_pack SET zone_id = zone_id + 1",
    "nothing_leaves_unreleased": "UPDATE labels_pack SET state = 'released'",
    "signatures_are_bound": "UPDATE prescriptions_order SET state = 'verified'",
    "labels_are_counted": "INSERT INTO ground_document (code, site_id, kind, number, state, subject_kind, subject, "
    "content_text, content_digest, file_digest, path, made_by_id, made_at) SELECT 'DC-X', site_id, kind, '00007', "
    "state, "
    "subject_kind, subject, content_text, content_digest, file_digest, path, made_by_id, made_at FROM ground_document "
    "WHERE kind = 'label' AND state = 'original' LIMIT 1",
    "the_chain_goes_on": "UPDATE ground_chain SET length = length + 1",
}
"""One statement for each invariant that must break it."""


class TestHistories(TestCase):
    """The site is built once; each history and each spoiling is undone."""

    site: ClassVar[Site]

    @classmethod
    def setUpClass(cls) -> None:
        super().setUpClass()
        try:
            cls.site = founded()
        except BaseException:
            cls.tearDownClass()
            raise

    def test_what_must_be_true_is_true_after_every_step(self) -> None:
        History.site, History.tally, History.told = self.site, Counter(), Counter()
        run_state_machine_as_test(
            History,
            settings=settings(
                max_examples=HISTORIES,
                stateful_step_count=STEPS,
                deadline=None,
                suppress_health_check=list(HealthCheck),
                derandomize=not ASKED,
                database=None,
            ),
        )
        lines = [f"{count:7d} {name}" for name, count in sorted(History.tally.items())]
        print(f"\n{dict(History.told)}", *lines, sep="\n")
        refused = sum(count for name, count in History.tally.items() if name.endswith("refused"))
        assert History.told["histories"] >= HISTORIES
        assert len({name for name in History.tally if not name.endswith("refused")}) >= LEAST_MOVES, lines
        assert History.tally.total() - refused > HISTORIES, lines

    def test_every_invariant_can_fail(self) -> None:
        assert set(SPOILT) == {check.__name__ for check in INVARIANTS}
        for name, statement in SPOILT.items():
            with undone():
                book = Book()
                assert broken(book) == []
                with connection.cursor() as cursor:
                    cursor.execute(statement)
                assert any(what.startswith(f"{name}:") for what in broken(book)), (name, broken(book))
