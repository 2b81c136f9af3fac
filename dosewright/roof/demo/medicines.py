"""Sets up what may be printed: every substance, four validated formulations, and a draft that the balance refuses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.conf import settings

from dosewright.ground.pure.errors import Refused
from dosewright.roof.demo.stage import Stage
from dosewright.roof.demo.substances import found_substances
from printing.formulary import services as formulary
from printing.formulary.intake.toml_text import read_formulation
from printing.stock import services as stock

FOLDER = settings.ROOT / "fixtures" / "formulations"


@dataclass(frozen=True, slots=True, kw_only=True)
class Medicine:
    """One formulation of the demo: its file, the least lot that is made of it [g], and how a tank is filled [mL]."""

    file: str
    lot_g: Decimal = Decimal(900)
    tank_ml: Decimal = Decimal(300)
    premix_g: Decimal = Decimal(20)


HYDROCORTISONE = Medicine(file="hydrocortisone-tablet")
MEDICINES = (
    HYDROCORTISONE,
    Medicine(file="prednisolone-tablet"),
    Medicine(file="fludrocortisone-tablet", lot_g=Decimal(220), tank_ml=Decimal(90)),
    Medicine(file="melatonin-ring", lot_g=Decimal(600), tank_ml=Decimal(200)),
)
DRAFT = "levothyroxine-draft"
DRAFT_LOT_G = Decimal(900)


def set_up_medicines(stage: Stage, medicines: Iterable[Medicine] = MEDICINES) -> dict[str, Medicine]:
    """Set up the substances and validate the formulations; return each medicine by its formulation's code."""
    found_substances(stage.person("rosa.keller"), at=stage.now())
    return {_validated(stage, one.file): one for one in medicines}


def show_what_the_balance_refuses(stage: Stage) -> None:
    """Draft the formulation that no balance of the site can weigh, and let a technician try to start a lot of it."""
    code = _draft(stage, DRAFT)
    tomas = stage.person("tomas.lind")
    try:
        stock.start_resin_lot(tomas, formulation=code, target_g=DRAFT_LOT_G, at=stage.now())
    except Refused as refused:
        for one in refused.refusals:
            against = f"{one.value} against {one.limit} {one.unit}" if one.limit else one.value
            stage.say(f"{DRAFT_LOT_G} g of draft {code} refused: {one.field} {one.message} ({against}); {one.accepted}")


def _validated(stage: Stage, file: str) -> str:
    code = _draft(stage, file)
    formulary.submit_formulation(stage.person("nora.stein"), code, at=stage.now())
    for username in ("nora.stein", "rosa.keller"):
        signer = stage.person(username)
        shown = formulary.shown_for_validate(signer, code)
        formulary.validate_formulation(signer, code, pen=stage.pen(username, shown), at=stage.now())
    stage.say(f"formulation {code} validated by two signatures: {file}")
    return code


def _draft(stage: Stage, file: str) -> str:
    spec = read_formulation((FOLDER / f"{file}.toml").read_text(encoding="utf-8"))
    return formulary.draft_formulation(stage.person("nora.stein"), spec=spec, at=stage.now()).code
