"""What stands on one container label, complete against the law pack and the house's own list, or refused."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dosewright.ground.jurisdictions.packs import READ, Pack, signable
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal, refuse_if_any
from dosewright.ground.pure.gs1 import date_value
from dosewright.ground.pure.notation import format_mass
from labels.wording import (
    Directions,
    Words,
    date_words,
    directions_words,
    period_words,
    quantity_words,
    strength_words,
    supply_words,
    unit_strength_mg,
)

DRAFT = "draft"
ORIGINAL = "original"

HOUSE_PARTICULARS = (
    "patient",
    "patient_identifier",
    "product",
    "form",
    "strength",
    "route",
    "directions",
    "period",
    "quantity",
    "batch",
    "expiry",
    "storage",
    "precautions",
    "prescriber",
    "supplier_name",
    "supplier_address",
    "supply_date",
    "children",
)
"""What every label of this house shows, whatever the law asks (design rule)."""

_MOST_TEXT = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelFacts:
    """The facts of one pack, before they are put in words.

    ``patient_identifier`` is the second one as printed ("born 4 May 2016", a hospital number); ``count`` [>= 1]
    is what was counted into the container; ``precautions`` are whole sentences; ``gtin`` [14 digits] is empty
    where the site has no GS1 company prefix; ``supply`` of ``supplies`` [>= 1] is the part of the course in it.
    """

    number: str
    pack_code: str
    order_code: str
    patient: str
    patient_identifier: str
    product_name: str
    directions: Directions
    start_date: date
    stop_date: date
    count: int
    batch: str
    use_by_date: date
    storage: str
    precautions: tuple[str, ...]
    prescriber: str
    supplier_name: str
    supplier_address: str
    supply_date: date
    is_unlicensed: bool
    route: str = "by mouth"
    excipients: str = ""
    licence_number: str = ""
    gtin: str = ""
    supply: int = 1
    supplies: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelContent:
    """One label in words, as it prints; ``elements`` are GS1 elements, empty where the pack's code stands plain.

    Every field named in a law pack's label particulars is a field here.
    """

    number: str
    state: str
    language: str
    law_pack: str
    pack_code: str
    serial_number: str
    patient: str
    patient_identifier: str
    product: str
    form: str
    strength: str
    route: str
    directions: str
    period: str
    quantity: str
    count: int
    batch: str
    expiry: str
    use_by_date: date
    storage: str
    precautions: tuple[str, ...]
    prescriber: str
    supplier_name: str
    supplier_address: str
    supply_date: str
    unlicensed: str
    children: str
    excipients: str
    licence_number: str
    elements: tuple[tuple[str, str], ...]


def label_content(facts: LabelFacts, *, law: Pack, language: str, state: str) -> LabelContent:
    """Return the complete label of `facts` under `law`.

    Raises BadInput naming every missing particular or a count that is no whole number of doses, Blocked when an
    original would rest on unconfirmed law or the course outlasts the product.
    """
    refuse_if_any(BadInput, _fact_faults(facts, state))
    refuse_if_any(Blocked, _blocks(facts, law, state))
    content = _in_words(facts, law, law.wording(language), language, state)
    refuse_if_any(BadInput, _missing(content, law, is_unlicensed=facts.is_unlicensed))
    return content


def symbol_elements(facts: LabelFacts) -> tuple[tuple[str, str], ...]:
    """Return GTIN, expiry, count, lot and serial for the symbol, predefined lengths first; empty without a GTIN.

    No patient data stands in a symbol. Source: GS1 Barcode Syntax Dictionary ((01) with (30), never (37)).
    """
    if not facts.gtin:
        return ()
    return (
        ("01", facts.gtin),
        ("17", date_value(facts.use_by_date)),
        ("30", str(facts.count)),
        ("10", facts.batch),
        ("21", facts.pack_code),
    )


def _in_words(facts: LabelFacts, law: Pack, words: Words, language: str, state: str) -> LabelContent:
    directions = facts.directions
    strength_mg = unit_strength_mg(directions.dose_mg, directions.units_per_dose)
    last_day = date_words(facts.use_by_date, words)
    return LabelContent(
        number=facts.number,
        state=state,
        language=language,
        law_pack=law.id,
        pack_code=facts.pack_code,
        serial_number=facts.order_code,
        patient=facts.patient,
        patient_identifier=facts.patient_identifier,
        product=words["product"].format(
            name=facts.product_name, form=directions.form.many, strength=strength_words(strength_mg, law.micro_word)
        ),
        form=directions.form.of(facts.count),
        strength=format_mass(strength_mg, law.micro_word),
        route=facts.route,
        directions=directions_words(directions, words=words, micro_word=law.micro_word),
        period=_period(facts, words),
        quantity=quantity_words(facts.count, directions.form, words),
        count=facts.count,
        batch=facts.batch,
        expiry=law.sentence(law.expiry_wording, language).format(date=last_day),
        use_by_date=facts.use_by_date,
        storage=facts.storage,
        precautions=facts.precautions,
        prescriber=facts.prescriber,
        supplier_name=facts.supplier_name,
        supplier_address=facts.supplier_address,
        supply_date=date_words(facts.supply_date, words),
        unlicensed=law.sentence(law.unlicensed_statement, language) if facts.is_unlicensed else "",
        children=law.sentence("children", language),
        excipients=facts.excipients,
        licence_number=facts.licence_number,
        elements=symbol_elements(facts),
    )


def _period(facts: LabelFacts, words: Words) -> str:
    part = supply_words(facts.supply, facts.supplies, words)
    return " ".join(one for one in (period_words(facts.start_date, facts.stop_date, words), part) if one)


def _fact_faults(facts: LabelFacts, state: str) -> list[Refusal]:
    faults = []
    if state not in {DRAFT, ORIGINAL}:
        faults.append(
            Refusal(field="state", value=state, message="is no state of a label", accepted="draft or original")
        )
    per_dose = facts.directions.units_per_dose
    if per_dose < 1 or facts.count < 1 or facts.count % per_dose:
        faults.append(
            Refusal(
                field="count",
                value=str(facts.count),
                rule="whole-doses",
                message=f"is no whole number of doses of {per_dose}",
                accepted=f"a multiple of {per_dose}",
            )
        )
    return faults


def _blocks(facts: LabelFacts, law: Pack, state: str) -> list[Refusal]:
    blocks = []
    if facts.use_by_date < facts.stop_date:
        blocks.append(
            Refusal(
                field="expiry",
                value=facts.use_by_date.isoformat(),
                limit=facts.stop_date.isoformat(),
                message="the course outlasts the product",
                rule="expiry-before-course-ends",
            )
        )
    if state == ORIGINAL:
        blocks += [
            Refusal(field=one.item, message=f"law pack {law.id}: {one.message}", rule="unconfirmed-law")
            for one in signable(law)
        ]
        said = [law.expiry_wording, "children", *([law.unlicensed_statement] if facts.is_unlicensed else [])]
        blocks += [
            Refusal(field=one, message=f"law pack {law.id} has not confirmed this wording", rule="unconfirmed-law")
            for one in said
            if law.statement(one).confirmed != READ
        ]
    return blocks


def _missing(content: LabelContent, law: Pack, *, is_unlicensed: bool) -> list[Refusal]:
    wanted = dict.fromkeys(HOUSE_PARTICULARS, "the house") | {
        one.id: f"law pack {law.id}, {one.instrument}" for one in law.label_particulars if one.mandatory
    }
    if not is_unlicensed:
        wanted.pop("unlicensed", None)
    faults = [
        Refusal(field=name, message=f"the label must show it ({source})", rule="label-particular")
        for name, source in wanted.items()
        if _is_blank(getattr(content, name, ""))
    ]
    texts = {name: getattr(content, name) for name in wanted if isinstance(getattr(content, name, ""), str)}
    return faults + [
        Refusal(
            field=name,
            value=str(len(text)),
            limit=str(_MOST_TEXT),
            unit="characters",
            message="is too long for any label",
            rule="label-particular",
        )
        for name, text in texts.items()
        if len(text) > _MOST_TEXT
    ]


def _is_blank(value: object) -> bool:
    if isinstance(value, tuple):
        return not value or any(_is_blank(one) for one in value)
    return not str(value).strip()
