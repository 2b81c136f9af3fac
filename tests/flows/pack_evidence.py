"""What three packs leave behind: 28 each, every unit and every microgram accounted for, labels that scan and read."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import Any

from tests.flows.client import refusal
from tests.flows.living import Home
from tests.flows.ordering import FAMILY_NAME, GIVEN_NAME
from tests.flows.packing import CONTAINERS
from tests.flows.papers import can_scan, pdf_of, scanned, words_on
from tests.flows.way import Way

TIMES = {"3": "7 in the morning", "2": "1 in the afternoon", "1.75": "7 in the evening"}

SEPARATOR = "\x1d"
FIXED = {"01": 14, "11": 6, "17": 6}
"""Application identifiers of fixed length used here [characters] (GS1 General Specifications, section 3)."""

GS1_DATA_MATRIX = "]d2"
"""Symbology identifier of a GS1 DataMatrix (ISO/IEC 15424; GS1 General Specifications, table 5.1.2-2)."""


def check_packs(home: Home, way: Way) -> None:
    """Three lines, three containers, 28 units each, all of the line's own zone and none in two packs."""
    packs = {dose: home.tomas.get(f"pack/{code}") for dose, code in way.packs.items()}
    assert sorted(packs) == sorted(CONTAINERS)
    assert {dose: pack["state"] for dose, pack in packs.items()} == {
        "3": "supplied",
        "2": "returned",
        "1.75": "released",
    }
    assert len({pack["container_lot"] for pack in packs.values()}) == 3
    inside = [code for pack in packs.values() for code in pack["unit_codes"]]
    assert len(inside) == len(set(inside)) == 3 * 28
    for dose, pack in packs.items():
        zone = home.tomas.get(f"zone/{way.zone_of(dose)}")
        assert (pack["line"], pack["batch"], pack["zone"]) == (way.line_of(dose), way.batch, zone["code"])
        assert len(pack["unit_codes"]) == pack["wanted"] == 28
        assert set(pack["unit_codes"]) <= {unit["code"] for unit in zone["units"]}
        assert not set(pack["unit_codes"]) & way.rejected


def check_every_unit(home: Home, way: Way) -> None:
    """Every unit that was planned has a fate, and the fates add up."""
    batch = home.tomas.get(f"batch/{way.batch}")
    states = Counter(unit["state"] for zone in batch["zones"] for unit in zone["units"])
    spares = sum(zone["spares"] for zone in batch["zones"] if zone["line"])
    tests = sum(len(zone["units"]) for zone in batch["zones"] if not zone["line"])
    assert states == {
        "supplied": 28 + 23,
        "returned": 5,
        "packed": 28,
        "rejected": 2,
        "surplus": spares - 2,
        "tested": tests,
    }
    assert states.total() == len({unit["code"] for zone in batch["zones"] for unit in zone["units"]})
    assert {u["code"] for z in batch["zones"] for u in z["units"] if u["state"] == "rejected"} == way.rejected


def check_stock(home: Home, way: Way) -> None:
    """Each weighing leaves one lot and enters another; what the resin lot took in stands on its accounts."""
    moved = home.tables.all("SELECT lot, account, sum(amount_ug) FROM stock_stockmovement GROUP BY lot, account")
    balances = home.tables.all("SELECT lot, account, amount_ug FROM stock_balance")
    assert sorted((lot, account, int(ug)) for lot, account, ug in moved if ug) == sorted(
        (lot, account, ug) for lot, account, ug in balances if ug
    )
    weighed = {lot: -int(ug) for lot, ug in _sums(home, "why = 'weighed' AND amount_ug < 0")}
    entered = {lot: int(ug) for lot, ug in _sums(home, "why = 'weighed' AND amount_ug > 0")}
    assert set(weighed) == set(way.bench.ingredient_lots)
    assert entered == {way.bench.resin_lot: sum(weighed.values())}
    held = {account: ug for lot, account, ug in balances if lot == way.bench.resin_lot}
    assert sum(held.values()) == entered[way.bench.resin_lot]
    assert held[way.batch] > 0
    assert min(held.values()) >= 0


def _sums(home: Home, where: str) -> list[tuple[Any, ...]]:
    return home.tables.all(f"SELECT lot, sum(amount_ug) FROM stock_stockmovement WHERE {where} GROUP BY lot")


