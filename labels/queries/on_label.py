"""What a pack's label must say, from the order, the formulation, the law and the site, and its digest."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from dosewright.ground.jurisdictions import READ
from dosewright.ground.jurisdictions import Pack as LawPack
from dosewright.ground.models import Site
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal
from labels.content import LabelContent, LabelFacts, label_content
from labels.models import Pack, ProductNumber
from labels.wording import Directions, FormName, Words, date_words, unit_strength_mg
from prescriptions.queries import LabelPatient, LineFacts, label_patient, line_facts, order_facts
from printing.formulary.content import FormulationFacts
from printing.formulary.queries import facts_by_id
from printing.plates.models import Zone

REFRIGERATOR = "Store in a refrigerator (2 to 8 °C)."
"""How the house keeps what has no stability study of its own (design rule)."""

NG_PER_MG = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptLabel:
    """A label's content as it is kept: the patient by code, and the digest of everything that was printed."""

    patient: str
    printed_digest: str
    content: LabelContent


def label_facts(pack: Pack, *, code: str, number: str, count: int, on: date, law: LawPack) -> LabelFacts:
    """Return what the label of a pack says; `count` [units] is what is in it, `on` the site's day.

    Raises BadInput where a dose has no exact strength per unit. The caller records the look at the patient.
    """
    order, line = order_facts(pack.order.code), line_facts(pack.line.code)
    formulation, site = facts_by_id(pack.batch.formulation_id), pack.site
    per_dose = units_per_dose(pack)
    words = law.wording(site.language)
    patient = label_patient(order.code)
    return LabelFacts(
        number=f"{code} ({number})",
        pack_code=pack.code,
        order_code=order.code,
        patient=f"{patient.given_name} {patient.family_name}",
        patient_identifier=identifier_words(patient, words),
        product_name=order.substance,
        directions=directions_of(line, formulation, per_dose),
        start_date=line.starts_on,
        stop_date=line.ends_on,
        count=count,
        batch=pack.batch.code,
        use_by_date=pack.use_by_date,
        storage=formulation.storage if formulation.shelf_life_days else REFRIGERATOR,
        precautions=tuple(dict.fromkeys((*formulation.warnings, *order.warnings))),
        prescriber=order.prescriber_name or order.prescriber_registration,
        supplier_name=site.name,
        supplier_address=", ".join(part for part in (site.address, site.telephone) if part),
        supply_date=on,
        is_unlicensed=True,
        route={"oral": "by mouth"}.get(order.route, order.route),
        excipients=excipients_of(formulation, law),
        gtin=gtin_of(pack, unit_strength_mg(line.dose_mg, per_dose)),
        supply=line.supply,
        supplies=line.supplies,
    )


def in_words(facts: LabelFacts, *, law: LawPack, site: Site, state: str) -> LabelContent:
    """Return the label in words of the site's language; raises BadInput, Blocked as `label_content` does."""
    return label_content(facts, law=law, language=site.language, state=state)


def kept_label(content: LabelContent, *, patient: str) -> KeptLabel:
    """Return a label's content without the patient's name, with the digest of what was printed."""
    hidden = replace(content, patient=patient, patient_identifier="")
    return KeptLabel(patient=patient, printed_digest=printed_digest(content), content=hidden)


def printed_digest(content: LabelContent) -> str:
    """Return the digest of a label's whole content as printed."""
    return digest_of(canonical_text(content))


def read_kept_digest(content_text: str) -> str:
    """Return the digest of the whole printed content that was kept with a label."""
    return str(json.loads(content_text)["printed_digest"])


def units_per_dose(pack: Pack) -> int:
    """Return how many units make one dose, as the line was sized in its plan; raises Blocked."""
    return units_per_dose_of(pack.zone)


def units_per_dose_of(zone: Zone) -> int:
    """Return how many units of a zone make one dose; raises Blocked for a zone without a size, and never says one."""
    if zone.sized is None:
        raise Blocked.because("zone", "was never sized", value=zone.code, accepted="a zone of a dose line", rule="size")
    return zone.sized.units_per_dose


def directions_of(line: LineFacts, formulation: FormulationFacts, per_dose: int) -> Directions:
    """Return a dose line as the patient takes it."""
    return Directions(
        form=FormName(one=formulation.form_name, many=formulation.form_name_plural),
        dose_mg=line.dose_mg,
        units_per_dose=per_dose,
        timing=line.schedule.timing,
        every_n_days=line.schedule.every_n_days,
        weekdays=line.schedule.weekdays,
        start_date=line.starts_on,
        stop_date=line.ends_on,
    )


def identifier_words(patient: LabelPatient, words: Words) -> str:
    """Return the second identifier as printed: the day of birth and the outside number."""
    born = words["born"].format(date=date_words(patient.birth_date, words))
    return f"{born}, {patient.identifier}" if patient.identifier else born


def excipients_of(formulation: FormulationFacts, law: LawPack) -> str:
    """Return the excipients by name where the law wants them on the label, else nothing."""
    if not any(one.id == "excipients" for one in law.label_particulars):
        return ""
    return ", ".join(formulation.excipients)


def gtin_of(pack: Pack, strength_mg: Decimal) -> str:
    """Return the number of the product in a pack, empty where the site has no company prefix or none is given yet."""
    found = ProductNumber.objects.filter(
        site_id=pack.site_id,
        formulation=pack.batch.formulation.code,
        unit_ng=int(strength_mg * NG_PER_MG),
        prefix=pack.site.gs1_prefix,
    ).first()
    return found.gtin if found else ""


def legal_basis_of(order_basis: str, law: LawPack) -> str:
    """Return the legal basis of an order under a law pack: the one it names, else the only confirmed one.

    Raises BadInput where the order names none of the pack's, or none and the pack has several.
    """
    confirmed = [one.id for one in law.bases if one.confirmed == READ]
    if order_basis in confirmed:
        return order_basis
    if not order_basis and len(confirmed) == 1:
        return confirmed[0]
    raise BadInput(
        Refusal(
            field="legal_basis",
            value=order_basis or None,
            message=f"the order stands on no confirmed legal basis of law pack {law.id}",
            accepted=", ".join(confirmed) or "none is confirmed",
            rule="legal-basis",
        )
    )


def local_day(at: datetime, site: Site) -> date:
    """Return the day at the site."""
    return at.astimezone(site.zone).date()
