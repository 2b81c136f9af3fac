"""The standing cast: an invented site with its people, made by the services as anybody would.

Plain functions; every person, place and figure here is invented. Success and refusal share one set-up.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from dosewright.ground.models import Site, User
from dosewright.ground.people import actor_of, found_person, found_site
from dosewright.ground.pure.roles import Actor, Channel, Role
from dosewright.ground.signing import Pen, shown_digest
from prescriptions.services import LimitFacts, SubstanceFacts, set_up_substance
from printing.formulary import services as formulary
from printing.formulary.content import FormulationSpec
from printing.formulary.intake.toml_text import read_formulation
from printing.formulary.queries import formulation_facts
from printing.stock import services as stock

FORMULATIONS = Path(__file__).parent.parent / "fixtures" / "formulations"

INVENTED = "invented for the demonstration, no source"

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
"""The moment at which the tests' first acts happen: a Monday morning."""

PASSWORD = "amber-kettle-under-the-stairs"
"""Every person of the cast signs with it."""

PEOPLE: tuple[tuple[str, str, str, str, tuple[Role, ...]], ...] = (
    ("mira.voss", "Dr Mira Voss", "paediatrician", "DEMO-P-1001", (Role.PRESCRIBER,)),
    ("tomas.lind", "Tomas Lind", "pharmacy technician", "DEMO-T-2001", (Role.TECHNICIAN,)),
    ("ada.brandt", "Ada Brandt", "pharmacy technician", "DEMO-T-2002", (Role.TECHNICIAN,)),
    ("rosa.keller", "Rosa Keller", "pharmacist", "DEMO-R-3001", (Role.PHARMACIST,)),
    ("jonas.weber", "Jonas Weber", "pharmacist", "DEMO-R-3002", (Role.PHARMACIST,)),
    ("lena.fuchs", "Lena Fuchs", "pharmacist", "DEMO-R-3003", (Role.PHARMACIST,)),
    ("otto.krug", "Otto Krug", "auditor", "", (Role.AUDITOR,)),
    ("nora.stein", "Nora Stein", "formulation scientist", "", (Role.SCIENTIST,)),
    ("paul.berg", "Paul Berg", "site manager", "", (Role.MANAGER,)),
)


@dataclass(slots=True, kw_only=True)
class Cast:
    """The site and how to get an actor of it: ``cast.mira``, ``cast.act("mira.voss", Channel.TOKEN)``."""

    site: Site
    users: dict[str, User] = field(default_factory=dict)

    def act(self, username: str, channel: Channel = Channel.SESSION) -> Actor:
        """Return the actor that a person is by a door."""
        return actor_of(self.users[username], channel=channel)

    def __getattr__(self, given_name: str) -> Actor:
        for username in self.users:
            if username.partition(".")[0] == given_name:
                return self.act(username)
        raise AttributeError(f"nobody of the cast is called {given_name}")

    @property
    def worker(self) -> Actor:
        """The site's background worker."""
        return actor_of(User.objects.get(site=self.site, kind=User.WORKER), channel=Channel.WORKER)


def found_cast(*, at: datetime = NOW, name: str = "Demo ward pharmacy", suffix: str = "") -> Cast:
    """Make an invented site with its nine people; `suffix` makes a second site with names of its own."""
    site = found_site(
        name=name,
        address="1 Invented Lane, Nowhere",
        time_zone="Europe/Berlin",
        jurisdiction="demo",
        at=at,
        is_demo=True,
    )
    cast = Cast(site=site)
    for username, printed_name, profession, registration, roles in PEOPLE:
        cast.users[username] = found_person(
            site,
            username=username + suffix,
            printed_name=printed_name,
            password=PASSWORD,
            roles=roles,
            at=at,
            profession=profession,
            registration=registration and registration + suffix,
        )
    return cast


def pen(shown: Any, *, password: str = PASSWORD) -> Pen:
    """Return the pen of somebody who was shown `shown`."""
    return Pen(password=password, shown_digest=shown_digest(shown))


def with_hydrocortisone(cast: Cast, *, at: datetime = NOW, **facts: Any) -> str:
    """Set up the substance of the demo (figures invented) and return its name."""
    step = facts.pop("rounding_step_mg", Decimal("0.05"))
    given = SubstanceFacts(
        name="hydrocortisone",
        rounding_step_mg=step,
        rounding_limit_frac=Decimal("0.05"),
        rounding_source="invented for the tests",
        **facts,
    )
    return set_up_substance(cast.rosa, facts=given, at=at)


