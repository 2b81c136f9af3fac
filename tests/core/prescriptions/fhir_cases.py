"""Changes of the example Bundle: those that must be refused, with element and rule, and those that must be read."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from decimal import Decimal
from typing import Any

from dosewright.ground.pure.strict_json import parse
from prescriptions.intake.drafts import Draft
from prescriptions.intake.fhir_bundle import read_fhir
from prescriptions.intake.order_request import KnownPatient
from prescriptions.regimens import AsNeeded, MealSlots
from tests.imports import WRITTEN_ON, example

BUNDLE: dict[str, Any] = parse(example("bundle_example.json"))
AT = "Bundle.entry[4].resource"
PATIENT, PRACTITIONER, WEIGHT, ALLERGY = (f"Bundle.entry[{number}].resource" for number in range(4))
DOSAGE = f"{AT}.dosageInstruction[0]"
MG = {"unit": "mg", "system": "http://unitsofmeasure.org", "code": "mg"}

Change = Callable[[dict[str, Any]], None]


def read(change: Change | None = None) -> Draft:
    """Read the example after `change` of the whole Bundle."""
    bundle = deepcopy(BUNDLE)
    if change is not None:
        change(bundle)
    (draft,) = read_fhir(bundle, today=WRITTEN_ON).drafts
    return draft


def put(path: str, value: Any) -> Change:
    """Return the change that puts `value` at ``5.status`` and the like: an entry, then names and numbers."""

    def change(bundle: dict[str, Any]) -> None:
        number, *names = path.split(".")
        place: Any = bundle["entry"][int(number)]["resource"]
        for name in names[:-1]:
            place = place[int(name)] if name.isdigit() else place[name]
        last = names[-1]
        if value is None:
            del place[last]
        else:
            place[int(last) if last.isdigit() else last] = value

    return change


def many(*changes: Change) -> Change:
    """Return all changes as one."""

    def change(bundle: dict[str, Any]) -> None:
        for one in changes:
            one(bundle)

    return change


DOSE = "4.dosageInstruction.0"
REPEAT = f"{DOSE}.timing.repeat"


def one_dosage(bundle: dict[str, Any]) -> None:
    """Leave the first dosage alone, and the quantity out."""
    request = bundle["entry"][4]["resource"]
    request["dosageInstruction"] = request["dosageInstruction"][:1]
    del request["dispenseRequest"]


REFUSED: list[tuple[str, Change, str, str]] = [
    # what stands, and what is meant by it
    ("draft", put("4.status", "draft"), f"{AT}.status", "standing"),
    ("no status", put("4.status", None), f"{AT}.status", "standing"),
    ("proposal", put("4.intent", "proposal"), f"{AT}.intent", "standing"),
    ("do not give", put("4.doNotPerform", True), f"{AT}.doNotPerform", "standing"),
    ("hearsay", put("4.reportedBoolean", True), f"{AT}.reportedBoolean", "standing"),
    ("replaces", put("4.priorPrescription", {"reference": "x/1"}), f"{AT}.priorPrescription", "fhir-element"),
    ("urgent", put("4.priority", "stat"), f"{AT}.priority", "choice"),
    ("modifier", put("4.modifierExtension", [{"url": "urn:x"}]), f"{AT}.modifierExtension", "fhir-element"),
    ("rules", put("4.implicitRules", "urn:x"), f"{AT}.implicitRules", "fhir-element"),
    ("unknown", put("4.dosage", []), f"{AT}.dosage", "fhir-element"),
    ("substitution", put("4.substitution", {"allowedCodeableConcept": {"text": "any"}}),
     f"{AT}.substitution.allowedCodeableConcept", "fhir-element"),
    # whose and who
    ("no subject", put("4.subject", None), f"{AT}.subject", "missing"),
    ("a group", put("4.subject", {"reference": "Group/1"}), f"{AT}.subject.reference", "reference"),
    ("no prescriber", put("4.requester", None), f"{AT}.requester", "missing"),
    ("a device", put("4.requester", {"reference": "Device/1"}), f"{AT}.requester.reference", "reference"),
    ("no number of the order", put("4.identifier", None), f"{AT}.identifier", "missing"),
    ("dead", put("0.deceasedBoolean", True), f"{PATIENT}.deceasedBoolean", "person"),
    ("not in use", put("0.active", False), f"{PATIENT}.active", "person"),
    ("replaced", put("0.link", [{"type": "replaced-by"}]), f"{PATIENT}.link[0].type", "person"),
    ("two numbers", put("0.identifier", [{"system": "a", "value": "1"}, {"system": "b", "value": "2"}]),
     f"{PATIENT}.identifier", "person"),
    ("nobody's number", put("0.identifier", [{"value": "1"}]), f"{PATIENT}.identifier", "person"),
    ("no name", put("0.name", None), f"{PATIENT}.name", "person"),
    ("born in a year", put("0.birthDate", "2017"), f"{PATIENT}.birthDate", "date"),
    ("not born", put("0.birthDate", None), f"{PATIENT}.birthDate", "missing"),
    ("two registrations", put("1.identifier", [{"value": "1"}, {"value": "2"}]),
     f"{PRACTITIONER}.identifier", "person"),
    ("in pounds", put("2.valueQuantity", {"value": Decimal(58), "unit": "[lb_av]"}), f"{WEIGHT}.unit", "unit"),
    ("allergy unsaid", put("3.code", {"coding": []}), f"{ALLERGY}.code.coding", "fhir-shape"),
    # what
    ("two ingredients", put("4.contained.0.ingredient", [{"itemCodeableConcept": {"text": "a"}}] * 2),
     f"{AT}.contained[0].ingredient", "substance"),
    ("somebody's product", put("4.contained.0.manufacturer", {"display": "x"}),
     f"{AT}.contained[0].manufacturer", "fhir-element"),
    ("delayed", put("4.contained.0.form.text", "delayed-release tablet"), f"{AT}.medicationReference", "release"),
    # how much
    ("no dose", put(f"{DOSE}.doseAndRate", None), f"{DOSAGE}.doseAndRate", "dose"),
    ("two doses", put(f"{DOSE}.doseAndRate", [{"doseQuantity": {"value": Decimal(3), **MG}}] * 2),
     f"{DOSAGE}.doseAndRate", "dose"),
    ("a range", put(f"{DOSE}.doseAndRate.0", {"doseRange": {}}), f"{DOSAGE}.doseAndRate[0].doseRange", "fhir-element"),
    ("a rate", put(f"{DOSE}.doseAndRate.0.rateQuantity", {}), f"{DOSAGE}.doseAndRate[0].rateQuantity", "fhir-element"),
    ("at most", put(f"{DOSE}.doseAndRate.0.doseQuantity.comparator", "<"),
     f"{DOSAGE}.doseAndRate[0].doseQuantity.comparator", "fhir-element"),
    ("two units", put(f"{DOSE}.doseAndRate.0.doseQuantity.unit", "mcg"),
     f"{DOSAGE}.doseAndRate[0].doseQuantity.unit", "unit"),
    ("megagrams", put(f"{DOSE}.doseAndRate.0.doseQuantity.code", "Mg"),
     f"{DOSAGE}.doseAndRate[0].doseQuantity.unit", "unit"),
    ("tablets", put(f"{DOSE}.doseAndRate.0.doseQuantity", {"value": Decimal(1), "code": "{tbl}"}),
     f"{DOSAGE}.doseAndRate[0].doseQuantity", "unit"),
    ("units of activity", put(f"{DOSE}.doseAndRate.0.doseQuantity", {"value": Decimal(1), "code": "[iU]"}),
     f"{DOSAGE}.doseAndRate[0].doseQuantity", "unit"),
    ("negative", put(f"{DOSE}.doseAndRate.0.doseQuantity.value", Decimal(-3)),
     f"{DOSAGE}.doseAndRate[0].doseQuantity", "number"),
    ("zero", put(f"{DOSE}.doseAndRate.0.doseQuantity.value", Decimal(0)),
     f"{DOSAGE}.doseAndRate[0].doseQuantity", "number"),
    ("a number as text", put(f"{DOSE}.doseAndRate.0.doseQuantity.value", "3"),
     f"{DOSAGE}.doseAndRate[0].doseQuantity.value", "fhir-shape"),
    ("thirteen digits", put(f"{DOSE}.doseAndRate.0.doseQuantity.value", Decimal("3.000000000001")),
     f"{DOSAGE}.doseAndRate[0].doseQuantity", "digits"),
    ("more than the most", put(f"{DOSE}.maxDosePerAdministration", {"value": Decimal(2), **MG}),
     f"{DOSAGE}.maxDosePerAdministration", "dose"),
    ("more than the day's most", put(f"{DOSE}.maxDosePerPeriod",
     {"numerator": {"value": Decimal(2), **MG}, "denominator": {"value": Decimal(1), "unit": "d"}}),
     f"{DOSAGE}.maxDosePerPeriod", "dose"),
    ("for life", put(f"{DOSE}.maxDosePerLifetime", {"value": Decimal(2)}),
     f"{DOSAGE}.maxDosePerLifetime", "fhir-element"),
    # when
    ("no time", put(f"{REPEAT}.timeOfDay", None), f"{DOSAGE}.timing.repeat.timeOfDay", "timing"),
    ("half a minute", put(f"{REPEAT}.timeOfDay", ["07:00:30"]), f"{DOSAGE}.timing.repeat.timeOfDay[0]", "time"),
    ("no such hour", put(f"{REPEAT}.timeOfDay", ["25:00:00"]), f"{DOSAGE}.timing.repeat.timeOfDay[0]", "time"),
    ("twice, one time", put(f"{REPEAT}.frequency", Decimal(2)), f"{DOSAGE}.timing.repeat.frequency", "timing"),
    ("every six hours", put(f"{REPEAT}.periodUnit", "h"), f"{DOSAGE}.timing.repeat.period", "timing"),
    ("every day and a half", put(f"{REPEAT}.period", Decimal("1.5")), f"{DOSAGE}.timing.repeat.period", "timing"),
    ("once or twice", put(f"{REPEAT}.frequencyMax", Decimal(2)),
     f"{DOSAGE}.timing.repeat.frequencyMax", "fhir-element"),
    ("ten times", put(f"{REPEAT}.count", Decimal(10)), f"{DOSAGE}.timing.repeat.count", "fhir-element"),
    ("over an hour", put(f"{REPEAT}.duration", Decimal(1)), f"{DOSAGE}.timing.repeat.duration", "fhir-element"),
    ("in the morning", many(put(f"{REPEAT}.timeOfDay", None), put(f"{REPEAT}.when", ["MORN"])),
     f"{DOSAGE}.timing.repeat.when[0]", "timing"),
    ("on no day", put(f"{REPEAT}.dayOfWeek", ["doomsday"]), f"{DOSAGE}.timing.repeat.dayOfWeek[0]", "choice"),
    ("code says thrice", put(f"{DOSE}.timing.code", {"coding": [{"code": "TID"}]}), f"{DOSAGE}.timing.code", "timing"),
    ("code of words", put(f"{DOSE}.timing.code", {"text": "as before"}), f"{DOSAGE}.timing.code", "timing"),
    ("moments", put(f"{DOSE}.timing.event", ["2026-03-10"]), f"{DOSAGE}.timing.event", "fhir-element"),
    ("no days", put(f"{REPEAT}.boundsPeriod", None), f"{DOSAGE}.timing.repeat.boundsPeriod", "missing"),
    ("no end", put(f"{REPEAT}.boundsPeriod.end", None), f"{DOSAGE}.timing.repeat.boundsPeriod.end", "missing"),
    ("a year", put(f"{REPEAT}.boundsPeriod.end", "2026"), f"{DOSAGE}.timing.repeat.boundsPeriod.end", "date"),
    ("from noon", put(f"{REPEAT}.boundsPeriod.start", "2026-03-10T12:00:00Z"),
     f"{DOSAGE}.timing.repeat.boundsPeriod.start", "date"),
    ("backwards", put(f"{REPEAT}.boundsPeriod.end", "2026-03-09"), f"{DOSAGE}.timing.repeat.boundsPeriod.end", "end"),
    ("for ten days", put(f"{REPEAT}.boundsDuration", {"value": Decimal(10)}),
     f"{DOSAGE}.timing.repeat.boundsDuration", "fhir-element"),
    ("at need, how often", put(f"{DOSE}.asNeededBoolean", True), f"{DOSAGE}.maxDosePerPeriod", "missing"),
    # by which way, and what else is to be told
    ("no route", put(f"{DOSE}.route", None), f"{DOSAGE}.route", "missing"),
    ("into a vein", put(f"{DOSE}.route", {"coding": [{"system": "http://snomed.info/sct", "code": "47625008"}]}),
     f"{DOSAGE}.route", "choice"),
    ("two routes", put(f"{DOSE}.route.coding", [{"system": "http://snomed.info/sct", "code": "26643006"},
     {"code": "x"}]),
     f"{DOSAGE}.route", "choice"),
    ("chew", put(f"{DOSE}.method", {"text": "chew"}), f"{DOSAGE}.method", "choice"),
    ("at a site", put(f"{DOSE}.site", {"text": "left"}), f"{DOSAGE}.site", "fhir-element"),
    ("with food", put(f"{DOSE}.additionalInstruction", [{"text": "with food"}]),
     f"{DOSAGE}.additionalInstruction[0]", "fhir-element"),
    ("tell the patient", put(f"{DOSE}.patientInstruction", "stop when better"),
     f"{DOSAGE}.patientInstruction", "fhir-element"),
    ("modified dose", put(f"{DOSE}.modifierExtension", [{"url": "urn:x"}]),
     f"{DOSAGE}.modifierExtension", "fhir-element"),
    # how much of it
    ("another count", put("4.dispenseRequest.quantity.value", Decimal(90)), f"{AT}.dispenseRequest.quantity", "supply"),
    ("a count of bottles", put("4.dispenseRequest.quantity.unit", "bottles"),
     f"{AT}.dispenseRequest.quantity", "supply"),
    ("half the course", put("4.dispenseRequest", {"expectedSupplyDuration": {"value": Decimal(14), "code": "d"}}),
     f"{AT}.dispenseRequest.expectedSupplyDuration", "supply"),
    ("repeats of what", put("4.dispenseRequest", {"numberOfRepeatsAllowed": Decimal(2)}),
     f"{AT}.dispenseRequest.numberOfRepeatsAllowed", "supply"),
    ("valid before", put("4.dispenseRequest", {"validityPeriod": {"end": "2026-03-09"}}),
     f"{AT}.dispenseRequest.validityPeriod", "supply"),
    ("a first fill", put("4.dispenseRequest", {"initialFill": {}}),
     f"{AT}.dispenseRequest.initialFill", "fhir-element"),
]  # fmt: skip


TAKEN: list[tuple[str, Change, Callable[[Draft], Any], Any]] = [
    ("an extension is no modifier", put("4.extension", [{"url": "urn:x"}]), lambda one: one.notes, ()),
    ("routine", put("4.priority", "routine"), lambda one: one.notes, ()),
    ("substitution either way", put("4.substitution", {"allowedBoolean": False}), lambda one: one.notes, ()),
    ("a usual number of two", put("0.identifier", [{"system": "a", "value": "1"},
     {"use": "usual", "system": "b", "value": "2"}]), lambda one: one.request.patient.identifier.value, "2"),
    ("a record number of two", put("0.identifier", [{"system": "a", "value": "1"},
     {"type": {"coding": [{"code": "MR"}]}, "system": "b", "value": "2"}]),
     lambda one: one.request.patient.identifier.value, "2"),
    ("a patient of this site", put("4.subject", {"identifier": {"value": "PA-23456789"}}),
     lambda one: one.request.patient, KnownPatient(code="PA-23456789")),
    ("a prescriber by number", put("4.requester", {"identifier": {"value": "REG-9"}}),
     lambda one: one.request.prescriber_registration, "REG-9"),
    ("prolonged", put("4.contained.0.form.text", "prolonged-release tablet"),
     lambda one: one.request.release, "prolonged"),
    ("by its name", put("4.medicationCodeableConcept", {"text": "Melatonin prolonged-release"}),
     lambda one: (one.request.substance, one.request.release), ("melatonin", "prolonged")),
    ("micrograms", many(one_dosage, put(f"{DOSE}.doseAndRate.0.doseQuantity",
     {"value": Decimal("62.50"), "unit": "mcg", "system": "http://unitsofmeasure.org", "code": "ug"})),
     lambda one: one.request.regimen.steps[0].dose.value_mg, Decimal("0.0625")),
    ("by weight, capped", many(one_dosage,
     put(f"{DOSE}.doseAndRate.0.doseQuantity", {"value": Decimal("0.10"), "code": "mg/kg"}),
     put(f"{DOSE}.maxDosePerAdministration", {"value": Decimal(5), **MG})),
     lambda one: (one.request.regimen.steps[0].dose.text, one.request.regimen.steps[0].cap_mg), ("0.1 mg/kg", 5)),
    ("every other day", many(one_dosage, put(f"{REPEAT}.period", Decimal(2))),
     lambda one: (one.request.regimen.steps[0].every_n_days, len(one.request.regimen.steps[0].dates())), (2, 14)),
    ("every third week", many(one_dosage, put(f"{REPEAT}.period", Decimal(3)), put(f"{REPEAT}.periodUnit", "wk")),
     lambda one: one.request.regimen.steps[0].every_n_days, 21),
    ("on two weekdays", many(one_dosage, put(f"{REPEAT}.dayOfWeek", ["mon", "thu"]),
     put(f"{REPEAT}.frequency", Decimal(2)), put(f"{REPEAT}.periodUnit", "wk")),
     lambda one: one.request.regimen.steps[0].weekdays, (1, 4)),
    ("at meals", many(one_dosage, put(f"{REPEAT}.timeOfDay", None), put(f"{REPEAT}.when", ["CM", "CV"]),
     put(f"{REPEAT}.frequency", Decimal(2))),
     lambda one: isinstance(one.request.regimen.steps[0].timing, MealSlots), True),
    ("a code that agrees", many(one_dosage, put(f"{DOSE}.timing.code", {"coding": [{"code": "QD"}]})),
     lambda one: one.notes, ()),
    ("at need", many(one_dosage, put(REPEAT, {"boundsPeriod": {"start": "2026-03-10", "end": "2026-04-06"},
     "frequency": Decimal(1), "period": Decimal(6), "periodUnit": "h"}),
     put(f"{DOSE}.asNeededCodeableConcept", {"text": "pain"}),
     put(f"{DOSE}.maxDosePerPeriod", {"numerator": {"value": Decimal(12), **MG},
     "denominator": {"value": Decimal(24), "unit": "h"}})),
     lambda one: one.request.regimen.steps[0].timing,
     AsNeeded(least_interval_h=Decimal(6), most_per_day=4, reason="pain")),
    ("whole days with their times", many(one_dosage, put(f"{REPEAT}.boundsPeriod",
     {"start": "2026-03-10T00:00:00+01:00", "end": "2026-04-06T23:59:59+02:00"})),
     lambda one: one.request.regimen.steps[0].days, 28),
    ("in three supplies", many(one_dosage, put("4.dispenseRequest", {"numberOfRepeatsAllowed": Decimal(1),
     "quantity": {"value": Decimal(14), "code": "TAB"},
      "expectedSupplyDuration": {"value": Decimal(2), "code": "wk"}})),
     lambda one: one.request.supply_days, 14),
    ("words beside the codes", many(one_dosage, put(f"{DOSE}.text", "30 mg in the\nmorning")),
     lambda one: one.request.sender_words, "30 mg in the morning"),
    ("no allergies came", put("3.patient", {"reference": "Patient/other"}),
     lambda one: one.request.patient.allergies.status, "not recorded"),
    ("an allergy by its words", put("3.code", {"text": "penicillin, rash"}),
     lambda one: one.request.patient.allergies.entries, ("penicillin, rash",)),
    ("a refuted allergy", many(put("3.code", {"text": "penicillin"}),
     put("3.verificationStatus", {"coding": [{"code": "refuted"}]})),
     lambda one: one.request.patient.allergies.status, "not recorded"),
    ("a weight that is not final", put("2.status", "preliminary"), lambda one: one.request.patient.weight, None),
    ("no reason stated", put("4.note", None), lambda one: one.request.reason, "not stated in the request"),
]  # fmt: skip
