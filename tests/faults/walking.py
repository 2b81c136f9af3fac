"""The whole way of an order while the web server is killed at every step of every action on it."""

from __future__ import annotations

from tests.faults.clearing import cleared
from tests.faults.rows import Ledger, Wanted
from tests.faults.striking import KILL_WEB, Strikes, strike_everybody
from tests.faults.trial import Trial
from tests.faults.ways_aside import walk_aside
from tests.flows.audit_evidence import check_audit
from tests.flows.pack_evidence import check_every_unit, check_label_originals, check_labels, check_packs, check_stock
from tests.flows.plate_evidence import check_lines, check_plate_file
from tests.flows.whole_way import walk

CLEARED = "files-left-behind"


def walk_struck(trial: Trial, ledger: Ledger, wanted: Wanted) -> None:
    """Walk from an empty site to a supplied and a returned pack; then count everything from outside."""
    strikes = Strikes(trial=trial, ledger=ledger, wanted=wanted)
    strike_everybody(strikes)
    papers = trial.folder / "papers"
    papers.mkdir(exist_ok=True)
    with ledger.row(KILL_WEB, "the-whole-way") as told:
        way = walk(trial.home, papers)
        trial.quiet()
        for check in (check_lines, check_plate_file, check_packs, check_every_unit, check_stock, check_label_originals):
            check(trial.home, way)
        check_labels(trial.home, way, papers, gs1=False)
        check_audit(trial.home)
        told.say(f"{len(strikes.done)} kills on the way; 3 packs of 28, every unit and microgram accounted for")
        told.say("verify_audit finds no fault")
        told.seen = "records, labels, audit trail"
        walk_aside(trial.home, way, ledger, KILL_WEB)
        trial.quiet()
        check_audit(trial.home)
    if wanted(KILL_WEB, CLEARED):
        with ledger.row(KILL_WEB, CLEARED) as told:
            cleared(trial, told)
