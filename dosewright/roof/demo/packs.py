"""Approves zones, packs, labels, releases and supplies; and shows what is refused on the way."""

from __future__ import annotations

from dataclasses import dataclass

from dosewright.ground.law import shown_for_sign_law, sign_law
from dosewright.ground.pure.errors import Refused
from dosewright.roof.demo.stage import Stage
from labels import services as labels
from prescriptions.queries.facts import order_state
from printing.plates.content import ZoneFacts
from printing.plates.queries import batch_facts

CONTAINER = "INVENTED-BOTTLE-07"
LAW_PACK = "demo 2026.1"


@dataclass(slots=True, kw_only=True)
class Packed:
    """One pack and where it came from."""

    code: str
    line: str
    order: str
    zone: str


def sign_law_into_use(stage: Stage) -> None:
    """Let a pharmacist sign the demo's invented law pack into use."""
    rosa = stage.person("rosa.keller")
    shown = shown_for_sign_law(rosa, LAW_PACK)
    sign_law(rosa, LAW_PACK, pen=stage.pen("rosa.keller", shown), at=stage.now())
    stage.say(f"law pack {LAW_PACK} (invented) signed into use")


def pack_batch(stage: Stage, batch: str) -> list[Packed]:
    """Pack every zone of a closed batch that is for a patient and passed."""
    packs = []
    for zone in batch_facts(batch, site_id=stage.site_id).zones:
        if zone.line is None or zone.state != "passed" or zone.order is None:
            continue
        if order_state(zone.order) != "verified":
            stage.say(f"zone {zone.code} is not packed: its order is {order_state(zone.order)}")
            continue
        packs.append(_pack(stage, zone))
    stage.say(f"batch {batch}: {len(packs)} packs, each labelled and scanned by a second person")
    return packs


def _pack(stage: Stage, zone: ZoneFacts) -> Packed:
    rosa, tomas, ada = stage.person("rosa.keller"), stage.person("tomas.lind"), stage.person("ada.brandt")
    shown = labels.shown_for_approve_to_pack(rosa, zone.code, at=stage.now())
    labels.approve_to_pack(rosa, zone.code, pen=stage.pen("rosa.keller", shown), at=stage.now())
    code = labels.start_pack(tomas, zone=zone.code, container_lot=CONTAINER, line_is_clear=True, at=stage.now()).code
    labels.fill_pack(tomas, code, zone=zone.code, count=zone.wanted, at=stage.now())
    label = labels.issue_label(tomas, code, at=stage.now()).document
    labels.account_label(tomas, code, label=label, became="applied", at=stage.now())
    labels.second_scan(ada, code, zone=zone.code, container_lot=CONTAINER, label=label, at=stage.now())
    labels.close_pack(tomas, code, at=stage.now())
    stage.skip(120)
    return Packed(code=code, line=zone.line or "", order=zone.order or "", zone=zone.code)


def release_and_supply(stage: Stage, packs: list[Packed]) -> None:
    """Release every pack by a pharmacist who took no part in it, then hand it over."""
    lena, tomas = stage.person("lena.fuchs"), stage.person("tomas.lind")
    if packs:
        _show_refusals(stage, packs[0])
    for pack in packs:
        shown = labels.release_record(lena, pack.code, at=stage.now())
        labels.release_pack(lena, pack.code, scanned=pack.code, pen=stage.pen("lena.fuchs", shown), at=stage.now())
        labels.supply_pack(tomas, pack.code, scanned=pack.code, to_whom="ward 3 (invented)", at=stage.now())
    stage.say(f"{len(packs)} packs released by a pharmacist who took no part in them, certified, and supplied")


def _show_refusals(stage: Stage, pack: Packed) -> None:
    """Try what must not go: supply before release, release by somebody who took part."""
    tomas, jonas = stage.person("tomas.lind"), stage.person("jonas.weber")
    try:
        labels.supply_pack(tomas, pack.code, scanned=pack.code, to_whom="ward 3 (invented)", at=stage.now())
    except Refused as refused:
        stage.say(f"supply before release refused: {refused.refusals[0].message}")
    shown = labels.release_record(jonas, pack.code, at=stage.now())
    try:
        labels.release_pack(jonas, pack.code, scanned=pack.code, pen=stage.pen("jonas.weber", shown), at=stage.now())
    except Refused as refused:
        stage.say(f"release by {jonas.printed_name}, who tested it, refused: {refused.refusals[0].message}")


def take_one_back(stage: Stage, pack: Packed) -> None:
    """Let a supplied pack come back with a few units left: it is held apart and destroyed before a witness."""
    labels.take_back_pack(
        stage.person("tomas.lind"), pack.code, units=5, reason="treatment changed (invented)", at=stage.now()
    )
    labels.destroy_pack(
        stage.person("rosa.keller"),
        pack.code,
        witness="ada.brandt",
        witness_password=stage.passwords["ada.brandt"],
        reason="returned units (invented)",
        at=stage.now(),
    )
    stage.say(f"pack {pack.code} came back with 5 units, held apart, destroyed before a witness")