def demo_substance(cast: Cast, *, at: datetime = NOW, **changes: Any) -> str:
    """Set hydrocortisone up with invented limits: 0.5 to 10 mg a dose, 1 to 20 mg a day."""
    limits = tuple(
        LimitFacts(per=per, low_mg=Decimal(low), high_mg=Decimal(high), source=INVENTED, since=date(2026, 1, 1))
        for per, low, high in (("dose", "0.5", "10"), ("day", "1", "20"))
    )
    facts = SubstanceFacts(
        **(
            {
                "name": "hydrocortisone",
                "rounding_step_mg": Decimal("0.25"),
                "rounding_limit_frac": Decimal("0.1"),
                "rounding_source": INVENTED,
                "limits": limits,
            }
            | changes
        )
    )
    return set_up_substance(cast.rosa, facts=facts, at=at)


def demo_formulation() -> FormulationSpec:
    """Return the demo's formulation as it is drafted (figures invented)."""
    return read_formulation((FORMULATIONS / "hydrocortisone-tablet.toml").read_text(encoding="utf-8"))


def validated_formulation(cast: Cast, *, spec: FormulationSpec | None = None, at: datetime = NOW) -> str:
    """Draft, submit and validate a formulation of the substance on file; return its code."""
    code = formulary.draft_formulation(cast.nora, spec=spec or demo_formulation(), at=at).code
    formulary.submit_formulation(cast.nora, code, at=at)
    for signer in (cast.nora, cast.rosa):
        shown = formulary.shown_for_validate(signer, code)
        formulary.validate_formulation(signer, code, pen=pen(shown), at=at)
    return code


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Everything that a resin lot is made of and with: an approved lot per recipe line, balances, a tank."""

    formulation: str
    fine: str
    coarse: str
    tank: str
    lots: tuple[str, ...]


LOT_MG: tuple[Decimal, ...] = tuple(map(Decimal, ("325000", "150000", "20200", "4600", "200")))
"""What 500 g of the demo's resin are made of, in the recipe's order [mg]."""

NEXT_YEAR = date(2027, 3, 1)


def ready_bench(cast: Cast, formulation: str | None = None, *, at: datetime = NOW) -> Bench:
    """Return a bench for a validated formulation: every ingredient received and approved, equipment in date."""
    code = formulation or validated_formulation(cast, at=at)
    facts = formulation_facts(cast.site.pk, code)
    lots = []
    for line in facts.recipe:
        is_drug = line.ingredient.role == "drug"
        assay: dict[str, Any] = {
            "assay_frac": Decimal("0.994"),
            "u_assay_frac": Decimal("0.003"),
            "assay_basis": "dried",
            "assay_expressed_as": "form",
            "loss_on_drying_frac": Decimal("0.004"),
        }
        delivered = stock.DeliveredLot(
            ingredient=line.ingredient.code,
            supplier_lot=f"S-{line.number}",
            amount_g=Decimal(2000),
            expires_on=NEXT_YEAR,
            certificate_reference=f"demo certificate {line.number}",
            **(assay if is_drug else {}),
        )
        lot = stock.receive_ingredient_lot(cast.tomas, lot=delivered, at=at).code
        stock.approve_ingredient_lot(cast.rosa, lot, at=at)
        lots.append(lot)
    given: dict[str, Any] = {"due_on": NEXT_YEAR, "check": "invented", "at": at}
    return Bench(
        formulation=code,
        fine=stock.register_equipment(
            cast.paul,
            kind="balance",
            name="fine balance",
            resolution_mg=Decimal("0.1"),
            repeatability_mg=Decimal("0.08"),
            **given,
        ),
        coarse=stock.register_equipment(
            cast.paul,
            kind="balance",
            name="bench balance",
            resolution_mg=Decimal(10),
            repeatability_mg=Decimal(8),
            **given,
        ),
        tank=stock.register_equipment(
            cast.paul, kind="tank", name="tank 1", formulation=code, capacity_ml=Decimal(400), **given
        ),
        lots=tuple(lots),
    )


def weighed_lot(cast: Cast, bench: Bench, *, weights: dict[int, Decimal] | None = None, at: datetime = NOW) -> str:
    """Weigh 500 g of resin (Tomas weighs, Ada checks); `weights` [mg] by recipe line differ from the target."""
    lot = stock.start_resin_lot(cast.tomas, formulation=bench.formulation, target_g=Decimal(500), at=at).code
    for number, (mg, ingredient_lot) in enumerate(zip(LOT_MG, bench.lots, strict=True), start=1):
        other = (weights or {}).get(number)
        stock.weigh(
            cast.tomas,
            lot,
            item_number=number,
            ingredient_lot=ingredient_lot,
            actual_mg=mg if other is None else other,
            balance=bench.coarse if number <= 2 else bench.fine,
            at=at,
            reason="" if other is None else "for the test",
        )
        stock.check_weighing(cast.ada, lot, item_number=number, at=at)
    return lot


def lot_results(**changes: str) -> tuple[tuple[str, str, str], ...]:
    """Return results (kind, place, value) that pass; `changes` replace them by "assay_top" and the like."""
    usual = {
        "identity": "conforms",
        "assay_top": "40.05",
        "assay_middle": "40.00",
        "assay_bottom": "39.90",
        "appearance": "clear yellow liquid, no particles",
        "cure strip": "108",
    }
    results = {**usual, **changes}
    return tuple((name.partition("_")[0], name.partition("_")[2], value) for name, value in results.items())


def lot_with_results(
    cast: Cast, bench: Bench, *, weights: dict[int, Decimal] | None = None, at: datetime = NOW, **results: str
) -> str:
    """Weigh, mix (Tomas) and test (Ada) a lot; results as in `lot_results`."""
    lot = weighed_lot(cast, bench, weights=weights, at=at)
    stock.mix_resin_lot(cast.tomas, lot, at=at)
    for kind, place, value in lot_results(**results):
        stock.record_lot_test(cast.ada, lot, kind=kind, place=place, value=value, at=at)
    stock.end_lot_tests(cast.ada, lot, at=at)
    return lot


def approve_lot(cast: Cast, lot: str, *, by: str = "lena", at: datetime = NOW, **more: Any) -> stock.LotAnswer:
    """Approve a tested lot by somebody who took no part in it."""
    actor = getattr(cast, by)
    shown = stock.shown_for_approve(actor, lot, at=at)
    return stock.approve_resin_lot(actor, lot, pen=pen(shown), at=at, **more)


def approved_resin_lot(cast: Cast, bench: Bench | None = None, *, at: datetime = NOW) -> str:
    """Return an approved lot of 500 g (Tomas made it, Ada checked and tested, Lena approved)."""
    lot = lot_with_results(cast, bench or ready_bench(cast, at=at), at=at)
    approve_lot(cast, lot, at=at)
    return lot


def filled_tank(cast: Cast, bench: Bench | None = None, *, lot: str | None = None, at: datetime = NOW) -> str:
    """Return the code of a tank fill of 300 mL of an approved lot."""
    used = bench or ready_bench(cast, at=at)
    code = lot or approved_resin_lot(cast, used, at=at)
    return stock.fill_tank(cast.tomas, tank=used.tank, resin_lot=code, volume_ml=Decimal(300), at=at).code


def linked_printer(cast: Cast, *, at: datetime = NOW) -> str:
    """Set up the demo's bench (formulation, approved lot, tank) and return its linked printer."""
    from tests.batches import bench

    return bench(cast, at=at).printer


def planned_batch(cast: Cast, *, at: datetime = NOW) -> str:
    """Check the demo order, plan it with a new bench and return the batch."""
    from tests.batches import bench, checked_order, planned

    demo_substance(cast, at=at)
    one = bench(cast, at=at)
    checked_order(cast, at=at)
    return planned(cast, one, at=at)[0]


def ready_batch(cast: Cast, *, at: datetime = NOW) -> str:
    """Return a batch whose plate file is delivered."""
    from tests.batches import ready

    return ready(cast, planned_batch(cast, at=at), at=at)


def run_to(cast: Cast, batch: str, state: str, *, at: datetime = NOW) -> datetime:
    """Take a planned batch to a state; see `tests.batches.run_to`."""
    from tests import batches

    return batches.run_to(cast, batch, state, at=at)
