"""Sets the invented site up: people, balance, two printers, and a room of wet equipment for each formulation."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal

from dosewright.ground.models import Site
from dosewright.ground.people import found_person, found_site
from dosewright.roof.demo.medicines import Medicine
from dosewright.roof.demo.resin import make_resin
from dosewright.roof.demo.stage import PEOPLE, Stage
from printing.formulary.queries import formulation_facts
from printing.plates import services as plates
from printing.plates.content import BatchFacts
from printing.plates.services.printers import PrinterSpec
from printing.stock import services as stock

DUE = timedelta(days=180)
TANK_CAPACITY_ML = Decimal(400)
BATH_ML = Decimal(2000)
WET = (("first bath", "bath"), ("second bath", "bath"), ("drying oven", "oven"), ("basket", "basket"))
CURE_BOX = "cure box"


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """One printer as it is set up: what kind it is, and how large its plate is [um]."""

    name: str
    kind: str
    plate_um: tuple[int, int]


MACHINES = (
    Machine(name="training printer 1", kind="training printer", plate_um=(145_000, 145_000)),
    Machine(name="training printer 2", kind="training printer, large plate", plate_um=(192_000, 120_000)),
)


@dataclass(slots=True, kw_only=True)
class Room:
    """What is dedicated to one formulation: its lot, its tanks by printer with their fills, baths and ovens."""

    formulation: str
    resin_lot: str
    tank_ml: Decimal
    tanks: dict[str, str] = field(default_factory=dict)
    fills: dict[str, str] = field(default_factory=dict)
    wet: dict[str, str] = field(default_factory=dict)
    tank_life: timedelta = timedelta(hours=1)


@dataclass(slots=True, kw_only=True)
class House:
    """Codes of what was set up: rooms by formulation, printers with their tokens."""

    site: Site
    balance: str
    rooms: dict[str, Room] = field(default_factory=dict)
    printers: dict[str, str] = field(default_factory=dict)

    def room_of(self, batch: BatchFacts) -> Room:
        """Return the room of a batch's formulation, whatever its version."""
        return self.rooms[batch.formulation.partition("/")[0]]

    @property
    def resin_lots(self) -> tuple[str, ...]:
        """Every lot that was made."""
        return tuple(room.resin_lot for room in self.rooms.values())


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


def register_balance(stage: Stage) -> str:
    """Register the site's balance: an interval of 0.1 mg, and a repeatability that lets it weigh 300 mg or more."""
    return stock.register_equipment(
        stage.person("paul.berg"),
        kind="balance",
        name="analytical balance 1",
        due_on=stage.now().date() + DUE,
        check="adjusted with the invented test weights",
        at=stage.now(),
        resolution_mg=Decimal("0.1"),
        repeatability_mg=Decimal("0.15"),
    )


def set_up_house(stage: Stage, site: Site, balance: str, medicines: dict[str, Medicine]) -> House:
    """Make a lot of each medicine (by its formulation's code), set its room up, and put the printers in."""
    house = House(site=site, balance=balance)
    for code, medicine in medicines.items():
        lot = make_resin(stage, code, balance=balance, lot_g=medicine.lot_g, premix_g=medicine.premix_g)
        house.rooms[code] = _room(stage, code, lot, medicine.tank_ml)
    for machine in MACHINES if house.rooms else ():
        _put_in(stage, house, machine)
    return house


def _room(stage: Stage, formulation: str, resin_lot: str, tank_ml: Decimal) -> Room:
    hours = formulation_facts(stage.site_id, formulation).tank_life_hours or 2
    room = Room(formulation=formulation, resin_lot=resin_lot, tank_ml=tank_ml, tank_life=timedelta(hours=hours - 1))
    for name, kind in WET:
        room.wet[name] = _wet(stage, name, kind, formulation)
    room.wet[CURE_BOX] = stock.register_equipment(
        stage.person("paul.berg"),
        kind=CURE_BOX,
        name=CURE_BOX,
        due_on=stage.now().date() + DUE,
        check="inspected",
        at=stage.now(),
    )
    return room


def _wet(stage: Stage, name: str, kind: str, formulation: str, volume_ml: Decimal | None = None) -> str:
    return stock.register_equipment(
        stage.person("paul.berg"),
        kind=kind,
        name=f"{name}, {formulation}",
        due_on=stage.now().date() + DUE,
        check="inspected",
        at=stage.now(),
        formulation=formulation,
        capacity_ml=volume_ml or (BATH_ML if kind == "bath" else None),
    )


def _put_in(stage: Stage, house: House, machine: Machine) -> None:
    """Register a printer with a tank for each formulation that it has a profile for, and check it."""
    paul = stage.person("paul.berg")
    mine = [room for room in house.rooms.values() if _prints(stage, room.formulation, machine.kind)]
    tanks = {
        room.formulation: _wet(stage, f"tank of {machine.name}", "tank", room.formulation, TANK_CAPACITY_ML)
        for room in mine
    }
    if not tanks:
        return
    code = plates.register_printer(
        paul,
        spec=PrinterSpec(
            name=machine.name,
            kind=machine.kind,
            mode="link",
            plate_um=machine.plate_um,
            build_height_um=60_000,
            tank_minimum_ul=60_000,
            loss_ul=3_000,
            tank=next(iter(tanks.values())),
        ),
        at=stage.now(),
    )
    for room in mine:
        room.tanks[code] = tanks[room.formulation]
    for kind in ("calibration", "laser check"):
        plates.check_printer(
            stage.person("tomas.lind"),
            code,
            kind=kind,
            due_on=stage.now().date() + DUE,
            result="within range (invented)",
            passed=True,
            at=stage.now(),
        )
    house.printers[code] = plates.issue_printer_token(paul, code, at=stage.now())


def _prints(stage: Stage, formulation: str, kind: str) -> bool:
    facts = formulation_facts(stage.site_id, formulation)
    usual = facts.default_range
    return usual is not None and facts.profile_for(usual.layer_um[0], kind) is not None
