"""An invented pack and its certificate for the tests of content and paper; no real person, place or product."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal
from zoneinfo import ZoneInfo

from dosewright.ground.jurisdictions import load_pack
from labels.certificate import CertificateSection, Grid, SignatureLine, certificate_content
from labels.content import LabelFacts, label_content
from labels.wording import Directions, FormName
from prescriptions.regimens import ClockTimes

DEMO = load_pack("demo", "2026.1")
WORDS = DEMO.wording("en")
LISBON = ZoneInfo("Europe/Lisbon")
DIGEST = "ab" * 32


def label_facts(**changes) -> LabelFacts:
    """Return the facts of one invented pack; the GTIN is the worked example of GS1 Hong Kong."""
    values = {
        "number": "DC-7KQ3M9PA",
        "pack_code": "PK-7KQ3M9PA",
        "order_code": "RX-7KQ3M9PC",
        "patient": "Maribel Ostrander-Quillfeather",
        "patient_identifier": "born 4 May 2016",
        "product_name": "hydrocortisone",
        "directions": Directions(
            form=FormName(one="tablet", many="tablets"),
            dose_mg=Decimal("1.75"),
            units_per_dose=1,
            timing=ClockTimes(times=(time(19),)),
        ),
        "start_date": date(2026, 3, 2),
        "stop_date": date(2026, 3, 29),
        "count": 28,
        "batch": "PB-7KQ3M9",
        "use_by_date": date(2026, 4, 30),
        "storage": "Store in a refrigerator (2 to 8 °C).",
        "precautions": ("Swallow whole.", "Do not split or crush: each tablet is one measured dose."),
        "prescriber": "Dr A. Tamsin",
        "supplier_name": "Larkmoor Ward Pharmacy",
        "supplier_address": "3 Quay Lane, Larkmoor, tel. 0555 0100",
        "supply_date": date(2026, 2, 28),
        "is_unlicensed": True,
        "gtin": "06291041500213",
    }
    return LabelFacts(**(values | changes))


def a_label(state: str = "original", **changes):
    """Return the label content of the invented pack."""
    return label_content(label_facts(**changes), law=DEMO, language="en", state=state)


def sections() -> list[CertificateSection]:
    """Return the sections of an invented certificate."""
    plain = [
        CertificateSection(id=name, title=name.capitalize(), facts=((f"{name} fact", "28 of 28"),))
        for name in ("order", "composition", "lots", "plan", "steps")
    ]
    tests = CertificateSection(
        id="tests",
        title="Tests against limits",
        grid=Grid(
            heads=("Test", "Limit", "Found", "Verdict"),
            rows=(("Mass, mean", "3 % of predicted 41.2 mg", "+0.6 %", "passed"),),
        ),
    )
    return [*plain, tests, CertificateSection(id="deviations", title="Deviations", remarks=("None.",))]


def a_signature(**changes) -> SignatureLine:
    """Return an invented pharmacist's signature."""
    values = {
        "printed_name": "Jorun Vale",
        "profession": "Pharmacist, registration 20522",
        "meaning": "Released for supply",
        "digest": DIGEST,
        "signed_at": datetime(2026, 2, 28, 9, 5, 33, tzinfo=LISBON),
    }
    return SignatureLine(**(values | changes))


def a_certificate(**changes):
    """Return the certificate content of the invented pack."""
    values = {
        "number": "DC-7KQ3M9PC",
        "state": "original",
        "language": "en",
        "law": DEMO,
        "basis": "TV-NAMED",
        "instruments": ["TV-3"],
        "pack_code": "PK-7KQ3M9PA",
        "head_lines": ["Larkmoor Ward Pharmacy (invented)"],
        "sections": sections(),
        "not_tested": ["Dissolution was not tested on this batch."],
        "signatures": [a_signature()],
        "chain_head": DIGEST,
    }
    return certificate_content(**(values | changes))
