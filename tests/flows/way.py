"""One order's whole way over HTTP, with every refusal that must stand on it; used on both stacks.

`walk` goes from an empty site to a supplied and a returned pack and hands back the codes of what it left, for the
tests to look at from outside.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from tests.flows.client import by_token, refusal
from tests.flows.compounding import Bench, ready_bench
from tests.flows.living import Home
from tests.flows.ordering import checked, enter_and_sign, order_for, screened, set_up_substance

REFERENCE = "WARD-0001"


@dataclass(slots=True, kw_only=True)
class Way:
    """Codes of what one order left behind."""

    order: str
    bench: Bench
    lines: dict[str, str] = field(default_factory=dict)
    plan: str = ""
    batch: str = ""
    zones: dict[str, str] = field(default_factory=dict)
    test_zones: list[str] = field(default_factory=list)
    patient: str = ""
    rejected: set[str] = field(default_factory=set)
    packs: dict[str, str] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)
    symbols: dict[str, str] = field(default_factory=dict)
    certificates: dict[str, str] = field(default_factory=dict)
    heard: Any = None

    def line_of(self, dose: str) -> str:
        """Return the code of the dose line of a dose in mg."""
        return next(line for line, mg in self.lines.items() if mg == dose)

    def zone_of(self, dose: str) -> str:
        """Return the code of the zone of a dose in mg."""
        return self.zones[self.line_of(dose)]


def signed_order(home: Home) -> str:
    """Enter and sign the order, meeting each refusal on the way; return its code."""
    order = order_for(home, REFERENCE)
    problem = refusal(home.otto, "order", {"order": order}, status=403)
    assert (problem.slug, problem.on("actor")["accepted"]) == ("not-allowed", "pharmacist or prescriber or technician")
    code = enter_and_sign(home, order)
    again = home.mira.post("order", {"order": order})
    assert (again["code"], again["repeated"]) == (code, True)
    other = order_for(home, REFERENCE, ("30 mg", "07:00"))
    assert refusal(home.mira, "order", {"order": other}, status=409).on("reference")["value"] == REFERENCE
    return code


def refused_signatures(home: Home, code: str) -> None:
    """Nobody signs for another, by token, with a wrong password, or what they were not shown."""
    verify = f"order/{code}/verify"
    token = home.rosa.post("token", {"name": "ward program", "days": 1})["token"]
    digest = home.rosa.shown(verify)["shown_digest"]
    pen = {"shown_digest": digest, "password": home.rosa.password}
    assert (
        "never given by token"
        in refusal(by_token(home.base_url, token), verify, pen, status=403).on("actor")["message"]
    )
    assert refusal(home.rosa, verify, pen | {"password": "guessed"}, status=403).on("password")["accepted"]
    assert (
        refusal(home.rosa, verify, pen | {"shown_digest": "0" * 64}, status=409).on("shown_digest")["limit"] == digest
    )
    for person in (home.mira, home.tomas, home.otto):
        problem = refusal(person, verify, pen | {"password": person.password}, status=403)
        assert problem.on("actor")["accepted"] == "pharmacist"
        assert not person.shown(verify)["may"]
        assert person.shown(verify)["who"] == "a pharmacist other than the prescriber and the attester"


def refused_versions(home: Home, code: str) -> None:
    """Whoever acts on a version that is gone is told so; the version at hand is taken."""
    tag = home.rosa.get_raw(f"order/{code}").headers["ETag"]
    question = {"question": "Is the evening dose right (invented)?"}
    stale = refusal(home.rosa, f"order/{code}/query", question, status=412, If_Match='"99"')
    assert (stale.slug, stale.on("If-Match")["limit"]) == ("stale", tag)
    assert home.rosa.post(f"order/{code}/query", question, If_Match=tag)["state"] == "queried"
    gone = refusal(home.rosa, f"order/{code}/query", question, status=412, If_Match=tag)
    assert gone.on("If-Match")["value"] == tag
    assert home.mira.post(f"order/{code}/answer", {"answer": "Yes, it is."})["state"] == "received"


def verified_order(home: Home) -> str:
    """Take the order to verified and return its code."""
    code = signed_order(home)
    screened(home, code)
    refused_versions(home, code)
    screened(home, code)
    refused_signatures(home, code)
    checked(home, code)
    assert refusal(home.jonas, f"order/{code}/verify", status=409, signed=True).slug in {"conflict", "blocked"}
    return code


def planned_batch(home: Home, way: Way) -> None:
    """Plan, wait for the worker, and note batch and zones."""
    way.plan = home.tomas.post("plan", {"resin_lot": way.bench.resin_lot, "printer": way.bench.printer})["code"]

    def finished() -> dict[str, Any] | None:
        plan = home.tomas.get(f"plan/{way.plan}")
        assert plan["state"] != "failed", plan["failure"]
        return dict(plan) if plan["state"] == "done" else None

    plan = home.until("the plan", finished)
    assert plan["left_out"] == []
    (way.batch,) = plan["batches"]
    facts = home.tomas.get(f"batch/{way.batch}")
    way.zones = {zone["line"]: zone["code"] for zone in facts["zones"] if zone["line"]}
    way.test_zones = [zone["code"] for zone in facts["zones"] if not zone["line"]]


def delivered_batch(home: Home, way: Way) -> None:
    """Approve the batch by a technician and wait until its plate file is written."""
    assert refusal(home.rosa, f"batch/{way.batch}/approve", status=403).on("actor")["accepted"] == "technician"
    home.tomas.post(f"batch/{way.batch}/approve")
    home.until("the plate file", lambda: home.tomas.get(f"batch/{way.batch}")["state"] == "ready")


def ordered_and_planned(home: Home) -> Way:
    """Go the way from an empty site to a delivered plate file."""
    set_up_substance(home)
    bench = ready_bench(home)
    way = Way(order=verified_order(home), bench=bench)
    order = home.rosa.get(f"order/{way.order}")
    way.patient = order["patient"]
    way.lines = {line["code"]: line["dose_mg"] for line in order["lines"]}
    planned_batch(home, way)
    delivered_batch(home, way)
    return way
