"""The screen "making": can the ordered dose be made at all, in which provisional size?"""

from __future__ import annotations

from typing import Any

from dosewright.ground.models import Site
from dosewright.ground.pure.errors import Refused
from dosewright.ground.work import Job
from prescriptions.findings import Finding, Severity
from prescriptions.intake.order_request import RELEASES
from prescriptions.queries.facts import OrderFacts, order_facts
from prescriptions.screening.made_form import screen_release
from prescriptions.services.screens import record_screen
from prescriptions.states import QUERIED, RECEIVED, VERIFIED
from printing.core.dose.sizing import DoseNotPossible, SizedDose
from printing.formulary.content import FormulationFacts
from printing.formulary.queries import validated_for
from printing.plates.fitting import size_line
from printing.plates.keeping import course_outlasts
from printing.plates.made_for import form_findings
from printing.plates.queries.plans import units_changed_before
from printing.plates.sizes import exact, size_record

SCREEN = "making"
SCREENED = frozenset({RECEIVED, QUERIED, VERIFIED})


def screen_making(job: Job) -> None:
    """Size every line of an order at nominal strength and record the screen; for workers."""
    order = order_facts(job.payload["order"])
    if order.state not in SCREENED:
        return
    findings, record = look_at(order)
    with job.finishing("order.screen", subject=order.code) as doing:
        record_screen(
            doing, order.code, order.version, screen=SCREEN, occasion="order", findings=findings, record=record
        )


def look_at(order: OrderFacts) -> tuple[list[Finding], dict[str, Any]]:
    """Return what stands in the way of making the order, and the provisional sizes."""
    formulation = validated_for(order.site_id, order.substance, order.release)
    if formulation is None:
        return _not_made(order), {"formulation": None, "lines": []}
    place = Site.objects.get(pk=order.site_id)
    site = place.values
    findings = [*form_findings(order, formulation), *units_changed_before(order.code)]
    lines: list[dict[str, Any]] = []
    for line in order.lines:
        outlasts = course_outlasts(line, formulation, site, zone=place.zone)
        findings += [outlasts] if outlasts else []
        try:
            sized = size_line(formulation, order, line, site=site)
        except Refused as refused:
            findings += _refusals(line.code, str(line.dose_mg), refused)
            lines.append({"line": line.code, "dose_mg": line.dose_mg, "size": None})
        else:
            findings += _reasons(line.code, sized)
            lines.append({"line": line.code, "dose_mg": line.dose_mg, "size": size_record(sized)})
    return findings, {"formulation": _named(formulation), "strength": "nominal", "lines": exact(lines)}


def _named(formulation: FormulationFacts) -> str:
    return f"{formulation.code}/{formulation.number}"


def _not_made(order: OrderFacts) -> list[Finding]:
    """Say that nothing holds the order, and where it would hold with the other release, that too."""
    others = [one for one in RELEASES if one != order.release and validated_for(order.site_id, order.substance, one)]
    return [_no_formulation(order), *(found for one in others for found in screen_release(one, order.release))]


def _no_formulation(order: OrderFacts) -> Finding:
    return Finding(
        rule="no-formulation",
        severity=Severity.BLOCK,
        field="substance",
        value=f"{order.substance}, {order.release} release",
        source="house rule: only validated formulations are printed",
        message="no validated formulation holds this substance with this release",
    )


def _refusals(line: str, dose: str, refused: Refused) -> list[Finding]:
    offer = ""
    if isinstance(refused, DoseNotPossible):
        nearest = [f"{mg} mg" if mg else f"none {side}" for side, mg in refused.nearest.as_dict().items()]
        offer = f"; nearest doses that can be made: {', '.join(nearest)}"
    return [
        Finding(
            rule="cannot-be-made",
            severity=Severity.BLOCK,
            field=f"{line} {one.field}",
            value=f"{dose} mg: {one.value or ''}".strip(),
            limit=one.limit,
            unit=one.unit,
            source="validated range of the formulation",
            message=f"{one.message}{offer}",
        )
        for one in refused.refusals
    ]


def _reasons(line: str, sized: SizedDose) -> list[Finding]:
    return [
        Finding(
            rule="size-needs-reason",
            severity=Severity.REASON,
            field=f"{line} {check.name}",
            value="" if check.value is None else f"{check.value:.6g}",
            limit=None if check.limit is None else str(check.limit),
            unit=check.unit,
            source=check.source,
            message=check.note or "is over what needs no reason",
        )
        for check in sized.reasons
    ]
