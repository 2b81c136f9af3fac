"""One order through every door (command, REST as JSON, CSV and FHIR, page): waiting, signed, screened, verified, once.

Shared by both stacks. Every door brings the same day of three unequal doses for a child of its own (invented).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.flows.client import Person
from tests.flows.living import Home
from tests.flows.ordering import checked, order_for, screened
from tests.imports import example

FHIR = {"Content_Type": "application/fhir+json"}
BOUNDARY = "----every-door"


@dataclass(frozen=True, slots=True, kw_only=True)
class Child:
    """One invented child: what tells the orders of two doors apart."""

    number: str
    family_name: str
    given_name: str
    birth_date: str

    def in_place_of_the_example(self, data: bytes, home: Home) -> bytes:
        """Return an example file with this child and a reference of its own."""
        swaps = {
            b"EX-1001": self.number.encode(),
            b"Examplewood": self.family_name.encode(),
            b"Juniper": self.given_name.encode(),
            b"2017-05-04": self.birth_date.encode(),
            b"EXAMPLE-CSV-1": f"DOOR-{self.number}".encode(),
            b"EXAMPLE-FHIR-1": f"DOOR-{self.number}".encode(),
        }
        for old, new in swaps.items():
            data = data.replace(old, new)
        return data


def csv_of(child: Child, home: Home) -> bytes:
    """Return the first order of the CSV example, for a child."""
    rows = example("orders_example.csv", home.now().date()).splitlines(keepends=True)[:4]
    return child.in_place_of_the_example(b"".join(rows), home)


def bundle_of(child: Child, home: Home) -> bytes:
    """Return the FHIR example, for a child."""
    return child.in_place_of_the_example(example("bundle_example.json", home.now().date()), home)


def request_of(child: Child, home: Home) -> bytes:
    """Return the order of the FHIR example alone, with whom it names contained in it."""
    entries = json.loads(bundle_of(child, home))["entry"]
    patient, practitioner, weight, allergy, request = (one["resource"] for one in entries)
    for number, one in enumerate((patient, practitioner, weight, allergy)):
        one["id"] = f"c{number}"
    weight["subject"] = allergy["patient"] = request["subject"] = {"reference": "#c0"}
    request["requester"] = {"reference": "#c1"}
    request["contained"] += [patient, practitioner, weight, allergy]
    return json.dumps(request).encode()


def by_json(home: Home, child: Child) -> str:
    """Enter it as the order JSON; the prescriber is one of this site."""
    patient = {
        "identifier": {"system": "urn:example:hospital-number", "value": child.number},
        "family_name": child.family_name,
        "given_name": child.given_name,
        "birth_date": child.birth_date,
    }
    order = order_for(home, f"DOOR-{child.number}", patient=patient, prescriber={"registration": "DEMO-P-1001"})
    for step in order["regimen"]["steps"]:
        step["start_date"] = _first_day(home)
    return str(home.tomas.post("order", {"order": order})["code"])


def by_csv(home: Home, child: Child) -> str:
    """Send it as CSV."""
    answer = home.tomas.post_bytes("order/import?source=ward-4", csv_of(child, home), Content_Type="text/csv")
    return str(answer.json["orders"][0]["code"])


def by_fhir(home: Home, child: Child) -> str:
    """Send it as one FHIR MedicationRequest."""
    answer = home.tomas.post_bytes("fhir/MedicationRequest", request_of(child, home), **FHIR)
    return str(answer.headers["Location"].rpartition("/")[2])


def by_bundle(home: Home, child: Child) -> str:
    """Send it as a FHIR Bundle."""
    body = home.tomas.post_bytes("fhir", bundle_of(child, home), **FHIR).json
    return str(body["entry"][4]["response"]["location"].rpartition("/")[2])


def by_page(home: Home, child: Child) -> str:
    """Send it as a file, as a browser does, and find it on the page that follows."""
    disposition = 'Content-Disposition: form-data; name="file"; filename="orders.csv"'
    head = f"--{BOUNDARY}\r\n{disposition}\r\nContent-Type: text/csv\r\n\r\n".encode()
    body = head + csv_of(child, home) + f"\r\n--{BOUNDARY}--\r\n".encode()
    media = f"multipart/form-data; boundary={BOUNDARY}"
    answer = home.tomas.send("POST", "/order/new/import", body, Content_Type=media)
    page = answer.body.decode()
    assert answer.status == 200, page
    return page.partition('href="/order/RX-')[2].partition('"')[0].join(("RX-", ""))


def by_command(home: Home, child: Child) -> str:
    """Import it by the command."""
    path = home.logs / f"{child.number}.csv"
    path.write_bytes(csv_of(child, home))
    document = json.loads(home.stack.python("manage.py", "import_orders", str(path), "--as", "tomas.lind", "--json"))
    return str(document["orders"][0]["code"])


WAYS: tuple[tuple[Callable[[Home, Child], str], Child], ...] = (
    (by_json, Child(number="E-1", family_name="Alderquist", given_name="Wim", birth_date="2016-02-11")),
    (by_csv, Child(number="E-2", family_name="Bramblesea", given_name="Suri", birth_date="2017-05-23")),
    (by_fhir, Child(number="E-3", family_name="Coldharrow", given_name="Tove", birth_date="2015-11-30")),
    (by_bundle, Child(number="E-4", family_name="Dapplemoor", given_name="Ines", birth_date="2018-01-08")),
    (by_page, Child(number="E-5", family_name="Fallowgate", given_name="Ravi", birth_date="2016-09-17")),
    (by_command, Child(number="E-6", family_name="Gladewick", given_name="Bela", birth_date="2017-12-04")),
)


def walk_every_door(home: Home) -> None:
    """Bring one order through each door and take it to verified; the doors differ in nothing that is made."""
    before = _orders(home)
    codes = [way(home, child) for way, child in WAYS]
    assert _orders(home) == before + len(WAYS)
    for (way, _), code in zip(WAYS, codes, strict=True):
        assert home.rosa.get(f"order/{code}")["state"] == "waiting", way.__name__
        assert _sign(home, code, local=way is by_json)["state"] == "received"
    lines = [_lines(screened(home, code)) for code in codes]
    assert lines[0] == [("3", 28), ("2", 28), ("1.75", 28)]
    assert all(one == lines[0] for one in lines)
    for code in codes:
        checked(home, code)
    assert [way(home, child) for way, child in WAYS] == codes
    assert _orders(home) == before + len(WAYS)
    for code in codes:
        # No other flow of this home shall plan them.
        assert home.rosa.post(f"order/{code}/stop", {"reason": "the walk of the doors ended"})["state"] == "stopped"


def refuse_at_every_door(home: Home) -> None:
    """Bring a dose in megagrams through each door of files: named by its place, and nothing is left behind."""
    before = home.tables.counts()
    child = Child(number="E-9", family_name="Hollowfern", given_name="Odo", birth_date="2016-04-19")
    wrong = csv_of(child, home).replace(b"2 mg,", b"2 Mg,")
    answer = home.tomas.send("POST", "/api/v1/order/import", wrong, Content_Type="text/csv")
    assert (answer.status, answer.json["refused"][0]["field"]) == (422, "line 3, dose")
    bundle = bundle_of(child, home).replace(b'"code": "mg"', b'"code": "Mg"')
    answer = home.tomas.send("POST", "/api/v1/fhir", bundle, **FHIR)
    assert answer.status == 422
    assert answer.json["resourceType"] == "OperationOutcome"
    assert answer.json["issue"][0]["expression"][0].endswith("doseQuantity.unit")
    assert home.tables.counts() == before


def _sign(home: Home, code: str, *, local: bool) -> Any:
    """Sign by the prescriber who is of this site, else attest by a pharmacist who saw the original."""
    if local:
        return home.mira.sign(f"order/{code}/sign")
    return _attested(home.jonas, code, home.now().date().isoformat())


def _attested(pharmacist: Person, code: str, day: str) -> Any:
    return pharmacist.sign(f"order/{code}/attest", {"reference": f"original of {code}", "seen_on": day})


def _lines(order: dict[str, Any]) -> list[tuple[str, int]]:
    return [(one["dose_mg"], one["administrations"]) for one in order["lines"]]


def _orders(home: Home) -> int:
    return int(home.tables.one("SELECT count(*) FROM prescriptions_order"))


def _first_day(home: Home) -> str:
    repeat = json.loads(example("bundle_example.json", home.now().date()))["entry"][4]["resource"]["dosageInstruction"]
    return str(repeat[0]["timing"]["repeat"]["boundsPeriod"]["start"])
