"""Approval to pack, packs, labels, release, supply, return and stop, over HTTP, with the refusals on the way."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.flows.client import by_token, refusal
from tests.flows.living import Home
from tests.flows.papers import can_scan, pdf_of, scanned
from tests.flows.way import Way

LAW = "demo%202026.1"
CONTAINERS = {"3": "JAR-17-A", "2": "JAR-17-B", "1.75": "JAR-17-C"}
"""Container lots, invented."""

WARD = "ward 3"


def law_in_use(home: Home) -> None:
    """Sign the invented country's law pack into use."""
    home.rosa.sign(f"law-pack/{LAW}/sign")


def start(home: Home, way: Way, dose: str, **changes: Any) -> dict[str, Any]:
    """Return what is sent to start the pack of a dose."""
    return {"zone": way.zone_of(dose), "container_lot": CONTAINERS[dose], "line_is_clear": True, **changes}


def approved_zones(home: Home, way: Way) -> None:
    """Nothing is packed, and so no label original printed, before a pharmacist approved the zone."""
    early = refusal(home.tomas, "pack", start(home, way, "3"), status=409)
    assert early.on("zone")["accepted"] == "approved to pack"
    assert home.tables.one("SELECT count(*) FROM ground_document WHERE kind = 'label'") == 0
    for code in way.zones.values():
        problem = refusal(
            home.tomas, f"zone/{code}/approve-to-pack", {"password": "x", "shown_digest": "x"}, status=403
        )
        assert problem.on("actor")["accepted"] == "pharmacist"
        assert home.jonas.sign(f"zone/{code}/approve-to-pack")["state"] == "approved to pack"


def filled_pack(home: Home, way: Way, dose: str) -> str:
    """Start and fill the pack of a dose; a wrong zone and a wrong count are refused."""
    assert refusal(home.tomas, "pack", start(home, way, dose, line_is_clear=False), status=422).on("line_is_clear")
    code = str(home.tomas.post("pack", start(home, way, dose))["code"])
    other = next(one for one in way.zones.values() if one != way.zone_of(dose))
    assert refusal(home.tomas, f"pack/{code}/fill", {"zone": other, "count": 28}, status=422).on("zone")["limit"]
    short = {"zone": way.zone_of(dose), "count": 27}
    assert refusal(home.tomas, f"pack/{code}/fill", short, status=422).on("count")["limit"] == "28"
    home.tomas.post(f"pack/{code}/fill", {"zone": way.zone_of(dose), "count": 28})
    return code


def labelled(home: Home, code: str, *, spoil: bool) -> str:
    """Issue a label original, spoil it where asked and issue another, and apply it; return its code."""
    label = str(home.tomas.post(f"pack/{code}/issue-label", {})["document"])
    if spoil:
        gone = {"label_code": label, "became": "spoiled", "reason": "smeared (invented)"}
        home.tomas.post(f"pack/{code}/account-label", gone)
        label = str(home.tomas.post(f"pack/{code}/issue-label", {})["document"])
    assert refusal(home.tomas, f"pack/{code}/issue-label", {}, status=422).on("label")["value"] == label
    assert refusal(home.tomas, f"pack/{code}/close", status=409).refused
    home.tomas.post(f"pack/{code}/account-label", {"label_code": label, "became": "applied"})
    return label


def packed(home: Home, way: Way, dose: str) -> None:
    """Take one dose's zone to a closed pack; the packer is not the second person."""
    code = filled_pack(home, way, dose)
    way.labels[dose] = labelled(home, code, spoil=dose == "2")
    scan = {"zone": way.zone_of(dose), "container_lot": CONTAINERS[dose], "label_code": way.labels[dose]}
    assert refusal(home.tomas, f"pack/{code}/second-scan", scan, status=403).on("actor")["accepted"]
    assert refusal(home.ada, f"pack/{code}/second-scan", scan | {"container_lot": "JAR-9"}, status=422).refused
    assert "second_scan" in {one["field"] for one in refusal(home.tomas, f"pack/{code}/close", status=409).refused}
    home.ada.post(f"pack/{code}/second-scan", scan)
    assert home.tomas.post(f"pack/{code}/close")["state"] == "packed"
    way.packs[dose] = code


