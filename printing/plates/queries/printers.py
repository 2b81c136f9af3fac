"""Reading printers."""

from __future__ import annotations

from django.db.models import Q

from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from printing.plates.content import CheckFacts, PrinterFacts
from printing.plates.models import Calibration, Printer


def printer(actor: Actor, code: str) -> PrinterFacts:
    """Return one printer; raises NotAllowed, NotThere."""
    authorise_read(actor, "stock")
    return _printer(find(actor, Printer, code))


def printer_facts(code: str, *, site_id: int) -> PrinterFacts:
    """Return one printer for services; raises NotThere."""
    found = Printer.objects.filter(code=code, site_id=site_id).select_related("tank").first()
    if found is None:
        raise NotThere.because("printer", "no such printer at this site", value=code[:40], rule="code")
    return _printer(found)


def printer_of_user(user_id: int) -> str:
    """Return the code of the printer that a machine user speaks for; raises NotThere."""
    found = Printer.objects.filter(user_id=user_id, out_of_use_at=None).values_list("code", flat=True).first()
    if found is None:
        raise NotThere.because("printer", "this user is no printer in use")
    return found


def printers(actor: Actor, *, after: str = "", limit: int = 50) -> KeysetPage[PrinterFacts]:
    """Return a page of printers by code."""
    authorise_read(actor, "stock")
    rows = list(
        Printer.objects.filter(site_id=actor.site_id, code__gt=after)
        .select_related("tank")
        .order_by("code")[: limit + 1]
    )
    return KeysetPage(
        items=tuple(_printer(row) for row in rows[:limit]), next_after=rows[limit - 1].code if len(rows) > limit else ""
    )


def _printer(row: Printer) -> PrinterFacts:
    last = [
        Calibration.objects.filter(Q(printer=row), kind=kind).order_by("-done_at", "-pk").first()
        for kind in ("calibration", "laser check")
    ]
    return PrinterFacts(
        code=row.code,
        name=row.name,
        kind=row.kind,
        mode=row.mode,
        plate_um=(row.plate_x_um, row.plate_y_um),
        build_height_um=row.build_height_um,
        tank=row.tank.code if row.tank else "",
        version=row.version,
        checks=tuple(
            CheckFacts(kind=one.kind, done_at=one.done_at, due_on=one.due_on, passed=one.passed, result=one.result_text)
            for one in last
            if one is not None
        ),
    )
