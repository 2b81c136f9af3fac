"""How much active moiety a weighed drug substance holds, with every correction shown and none made twice."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.formulas import formula
from printing.core.exact import Number, exact, positive


class AssayBasis(Enum):
    """What the certificate's assay refers to."""

    AS_IS = "as is"
    ANHYDROUS = "anhydrous"
    DRIED = "dried"


class ExpressedAs(Enum):
    """Whether the assay counts the weighed form (salt, ester, hydrate) or the active moiety itself."""

    FORM = "form"
    MOIETY = "moiety"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrugForm:
    """The weighed form and its moiety: molar masses [g/mol], moieties per formula unit, waters of crystallisation.

    ``molar_mass_form`` includes the crystal water.  Equal molar masses mean that the form is the moiety.
    """

    molar_mass_form: Decimal
    molar_mass_moiety: Decimal
    moieties_per_form: int = 1
    crystal_waters: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Assay:
    """A certificate's assay [%] with its basis, what it is expressed as, and water or loss on drying [%].

    ``nominal_frac`` is the share of the drug's form that was meant to be there: 1, or less in a premix.
    """

    percent: Decimal
    basis: AssayBasis
    expressed_as: ExpressedAs
    water_percent: Decimal | None = None
    loss_on_drying_percent: Decimal | None = None
    nominal_frac: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the chain: what was done, the factor, and the running share of moiety in the weighed powder."""

    what: str
    factor: Decimal
    running_frac: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Potency:
    """mg of active moiety per mg of powder as weighed, with its chain."""

    frac: Decimal
    steps: tuple[Step, ...]


def form_factor(form: DrugForm) -> Decimal:
    """Return mg of moiety per mg of pure form, n M(moiety) / M(form).

    Molar masses [g/mol] > 0, moieties 1 or more, crystal waters 0 or more.
    Raises BadInput outside these ranges or when the factor is above 1.  Source: stoichiometry.
    """
    total, moiety = (
        positive("molar_mass_form", form.molar_mass_form),
        positive("molar_mass_moiety", form.molar_mass_moiety),
    )
    if form.moieties_per_form < 1 or form.crystal_waters < 0:
        raise BadInput.because("form", "counts of moieties and waters are wrong", accepted="1 or more, 0 or more")
    factor = form.moieties_per_form * moiety / total
    if factor > 1:
        raise BadInput.because("form", "holds more moiety than it weighs", value=f"{factor:.6f}", limit="1")
    return factor


def potency_of(assay: Assay, form: DrugForm) -> Potency:
    """Return the share of active moiety in the powder as weighed, step by step.

    An assay "as is" is taken as it stands; "anhydrous" is multiplied by (1 - water), "dried" by (1 - loss on
    drying); one expressed as the form is multiplied by the form factor.  Raises BadInput where a correction
    would be made twice or is missing: water given with an assay as is, none with an anhydrous one, both water
    and loss on drying, an anhydrous or dried assay of a form with crystal water (its factor holds that water
    already), an assay outside 80 to 110 % of what was meant to be there, a premix assayed otherwise than as is,
    water outside 0 to 50 %.
    Source: stoichiometry and the meaning of the pharmacopoeial bases; range limits are judgement, no source.
    """
    _refuse_contradictions(assay, form)
    percent = positive("assay", assay.percent)
    steps = [Step(what=f"assay {percent} %, {assay.basis.value}", factor=percent / 100, running_frac=percent / 100)]
    if assay.basis is AssayBasis.ANHYDROUS and assay.water_percent is not None:
        steps.append(_next(steps, f"less water {assay.water_percent} %", 1 - assay.water_percent / 100))
    if assay.basis is AssayBasis.DRIED and assay.loss_on_drying_percent is not None:
        lost = assay.loss_on_drying_percent
        steps.append(_next(steps, f"less loss on drying {lost} %", 1 - lost / 100))
    if assay.expressed_as is ExpressedAs.FORM:
        label = f"moiety per form {form.moieties_per_form} x {form.molar_mass_moiety} / {form.molar_mass_form}"
        steps.append(_next(steps, label, form_factor(form)))
    return Potency(frac=steps[-1].running_frac, steps=tuple(steps))


@formula(
    "potency",
    inputs={
        "assay_percent": "assay of the certificate [%], 80 to 110",
        "basis": "as is, anhydrous or dried",
        "expressed_as": "form or moiety",
        "molar_mass_form": "molar mass of the weighed form with its crystal water [g/mol], more than 0",
        "molar_mass_moiety": "molar mass of the active moiety [g/mol], more than 0",
        "moieties_per_form": "moieties in one formula unit, 1 or more",
        "crystal_waters": "waters of crystallisation in one formula unit, 0 or more",
        "water_percent": "water [%], only with basis anhydrous",
        "loss_on_drying_percent": "loss on drying [%], only with basis dried",
    },
    source="Stoichiometry; meaning of the bases in the General Notices of the pharmacopoeias",
)
def potency(
    assay_percent: Number,
    basis: str,
    expressed_as: str,
    molar_mass_form: Number,
    molar_mass_moiety: Number,
    moieties_per_form: int = 1,
    crystal_waters: int = 0,
    water_percent: Number | None = None,
    loss_on_drying_percent: Number | None = None,
) -> Potency:
    """Return `potency_of` plain numbers and words; raises BadInput for words that are not known."""
    try:
        known_basis, known_form = AssayBasis(basis), ExpressedAs(expressed_as)
    except ValueError as unknown:
        accepted = "as is, anhydrous, dried; form, moiety"
        raise BadInput.because(
            "basis", "basis or expression is not known", value=str(unknown), accepted=accepted
        ) from None
    assay = Assay(
        percent=exact("assay_percent", assay_percent),
        basis=known_basis,
        expressed_as=known_form,
        water_percent=None if water_percent is None else exact("water_percent", water_percent),
        loss_on_drying_percent=None
        if loss_on_drying_percent is None
        else exact("loss_on_drying_percent", loss_on_drying_percent),
    )
    form = DrugForm(
        molar_mass_form=exact("molar_mass_form", molar_mass_form),
        molar_mass_moiety=exact("molar_mass_moiety", molar_mass_moiety),
        moieties_per_form=moieties_per_form,
        crystal_waters=crystal_waters,
    )
    return potency_of(assay, form)


def _next(steps: list[Step], what: str, factor: Decimal) -> Step:
    return Step(what=what, factor=factor, running_frac=steps[-1].running_frac * factor)


def _refuse_contradictions(assay: Assay, form: DrugForm) -> None:
    water, lost, basis = assay.water_percent, assay.loss_on_drying_percent, assay.basis
    wrong: list[tuple[str, str, str]] = []
    meant = assay.nominal_frac * (form_factor(form) if assay.expressed_as is ExpressedAs.MOIETY else 1)
    low, high = 80 * meant, 110 * meant
    if not low <= exact("assay", assay.percent) <= high:
        wrong.append(("assay", "is no assay of what was meant to be there", f"{low:.4f} to {high:.4f} %"))
    if assay.nominal_frac != 1 and basis is not AssayBasis.AS_IS:
        wrong.append(("basis", "a premix is assayed as it is weighed", "as is"))
    if water is not None and lost is not None:
        wrong.append(("water_percent", "water and loss on drying together would be taken off twice", "one of them"))
    if basis is AssayBasis.AS_IS and (water is not None or lost is not None):
        wrong.append(("basis", "an assay as is holds its water already; it would be taken off twice", "no water"))
    if basis is AssayBasis.ANHYDROUS and (water is None or lost is not None):
        wrong.append(("water_percent", "an anhydrous assay needs the water, and nothing else", "water_percent"))
    if basis is AssayBasis.DRIED and (lost is None or water is not None):
        wrong.append(("loss_on_drying_percent", "a dried assay needs the loss on drying, and nothing else", "loss"))
    if basis is not AssayBasis.AS_IS and form.crystal_waters and assay.expressed_as is ExpressedAs.FORM:
        wrong.append(("form", "crystal water would be taken off twice", "the form without its water"))
    for name, share in (("water_percent", water), ("loss_on_drying_percent", lost)):
        if share is not None and not 0 <= exact(name, share) <= 50:
            wrong.append((name, "is no share of water", "0 to 50 %"))
    refuse_if_any(BadInput, [Refusal(field=f, message=m, accepted=a, rule="potency") for f, m, a in wrong])
