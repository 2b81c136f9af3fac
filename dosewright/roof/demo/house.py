"""Sets the invented site up: people, law, substance, formulation, resin, equipment, printer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings

from dosewright.ground.models import Site
from dosewright.ground.people import found_person, found_site
from dosewright.roof.demo.stage import PEOPLE, Stage
from dosewright.roof.demo.substances import found_substances
from printing.formulary import services as formulary
from printing.formulary.content import FormulationFacts
from printing.formulary.intake.toml_text import read_formulation
from printing.formulary.queries import formulation_facts
from printing.plates import services as plates
from printing.plates.services.printers import PrinterSpec
from printing.stock import services as stock
from printing.stock.queries import resin_lot_record

INVENTED = "invented for the demo, no source"
LOT_G = Decimal("900")
TANK_ML = Decimal("350")
FORMULATION = settings.ROOT / "fixtures" / "formulations" / "hydrocortisone-tablet.toml"


@dataclass(slots=True, kw_only=True)
class House:
    """Codes of what was set up."""

    site: Site
    formulation: str
    resin_lot: str
    printer: str
    tank: str
    tank_fill: str
    balance: str
    wet: dict[str, str]
    printer_token: str


def found(stage: Stage) -> Site:
    """Found the site with its people."""
    site = found_site(
        name="Demo ward pharmacy (invented)",
        address="1 Invented Lane, 00000 Nowhere, Tavosia",
        telephone="000 000 000",
        time_zone="Europe/Vienna",
        jurisdiction="demo",
        at=stage.now(),
        is_demo=True,
    )
    for username, printed_name, profession, registration, role in PEOPLE:
        found_person(
            site,
            username=username,
            printed_name=printed_name,
            password=stage.passwords[username],
            roles=(role,),
            at=stage.now(),
            profession=profession,
            registration=registration,
        )
    return site


def set_up_medicine(stage: Stage) -> str:
    """Set up the substances and the formulation and return the formulation's code."""
    found_substances(stage.person("rosa.keller"), at=stage.now())
    spec = read_formulation(FORMULATION.read_text(encoding="utf-8"))
    code = formulary.draft_formulation(stage.person("nora.stein"), spec=spec, at=stage.now()).code
    formulary.submit_formulation(stage.person("nora.stein"), code, at=stage.now())
    for username in ("nora.stein", "rosa.keller"):
        signer = stage.person(username)
        shown = formulary.shown_for_validate(signer, code)
        formulary.validate_formulation(signer, code, pen=stage.pen(username, shown), at=stage.now())
    stage.say(f"formulation {code} validated by two signatures: {spec.name}")
    return code


def make_resin(stage: Stage, formulation: str) -> str:
    """Receive, weigh, mix, test and approve one resin lot and return its code."""
    facts = formulation_facts(stage.person("rosa.keller").site_id, formulation)
    lots = _receive(stage, facts)
    tomas, ada = stage.person("tomas.lind"), stage.person("ada.brandt")
    balance = _balance(stage)
    lot = stock.start_resin_lot(tomas, formulation=formulation, target_g=LOT_G, at=stage.now()).code
    for line in resin_lot_record(lot, at=stage.now()).sheet:
        stage.skip(240)
        weight = _weighed(line.target_mg, line.number)
        stock.weigh(
            tomas,
            lot,
            item_number=line.number,
            ingredient_lot=lots[line.number],
            actual_mg=weight,
            balance=balance,
            at=stage.now(),
        )
        stock.check_weighing(ada, lot, item_number=line.number, at=stage.now())
    stage.skip(3600)
    stock.mix_resin_lot(tomas, lot, at=stage.now())
    _test(stage, lot, facts)
    rosa = stage.person("rosa.keller")
    shown = stock.shown_for_approve(rosa, lot, at=stage.now())
    stock.approve_resin_lot(rosa, lot, pen=stage.pen("rosa.keller", shown), at=stage.now())
    strength = resin_lot_record(lot, at=stage.now()).strength
    assert strength is not None
    stage.say(
        f"resin lot {lot} weighed by two, tested, approved by a third: {strength.mg_g:.3f} mg/g, "
        f"{strength.fraction_of_nominal:.2%} of nominal"
    )
    return lot