def released(home: Home, way: Way, folder: Path) -> None:
    """Release each pack by the third pharmacist, who scans its label; nothing is supplied before."""
    for dose, code in way.packs.items():
        supply = {"scanned": code, "to_whom": WARD}
        assert refusal(home.tomas, f"pack/{code}/supply", supply, status=409).on(code)["accepted"] == "released"
        way.symbols[dose] = _symbol_of(home, way.labels[dose], folder, otherwise=code)
        if dose == "3":
            refused_releases(home, way, code)
        answer = home.lena.sign(f"pack/{code}/release", {"scanned": way.symbols[dose]})
        assert answer["state"] == "released"
        way.certificates[dose] = answer["document"]


def refused_releases(home: Home, way: Way, code: str) -> None:
    """Neither who made, tested or packed it, nor whoever scanned another pack, releases one; nobody by token."""
    seen = home.lena.shown(f"pack/{code}/release")
    assert seen["shown"]["blockers"] == []
    pen = {"shown_digest": seen["shown_digest"], "scanned": way.symbols["3"]}
    for person, accepted in (
        (home.tomas, "pharmacist"),
        (home.mira, "pharmacist"),
        (home.jonas, "pharmacist other than the tester"),
    ):
        problem = refusal(person, f"pack/{code}/release", pen | {"password": person.password}, status=403)
        assert problem.on("actor")["accepted"] == accepted
    token = home.lena.post("token", {"name": "release program", "days": 1})["token"]
    program = by_token(home.base_url, token)
    by_program = refusal(program, f"pack/{code}/release", pen | {"password": home.lena.password}, status=403)
    assert "never given by token" in by_program.on("actor")["message"]
    other = next(one for one in way.packs.values() if one != code)
    wrong = pen | {"password": home.lena.password, "scanned": other}
    assert refusal(home.lena, f"pack/{code}/release", wrong, status=422).on("scanned")["limit"] == code
    assert home.tomas.get(f"pack/{code}")["state"] == "packed"


def _symbol_of(home: Home, label: str, folder: Path, *, otherwise: str) -> str:
    """Return what a scanner sends that reads the printed label; the pack's code as typed where nothing can draw it."""
    pdf = pdf_of(home.tomas, label, folder)
    if not can_scan():
        return otherwise
    ((_, text),) = scanned(pdf)
    return text


def released_once(home: Home, code: str, symbol: str) -> None:
    """Hold that a pack is not released a second time."""
    again = refusal(home.lena, f"pack/{code}/release", {"scanned": symbol}, status=409, signed=True)
    assert "already-released" in again.rules


def supplied(home: Home, way: Way) -> None:
    """Supply two packs, once each; take one back; stop the order; the third is not supplied."""
    first, second, third = way.packs.values()
    for code in (first, second):
        hand_over = {"scanned": code, "to_whom": WARD}
        assert home.tomas.post(f"pack/{code}/supply", hand_over)["state"] == "supplied"
        assert refusal(home.tomas, f"pack/{code}/supply", hand_over, status=409).slug == "conflict"
    back = {"units": 5, "reason": "the child went home (invented)"}
    assert home.tomas.post(f"pack/{second}/take-back", back)["state"] == "returned"
    last = {"scanned": second, "to_whom": WARD}
    assert refusal(home.tomas, f"pack/{second}/supply", last, status=409).slug == "conflict"
    assert home.mira.post(f"order/{way.order}/stop", {"reason": "treatment ended (invented)"})["state"] == "stopped"
    for person in (home.tomas, home.rosa):
        late = refusal(person, f"pack/{third}/supply", {"scanned": third, "to_whom": WARD}, status=409)
        assert late.on("order")["value"] == "stopped"
    assert home.tomas.get(f"pack/{third}")["state"] == "released"


def packs_on_their_way(home: Home, way: Way, folder: Path) -> None:
    """Go the way from a closed batch to a supplied, a returned and a held pack."""
    law_in_use(home)
    approved_zones(home, way)
    for dose in CONTAINERS:
        packed(home, way, dose)
    released(home, way, folder)
    released_once(home, way.packs["3"], way.symbols["3"])
    supplied(home, way)