def check_labels(home: Home, way: Way, folder: Path, *, gs1: bool) -> None:
    """Each label reads as the order says and its symbol leads to the pack; looks at it are on record."""
    before = home.tables.one("SELECT count(*) FROM ground_readentry")
    for dose, code in way.packs.items():
        pack = home.tomas.get(f"pack/{code}")
        pdf = pdf_of(home.ada, way.labels[dose], folder)
        words = words_on(pdf)
        said = f"Take ONE {dose} mg tablet ({dose} mg) at {TIMES[dose]}, every day."
        name = f"Hydrocortisone {dose} mg tablets 28 tablets"
        for part in (f"{GIVEN_NAME} {FAMILY_NAME}", name, said, way.batch, code, "Dr Mira Voss", way.order):
            assert part in words, (part, words)
        assert "2.25" not in words
        assert _day_in(pack["use_by_date"], words), (pack["use_by_date"], words)
        if can_scan():
            ((kind, text),) = scanned(pdf)
            assert text == way.symbols[dose]
            _check_symbol(kind, text, pack, gs1=gs1)
    assert home.tables.one("SELECT count(*) FROM ground_readentry") == before + 3
    refusal(home.mira, f"pack/{way.packs['3']}/issue-label", {}, status=403)


def _check_symbol(kind: str, text: str, pack: dict[str, Any], *, gs1: bool) -> None:
    if not gs1:
        assert text == pack["code"]
        return
    assert kind == GS1_DATA_MATRIX
    found = elements(text)
    assert set(found) == {"01", "10", "17", "21", "30"}
    assert found["30"] == "28"
    assert found["10"] == pack["batch"]
    assert found["17"] == pack["use_by_date"].replace("-", "")[2:]
    assert found["21"] == pack["code"]
    assert _gtin_is_sound(found["01"])


def elements(text: str) -> dict[str, str]:
    """Return a GS1 element string's parts by application identifier."""
    found: dict[str, str] = {}
    while text:
        name, text = text[:2], text[2:]
        length = FIXED.get(name, text.find(SEPARATOR) if SEPARATOR in text else len(text))
        found[name], text = text[:length], text[length:].removeprefix(SEPARATOR)
    return found


def _gtin_is_sound(gtin: str) -> bool:
    """Weigh a GTIN's digits by 3 and 1 from the right; with its check digit they end in 0 (GS1, section 7.9.1)."""
    digits = [int(one) for one in reversed(gtin)]
    return sum(digit * (3 if place % 2 else 1) for place, digit in enumerate(digits)) % 10 == 0


def _day_in(day: str, words: str) -> bool:
    year, _, number = day.split("-")
    return year in words and str(int(number)) in words


def check_certificates(home: Home, way: Way, folder: Path) -> None:
    """Each released pack has one certificate with its lots, units, signatures and what was not tested."""
    for dose, code in way.packs.items():
        words = words_on(pdf_of(home.otto, way.certificates[dose], folder))
        for part in (code, way.batch, way.bench.resin_lot, way.patient, *way.bench.ingredient_lots):
            assert part in words, (part, words)
        assert f"28 tablets in container lot {CONTAINERS[dose]}" in words
        assert "Lena Fuchs" in words
        assert "not tested" in words
        assert not re.search(r"\bQP\b", words)
        assert FAMILY_NAME not in words
        number = home.otto.get(f"document/{way.certificates[dose]}")
        assert (number["kind"], number["state"], number["subject"]) == ("certificate", "original", code)


def check_label_originals(home: Home, way: Way) -> None:
    """Originals are numbered without a gap: four issued, three applied, one spoiled; each after its zone's approval."""
    labels = home.tables.all(
        "SELECT d.number, i.what FROM ground_document d JOIN ground_documentissue i ON i.document_id = d.id "
        "WHERE d.kind = 'label' AND d.state = 'original' ORDER BY d.number, i.id"
    )
    assert Counter(what for _, what in labels) == {"issued": 4, "applied": 3, "spoiled": 1}
    assert len({number for number, _ in labels}) == 4
    acts = [
        row[0] for row in home.tables.all("SELECT action FROM ground_auditentry WHERE outcome = 'done' ORDER BY seq")
    ]
    assert acts.index("label.issue") > len(acts) - 1 - acts[::-1].index("zone.approve_to_pack")
