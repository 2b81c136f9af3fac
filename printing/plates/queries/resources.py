"""What a plan can be made with: usable resin lots, printers in use, what is promised already, places after printing."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Sum

from printing.plates.models import PlacedUnit, PrintBatch, Printer, Zone
from printing.stock.content import ResinLotFacts
from printing.stock.models import Equipment, ResinLot
from printing.stock.queries import fill_in_tank, resin_lot_facts

UL_PER_ML = 1000
NOT_STARTED = ("planned", "queued", "ready")
ON_THE_WAY = (*NOT_STARTED, "printing")
CODED: Mapping[str, type[Zone] | type[PrintBatch] | type[PlacedUnit]] = {
    "zone": Zone,
    "print batch": PrintBatch,
    "unit": PlacedUnit,
}


def usable_lots(site_id: int, *, at: datetime) -> tuple[ResinLotFacts, ...]:
    """Return the resin lots of a site that may be printed, those that expire first first."""
    codes = ResinLot.objects.filter(site_id=site_id, state="approved").order_by("code").values_list("code", flat=True)
    found = [lot for lot in (resin_lot_facts(code, at=at) for code in codes) if not lot.blockers]
    return tuple(sorted(found, key=lambda lot: (lot.expires_on is None, str(lot.expires_on), lot.code)))


def printers_in_use(site_id: int) -> tuple[Printer, ...]:
    """Return the printers of a site that are not out of use, by code."""
    rows = Printer.objects.filter(site_id=site_id, out_of_use_at=None).select_related("tank").order_by("code")
    return tuple(rows)


def free_from(printer: Printer, *, at: datetime) -> datetime:
    """Return when a printer will have run every batch that is planned on it, one after the other from `at`."""
    waiting = PrintBatch.objects.filter(printer=printer, state__in=ON_THE_WAY).aggregate(sum=Sum("seconds"))["sum"]
    return at + timedelta(seconds=waiting or 0)


def promised_ul(lot: str) -> int:
    """Return how much of a resin lot the batches take that are planned and have not started [uL]."""
    texts = PrintBatch.objects.filter(resin_lot__code=lot, state__in=NOT_STARTED).values_list("plan_text", flat=True)
    plates = [json.loads(text) for text in texts]
    return sum(int(plate["resin_ul"]) - int(plate["resin"]["tank_minimum_ul"]) for plate in plates)


def in_tank_ul(tank: str, lot: str, *, at: datetime) -> int:
    """Return how much of a resin lot stands in a tank and may be printed with [uL]."""
    fill = fill_in_tank(tank, at=at) if tank else None
    if fill is None or fill.resin_lot != lot or fill.blockers:
        return 0
    return int(fill.left_ml * Decimal(UL_PER_ML))


def in_loose_tanks_ul(site_id: int, lot: str, *, at: datetime) -> int:
    """Return how much of a resin lot stands in tanks that are fitted to no printer [uL]."""
    fitted = Printer.objects.filter(tank__isnull=False).values("tank_id")
    loose = Equipment.objects.filter(site_id=site_id, kind="tank").exclude(pk__in=fitted)
    return sum(in_tank_ul(code, lot, at=at) for code in loose.order_by("code").values_list("code", flat=True))


def places_for(site_id: int, formulation: str) -> Mapping[str, int]:
    """Return how many pieces of equipment of each kind there are that a formulation may use."""
    found: dict[str, int] = {}
    rows = Equipment.objects.filter(site_id=site_id, formulation_code__in=("", formulation))
    for kind in rows.values_list("kind", flat=True):
        found[kind] = found.get(kind, 0) + 1
    return found


def codes_on_record(kind: str, codes: list[str]) -> frozenset[str]:
    """Return which of some codes of zones, print batches or units are on record already, of whatever site."""
    return frozenset(CODED[kind]._default_manager.filter(code__in=codes).values_list("code", flat=True))