def _receive(stage: Stage, facts: FormulationFacts) -> dict[int, str]:
    lots: dict[int, str] = {}
    for line in facts.recipe:
        drug = line.ingredient.role == "drug"
        delivered = stock.DeliveredLot(
            ingredient=line.ingredient.code,
            supplier_lot=f"INVENTED-{line.number:02d}",
            amount_g=max(LOT_G * line.mass_frac * Decimal("1.5"), Decimal(5)).quantize(Decimal("0.001")),
            expires_on=stage.now().date() + timedelta(days=500),
            certificate_reference=f"invented certificate {line.number}",
            assay_frac=Decimal("0.9950") if drug else None,
            u_assay_frac=Decimal("0.0020") if drug else None,
            assay_basis="dried" if drug else "",
            loss_on_drying_frac=Decimal("0.0050") if drug else None,
            assay_expressed_as="moiety" if drug else "",
        )
        lot = stock.receive_ingredient_lot(stage.person("tomas.lind"), lot=delivered, at=stage.now()).code
        stock.approve_ingredient_lot(stage.person("rosa.keller"), lot, at=stage.now())
        lots[line.number] = lot
    return lots


def _balance(stage: Stage) -> str:
    return stock.register_equipment(
        stage.person("paul.berg"),
        kind="balance",
        name="analytical balance 1",
        due_on=stage.now().date() + timedelta(days=180),
        check="adjusted with the invented test weights",
        at=stage.now(),
        resolution_mg=Decimal("0.01"),
        repeatability_mg=Decimal("0.02"),
    )


def _weighed(target_mg: Decimal, number: int) -> Decimal:
    """Return an invented weight near the target, on the balance's scale."""
    return (target_mg * (1 + Decimal(number - 3) / 5000)).quantize(Decimal("0.01"))


def _test(stage: Stage, lot: str, facts: FormulationFacts) -> None:
    jonas = stage.person("jonas.weber")
    strength = resin_lot_record(lot, at=stage.now()).strength
    assert strength is not None
    for rule in facts.test_plan.before_use:
        for number, place in enumerate(rule.places):
            stage.skip(600)
            stock.record_lot_test(
                jonas, lot, kind=rule.kind, place=place, value=_lot_result(rule, strength.mg_g, number), at=stage.now()
            )
    stock.end_lot_tests(jonas, lot, at=stage.now())


def _lot_result(rule: Any, strength_mg_g: Decimal, number: int) -> str:
    if rule.accepted:
        return str(rule.accepted[0])
    if rule.kind == "assay":
        return str((strength_mg_g * (1 + Decimal(number - 1) / 500)).quantize(Decimal("0.001")))
    return str((rule.low + rule.high) / 2)


def set_up_room(stage: Stage, site: Site, formulation: str, resin_lot: str) -> House:
    """Register wet equipment, tank and printer, calibrate, fill the tank."""
    paul, due = stage.person("paul.berg"), stage.now().date() + timedelta(days=180)
    wet = {
        name: stock.register_equipment(
            paul,
            kind=kind,
            name=name,
            due_on=due,
            check="inspected",
            at=stage.now(),
            formulation=formulation if kind != "balance" else "",
            capacity_ml=Decimal(2000) if kind in {"tank", "bath"} else None,
        )
        for name, kind in (
            ("tank 1", "tank"),
            ("first bath", "bath"),
            ("second bath", "bath"),
            ("drying oven", "oven"),
            ("cure box", "cure box"),
            ("basket 1", "basket"),
        )
    }
    printer = plates.register_printer(
        paul,
        spec=PrinterSpec(
            name="training printer 1",
            kind="training printer",
            mode="link",
            plate_um=(145_000, 145_000),
            build_height_um=60_000,
            tank_minimum_ul=60_000,
            loss_ul=3_000,
            tank=wet["tank 1"],
        ),
        at=stage.now(),
    )
    for kind in ("calibration", "laser check"):
        plates.check_printer(
            stage.person("tomas.lind"),
            printer,
            kind=kind,
            due_on=due,
            result="within range (invented)",
            passed=True,
            at=stage.now(),
        )
    token = plates.issue_printer_token(paul, printer, at=stage.now())
    fill = stock.fill_tank(
        stage.person("tomas.lind"), tank=wet["tank 1"], resin_lot=resin_lot, volume_ml=TANK_ML, at=stage.now()
    ).code
    return House(
        site=site,
        formulation=formulation,
        resin_lot=resin_lot,
        printer=printer,
        tank=wet["tank 1"],
        tank_fill=fill,
        balance=_balance(stage),
        wet=wet,
        printer_token=token,
    )
