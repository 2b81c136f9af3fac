"""Invented orders in any number, the same ones for the same seed and day."""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

FAMILY = (
    "Ashcombe",
    "Birkwald",
    "Cloverly",
    "Dunmere",
    "Elmsworth",
    "Fenwild",
    "Gorsemoor",
    "Hazelby",
    "Ivybank",
    "Juniperton",
    "Kelpsea",
    "Larchmont",
    "Mossfield",
    "Nettlecombe",
    "Oakhollow",
    "Pinewater",
)
GIVEN = ("Ada", "Bo", "Cleo", "Dario", "Edda", "Finn", "Gwen", "Hedda", "Ivo", "Jara", "Kaj", "Lotte", "Milo", "Nele")
DOSES_MG = ("1", "1.25", "1.5", "1.75", "2", "2.25", "2.5", "2.75", "3", "3.25", "3.5", "4", "4.5", "5", "6")
TIMES = ("07:00", "13:00", "19:00")
DAYS = (14, 21, 28)


def invented_orders(count: int, seed: int, today: date) -> list[dict[str, Any]]:
    """Return `count` orders of invented children and adults as the order JSON."""
    chance = random.Random(seed)
    return [_order(chance, seed, number, today) for number in range(1, count + 1)]


def _order(chance: random.Random, seed: int, number: int, today: date) -> dict[str, Any]:
    years = chance.choice((7, 8, 9, 10, 11, 13, 15, 17, 25, 40, 55, 70))
    weight = min(3 * years + 4, 55) + chance.randint(0, 60) / 10 + (15 if years > 17 else 0)
    start = today + timedelta(days=chance.randint(3, 9))
    days = chance.choice(DAYS)
    doses = chance.sample(DOSES_MG, k=chance.choice((1, 2, 3)))
    return {
        "reference": f"SEED-{seed}-{number:05d}",
        "patient": {
            "identifier": {"system": "urn:example:hospital-number", "value": f"SEED-{seed}-{number:05d}"},
            "family_name": f"{chance.choice(FAMILY)}-{number}",
            "given_name": chance.choice(GIVEN),
            "birth_date": (today - timedelta(days=years * 365 + chance.randint(30, 300))).isoformat(),
            "sex": chance.choice(("female", "male")),
            "weight": {"value": f"{weight:.1f}", "unit": "kg", "measured_on": (today - timedelta(days=4)).isoformat()},
            "allergies": {"status": "none", "entries": []},
            "swallowing": "solids",
            "feeding_tube": False,
            "stricture": False,
        },
        "substance": "hydrocortisone",
        "release": "immediate",
        "route": "oral",
        "reason": "invented: no licensed product gives these doses",
        "regimen": {
            "steps": [
                {"dose": f"{dose} mg", "times": [time], "start_date": start.isoformat(), "days": days}
                for dose, time in zip(doses, TIMES, strict=False)
            ]
        },
    }
