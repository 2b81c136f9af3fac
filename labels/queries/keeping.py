"""How long the units of a zone keep: what bounds the last day of use."""

from __future__ import annotations

from datetime import datetime

from dosewright.ground.jurisdictions import Pack as LawPack
from labels.expiry import Expiry, ExpiryFacts, find_expiry
from labels.queries.making import printed_at, printed_on
from printing.formulary.queries import facts_by_id
from printing.plates.models import Zone
from printing.stock.queries import ingredient_lot_facts, resin_lot_facts


def keeps_until(zone: Zone, *, law: LawPack, at: datetime) -> Expiry:
    """Return the last day of use of a zone's units and what set it.

    The shelf life that the validated formulation states rests on its study in the container it names; without
    one the site's default in the refrigerator holds, and the strictest cap of the law, for nobody measured the
    water activity that would tell the classes apart. Raises BadInput when a component had expired before.
    """
    batch = zone.batch
    formulation = facts_by_id(batch.formulation_id)
    studied = formulation.shelf_life_days
    caps = [cap.days for cap in law.expiry_caps]
    lots = resin_lot_facts(batch.resin_lot.code, at=printed_at(batch)).ingredient_lots
    return find_expiry(
        ExpiryFacts(
            made_on=printed_on(batch),
            default_days=batch.site.values.default_shelf_life_days,
            studied_days=studied,
            cap_days=min(caps) if caps and studied is None else None,
            materials=tuple((lot, ingredient_lot_facts(lot, at=at).expires_on) for lot in sorted(set(lots))),
        )
    )
