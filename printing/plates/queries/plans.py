"""Reading plans, and the sizes that were planned with."""

from __future__ import annotations

import json
from typing import Any

from django.db.models import F

from dosewright.ground.models import Work
from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from prescriptions.findings import Finding, Severity
from prescriptions.models import Alert, ScreenReport
from printing.plates.content import PlanFacts
from printing.plates.models import PlanRecord, PrintBatch, SizedLine
from printing.plates.sizes import read_size

UNITS_CHANGED = "units-changed"
"""The rule by which a plan sends an order back whose units per dose are others than were verified."""


def provisional_units(order: str, line: str) -> int | None:
    """Return how many units per dose the screen "making" showed for a line, None when it was not sized."""
    report = (
        ScreenReport.objects.filter(order_version__order__code=order, screen="making", occasion="order")
        .order_by("-order_version__number", "-pk")
        .first()
    )
    lines = json.loads(report.text)["record"].get("lines", []) if report else []
    sizes = [one["size"] for one in lines if one["line"] == line and one["size"]]
    return int(sizes[0]["units_per_dose"]) if sizes else None


def units_checked(order: str, line: str) -> frozenset[int]:
    """Return every number of units per dose of a line that its pharmacist was shown on the version that holds now.

    That of the provisional size, and each that a plan sent the order back with: whoever verified since opened that
    alert. Empty when the line was never sized.
    """
    first = provisional_units(order, line)
    sent_back = Alert.objects.filter(
        order_version__order__code=order,
        order_version__number=F("order_version__order__current"),
        rule=UNITS_CHANGED,
        field=line,
    ).values_list("value", flat=True)
    return frozenset({*([] if first is None else [first]), *map(int, sent_back)})


def units_changed_before(order: str) -> tuple[Finding, ...]:
    """Return the latest finding by line that sent the version of an order that holds now back to be checked.

    The screen "making" repeats it: at nominal strength it would find nothing, and the pharmacist would never have
    to say why other units are right.
    """
    rows = Alert.objects.filter(
        order_version__order__code=order,
        order_version__number=F("order_version__order__current"),
        rule=UNITS_CHANGED,
    ).order_by("pk")
    latest = {row.field: row for row in rows}
    return tuple(
        Finding(
            rule=row.rule,
            severity=Severity(row.severity),
            field=row.field,
            value=row.value,
            limit=row.limit,
            unit=row.unit,
            source=row.source,
            message=row.message,
        )
        for row in latest.values()
    )


def sizes_of_batch(batch_id: int) -> dict[str, dict[str, Any]]:
    """Return the kept size of every line whose units stand on a batch, by line code."""
    rows = SizedLine.objects.filter(zones__batch_id=batch_id).select_related("line").distinct()
    return {row.line.code: read_size(row.text) for row in rows}


def size_of_line(line: str, plan: str) -> dict[str, Any]:
    """Return the kept size of a line in a plan; raises NotThere."""
    row = SizedLine.objects.filter(line__code=line, plan=plan).first()
    if row is None:
        raise NotThere.because("line", "was not sized in this plan", value=f"{line}, {plan}")
    return read_size(row.text)


def plan_facts(actor: Actor, code: str) -> PlanFacts:
    """Return how far a plan is; raises NotAllowed, NotThere."""
    authorise_read(actor, "batch")
    work = Work.objects.filter(site_id=actor.site_id, key=f"plan:{code}").first()
    if work is None:
        raise NotThere.because("plan", "no such plan at this site", value=code[:40], rule="code")
    kept = PlanRecord.objects.filter(code=code, site_id=actor.site_id).first()
    record = json.loads(kept.text) if kept else {}
    return PlanFacts(
        code=code,
        state=work.state,
        progress=work.progress,
        failure=work.failure,
        asked_at=work.created_at,
        batches=tuple(plate["batch"] for plate in record.get("plates", [])),
        left_out=tuple(record.get("left_out", [])),
        groups=tuple(record.get("groups", [])),
    )


def plans(actor: Actor, *, after: str = "", limit: int = 50) -> KeysetPage[PlanFacts]:
    """Return a page of plans, the newest first."""
    authorise_read(actor, "batch")
    rows = Work.objects.filter(site_id=actor.site_id, kind="plan").order_by("-pk")
    if after:
        rows = rows.filter(pk__lt=int(after)) if after.isdigit() else rows.none()
    found = list(rows[: limit + 1])
    items = tuple(plan_facts(actor, row.key.partition(":")[2]) for row in found[:limit])
    return KeysetPage(items=items, next_after=str(found[limit - 1].pk) if len(found) > limit else "")


def shown_plan(site_id: int, batch_code: str = "") -> dict[str, Any]:
    """Return what `plan --show` prints: the plates of one batch, or of every batch that is not cancelled."""
    rows = PrintBatch.objects.filter(site_id=site_id).order_by("pk")
    rows = rows.filter(code=batch_code) if batch_code else rows.exclude(state="cancelled")
    plates = [json.loads(row.plan_text) for row in rows]
    if batch_code and not plates:
        raise NotThere.because(
            "batch",
            "no such print batch at this site",
            value=batch_code[:40],
            accepted="a batch code of this site",
            rule="code",
        )
    return {"plates": plates}
