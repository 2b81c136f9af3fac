"""Printers: set up, calibrated, and given the token by which they speak."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from knox.models import get_token_model

from dosewright.ground.act import act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import User
from dosewright.ground.people import found_printer_user
from dosewright.ground.pure.errors import BadInput, Conflict, Refusal
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from printing.plates.models import Calibration, Printer
from printing.plates.queries import running_batch
from printing.stock.queries import equipment_id

KINDS = ("calibration", "laser check")


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterSpec:
    """A printer as it is set up: its plate and build height [um], and what its tank keeps and loses [uL]."""

    name: str
    kind: str
    mode: str
    plate_um: tuple[int, int]
    build_height_um: int
    tank_minimum_ul: int
    loss_ul: int
    tank: str


def register_printer(actor: Actor, *, spec: PrinterSpec, at: datetime) -> str:
    """Set up a printer with its tank and return its code; site managers only. Raises BadInput, NotThere."""
    with act(actor, "printer.register", at=at) as doing:
        if spec.mode not in {"link", "manual"}:
            raise BadInput.because("mode", "is no way to run a printer", value=spec.mode, accepted="link, manual")
        code = new_code("printer")
        user = None
        if spec.mode == "link":
            site = User.objects.select_related("site").get(pk=actor.user_id).site
            user = found_printer_user(site, username=f"printer-{code.lower()}", printed_name=f"Printer {code}")
        Printer.objects.create(
            code=code,
            site_id=actor.site_id,
            name=spec.name,
            kind=spec.kind,
            mode=spec.mode,
            plate_x_um=spec.plate_um[0],
            plate_y_um=spec.plate_um[1],
            build_height_um=spec.build_height_um,
            tank_minimum_ul=spec.tank_minimum_ul,
            loss_ul=spec.loss_ul,
            tank_id=equipment_id(actor.site_id, spec.tank, kind="tank"),
            user=user,
        )
        doing.subject = code
        doing.note(printer=code, kind=spec.kind, mode=spec.mode)
    return code


def fit_tank(actor: Actor, code: str, *, tank: str, at: datetime) -> None:
    """Fit another tank to a printer, for another formulation; technicians and site managers.

    Raises NotThere, BadInput for equipment that is no tank, Conflict while the printer prints or where another
    printer has the tank.
    """
    printer = find(actor, Printer, code)
    with act(actor, "printer.tank", at=at, subject=code) as doing:
        tank_id = equipment_id(actor.site_id, tank, kind="tank")
        if running_batch(code) is not None:
            raise Conflict.because("printer", "is printing", value=code, accepted="a printer that stands still")
        other = Printer.objects.filter(tank_id=tank_id).exclude(pk=printer.pk).values_list("code", flat=True).first()
        if other is not None:
            raise Conflict.because("tank", f"is fitted to {other}", value=tank, accepted="a tank that is free")
        doing.change(printer, tank_id=tank_id)


def check_printer(actor: Actor, code: str, *, kind: str, due_on: date, result: str, passed: bool, at: datetime) -> None:
    """Record a calibration or laser check, until when it counts; technicians and site managers. Raises BadInput."""
    printer = find(actor, Printer, code)
    with act(actor, "printer.check", at=at, subject=code) as doing:
        if kind not in KINDS:
            raise BadInput.because("kind", "is no check of a printer", value=kind, accepted=", ".join(KINDS))
        if due_on < at.astimezone(printer.site.zone).date():
            raise BadInput(
                Refusal(field="due_on", value=str(due_on), message="lies in the past", accepted="today or later")
            )
        Calibration.objects.create(
            printer=printer,
            kind=kind,
            done_at=at,
            done_by_id=actor.user_id,
            due_on=due_on,
            result_text=result,
            passed=passed,
        )
        doing.note(kind=kind, due_on=due_on, passed=passed)


def issue_printer_token(actor: Actor, code: str, *, at: datetime) -> str:
    """Give a linked printer a new token, ending its old ones, and return it: it is shown this once.

    Site managers only. Raises BadInput for a printer that is run by hand.
    """
    printer = find(actor, Printer, code)
    with act(actor, "printer.token", at=at, subject=code) as doing:
        if printer.user_id is None:
            raise BadInput.because("mode", "this printer is run by hand", value=printer.mode, accepted="link")
        tokens = get_token_model().objects
        ended, _ = tokens.filter(user_id=printer.user_id).delete()
        _, token = tokens.create(user=printer.user, expiry=None)
        doing.note(ended_tokens=ended)
    return str(token)
