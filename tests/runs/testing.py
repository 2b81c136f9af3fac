"""A batch in testing, for the tests of masses, verdicts and deviations."""

from __future__ import annotations

from datetime import datetime

from printing.plates.content import ZoneFacts
from printing.plates.queries import batch_facts, zone_facts
from printing.runs import services
from printing.runs.content import ZoneEvidence
from printing.runs.queries import zone_evidence
from printing.runs.services.judging import VerdictAnswer
from tests.batches import a_balance, run_to, tenths, weighed_zone
from tests.cast import pen
from tests.runs.conftest import Plate


class Testing:
    """A batch whose finishing has ended, its balance and the moment."""

    __test__ = False

    def __init__(self, plate: Plate, state: str = "testing") -> None:
        self.cast, self.batch, self.order = plate.cast, plate.batch, plate.order
        self.now: datetime = run_to(plate.cast, plate.batch, state)
        self.balance = a_balance(plate.cast)

    @property
    def zones(self) -> tuple[ZoneFacts, ...]:
        """Every zone of the batch, in the order of removal."""
        return batch_facts(self.batch, site_id=self.cast.site.pk).zones

    @property
    def patient_zones(self) -> list[ZoneFacts]:
        """The zones of dose lines."""
        return [one for one in self.zones if one.line is not None]

    def zone(self, code: str) -> ZoneFacts:
        """Return a zone as it is now."""
        return zone_facts(code, site_id=self.cast.site.pk)

    def evidence(self, code: str) -> ZoneEvidence:
        """Return what a verdict on a zone would rest on now."""
        return zone_evidence(code, site_id=self.cast.site.pk)

    def weigh(self, zone: ZoneFacts, **masses: str) -> tuple[str, ...]:
        """Break off, weigh and look at one zone; masses by "n5" and the like."""
        changed = {int(name[1:]): value for name, value in masses.items()}
        return weighed_zone(self.cast, zone.code, self.balance, masses=changed, at=self.now)

    def judge(self, zone: ZoneFacts) -> VerdictAnswer:
        """Judge a zone (Ada)."""
        return services.judge_zone(self.cast.ada, zone.code, at=self.now)

    def close(self, code: str, decision: str, by: str = "lena.fuchs") -> None:
        """Close a deviation with a decision."""
        closer = self.cast.act(by)
        services.close_deviation(
            closer,
            code,
            investigation="looked into by two people, invented for the test",
            action_taken="counted and weighed again, invented for the test",
            decision=decision,
            pen=pen(services.shown_for_close(closer, code)),
            at=self.now,
        )


def masses(zone: ZoneFacts) -> list[str]:
    """Return the predicted masses of a zone's units as the balance shows them."""
    return [tenths(one.predicted_mass_ug) for one in zone.units]
