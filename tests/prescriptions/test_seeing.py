"""What each person sees: names for those who treat, pseudonyms for the auditor, codes for the technician."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from dosewright.ground.models import AuditEntry, ReadEntry
from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed, NotThere
from prescriptions import services
from prescriptions.intake.patient_json import read_patient
from prescriptions.models import BodyMeasure, Patient
from prescriptions.queries import label_patient, line_facts, order_facts, order_state
from prescriptions.queries.orders import alerts_page, one_alert, one_order, orders_page
from prescriptions.queries.patients import one_patient, patients_page
from prescriptions.queries.substances import substances_page
from tests.cast import NOW, Cast, found_cast
from tests.orders import enter_signed, order_json, order_request, screened_order, verified_order

PEOPLE_WITH_NAMES = ("mira.voss", "rosa.keller")


def register(cast: Cast, number: str, family: str, given: str = "Odalys") -> str:
    """Register an invented patient."""
    part = {
        "identifier": {"system": "urn:demo:hospital-number", "value": number},
        "family_name": family,
        "given_name": given,
    }
    facts = read_patient(order_json(patient=part)["patient"], "patient", [], NOW.date())
    return services.register_patient(cast.mira, facts=facts, at=NOW)


@pytest.mark.parametrize("who", ["mira.voss", "rosa.keller", "tomas.lind", "otto.krug"])
def test_who_reads_which_names_with_an_order(cast: Cast, who: str) -> None:
    code = screened_order(cast, order_request("12 mg", "2 mg", "1 mg"))
    actor = cast.act(who)
    view = one_order(actor, code, at=NOW)
    row = orders_page(actor, at=NOW).items[0]
    named = who in PEOPLE_WITH_NAMES
    assert (view.patient_name, view.birth_date) == (("Quillfeather, Odalys", date(2019, 5, 4)) if named else ("", None))
    assert row.patient_name == ("Quillfeather, Odalys" if named else "")
    assert view.patient == row.patient == Patient.objects.get().code
    assert ReadEntry.objects.filter(reader_id=actor.user_id).count() == (2 if named else 0)
    assert "Quillfeather" not in str(view) or named


@pytest.mark.parametrize("who", ["nora.stein", "paul.berg"])
def test_others_see_no_orders_and_no_patients(cast: Cast, who: str) -> None:
    code = enter_signed(cast, order_request()).code
    actor = cast.act(who)
    for attempt in (
        lambda: one_order(actor, code, at=NOW),
        lambda: orders_page(actor, at=NOW),
        lambda: patients_page(actor, at=NOW),
        lambda: one_patient(actor, Patient.objects.get().code, at=NOW),
        lambda: alerts_page(actor),
        lambda: substances_page(actor),
    ):
        with pytest.raises(NotAllowed):
            attempt()


def test_a_technician_never_sees_a_patient(cast: Cast) -> None:
    code = register(cast, "D-1", "Abelard")
    with pytest.raises(NotAllowed):
        one_patient(cast.tomas, code, at=NOW)
    with pytest.raises(NotAllowed):
        patients_page(cast.tomas, at=NOW)


def test_an_auditor_sees_pseudonyms_until_they_say_why(cast: Cast) -> None:
    code = register(cast, "D-1", "Abelard")
    view = one_patient(cast.otto, code, at=NOW)
    assert (view.family_name, view.given_name, view.birth_date, view.identifiers) == ("", "", None, ())
    assert [(row.code, row.family_name, row.birth_date) for row in patients_page(cast.otto, at=NOW).items] == [
        (code, "", None)
    ]
    with pytest.raises(BadInput):
        services.reveal_patient(cast.otto, code, reason="  ", at=NOW)
    names = services.reveal_patient(cast.otto, code, reason="recall of a lot", at=NOW)
    assert (names.family_name, names.identifiers) == ("Abelard", ("urn:demo:hospital-number D-1",))
    assert ReadEntry.objects.filter(view="reveal", patient=code, reason="recall of a lot").count() == 1
    entry = AuditEntry.objects.get(action="patient.reveal", outcome="done")
    assert entry.subject == code
    assert "Abelard" not in entry.text
    for other in (cast.mira, cast.rosa, cast.tomas):
        with pytest.raises(NotAllowed):
            services.reveal_patient(other, code, reason="recall of a lot", at=NOW)


def test_one_order_tells_all_that_was_prescribed_found_and_signed(cast: Cast) -> None:
    code = screened_order(cast, order_request("12 mg", "2 mg", "1 mg", indication="adrenal insufficiency"))
    services.query_order(cast.rosa, code, question="so much in the morning?", at=NOW)
    view = one_order(cast.rosa, code, at=NOW)
    assert view.steps[0].in_words == "12 mg at 07:00 every day, 2026-03-10 to 2026-04-06 (28 doses)"
    assert [(line.dose_mg, line.times_text) for line in view.lines] == [
        (Decimal(12), "07:00"),
        (Decimal(2), "13:00"),
        (Decimal(1), "19:00"),
    ]
    assert [alert.rule for alert in view.alerts] == ["limit-dose-high"]
    assert [(one.screen, one.occasion) for one in view.reports] == [("making", "order"), ("patient", "order")]
    assert view.reports[1].record["weight_kg"] == "20.5"
    assert [one.printed_name for one in view.signatures] == ["Dr Mira Voss"]
    assert [(one.what, one.by) for one in view.remarks] == [("query", "rosa.keller")]
    assert (view.state, view.indication, view.prescriber) == ("queried", "adrenal insufficiency", "Dr Mira Voss")
    assert view.patient_figures["age_at_start_days"] == (date(2026, 3, 10) - date(2019, 5, 4)).days


def test_orders_come_earliest_due_first_and_page_by_page(cast: Cast) -> None:
    for day in ("12", "10", "11", "10", "14"):
        step = {"dose": "2 mg", "times": ["09:00"], "start_date": f"2026-03-{day}", "days": 1}
        enter_signed(cast, order_request(regimen={"steps": [step]}))
    first = orders_page(cast.rosa, limit=2, at=NOW)
    second = orders_page(cast.rosa, limit=2, after=first.next_after, at=NOW)
    third = orders_page(cast.rosa, limit=2, after=second.next_after, at=NOW)
    days = [row.starts_on.day for page in (first, second, third) for row in page.items]
    assert days == [10, 10, 11, 12, 14]
    assert len({row.code for page in (first, second, third) for row in page.items}) == 5
    assert third.next_after == ""
    for broken in ("nonsense", "2026-03-10~RX", "~"):
        with pytest.raises(BadInput):
            orders_page(cast.rosa, after=broken, at=NOW)


def test_orders_by_state_and_patient(cast: Cast) -> None:
    one = enter_signed(cast, order_request()).code
    other = enter_signed(
        cast, order_request(patient={"identifier": {"system": "urn:demo:hospital-number", "value": "D-9"}})
    ).code
    services.stop_order(cast.mira, one, reason="no longer needed", at=NOW)
    assert [row.code for row in orders_page(cast.rosa, state="received", at=NOW).items] == [other]
    assert [row.code for row in orders_page(cast.rosa, state="stopped", at=NOW).items] == [one]
    assert [row.code for row in orders_page(cast.rosa, patient=order_facts(one).patient, at=NOW).items] == [one]
    with pytest.raises(BadInput):
        orders_page(cast.rosa, state="printed", at=NOW)


def test_patients_by_name_and_number_page_by_page(cast: Cast) -> None:
    for number, family, given in (("1", "Byrd", "B"), ("2", "Abel", "B"), ("3", "Abel", "A"), ("4", "Abel", "A")):
        register(cast, number, family, given)
    pages = [patients_page(cast.mira, limit=2, at=NOW)]
    pages.append(patients_page(cast.mira, limit=2, after=pages[0].next_after, at=NOW))
    names = [(row.family_name, row.given_name) for page in pages for row in page.items]
    assert names == [("Abel", "A"), ("Abel", "A"), ("Abel", "B"), ("Byrd", "B")]
    assert pages[1].next_after == ""
    assert [row.family_name for row in patients_page(cast.mira, identifier="1", at=NOW).items] == ["Byrd"]
    with pytest.raises(BadInput):
        patients_page(cast.mira, after="PA-NOBODY", at=NOW)
    found = patients_page(cast.otto, limit=3, at=NOW)
    assert [row.code for row in found.items] == sorted(Patient.objects.values_list("code", flat=True))[:3]


def test_nothing_of_another_site_is_seen(cast: Cast) -> None:
    code = screened_order(cast, order_request("12 mg", "2 mg", "1 mg"))
    patient = order_facts(code).patient
    alert = alerts_page(cast.rosa).items[0].code
    elsewhere = found_cast(suffix=".2", name="Another invented pharmacy")
    assert orders_page(elsewhere.rosa, at=NOW).items == ()
    assert patients_page(elsewhere.rosa, at=NOW).items == ()
    assert alerts_page(elsewhere.rosa).items == ()
    assert substances_page(elsewhere.rosa).items == ()
    for attempt in (
        lambda: one_order(elsewhere.rosa, code, at=NOW),
        lambda: one_patient(elsewhere.rosa, patient, at=NOW),
        lambda: one_alert(elsewhere.rosa, alert),
    ):
        with pytest.raises(NotThere):
            attempt()
    assert not ReadEntry.objects.filter(reader_id=elsewhere.rosa.user_id).exists()


def test_facts_for_the_houses_on_the_right(cast: Cast) -> None:
    code = verified_order(cast, order_request(patient={"largest_unit_mm": "7.5"}))
    facts = order_facts(code)
    assert (facts.fit.weight_kg, facts.fit.weight_on) == (Decimal("20.5"), date(2026, 2, 27))
    assert (facts.fit.age_years, facts.fit.largest_unit_mm, facts.fit.swallowing) == (6, Decimal("7.5"), "solids")
    assert (facts.substance, facts.release, facts.narrow_index) == ("hydrocortisone", "immediate", False)
    assert [one.action for one in facts.signatures] == ["order.enter", "order.verify"]
    assert line_facts(facts.lines[0].code) == facts.lines[0]
    assert label_patient(code).family_name == "Quillfeather"
    assert "Quillfeather" not in str(facts)
    for look in (order_state, order_facts, label_patient, line_facts):
        with pytest.raises(NotThere):
            look("RX-3333333Q")


def test_registering_twice_and_wrongly(cast: Cast) -> None:
    register(cast, "D-1", "Abelard")
    with pytest.raises(Conflict):
        register(cast, "D-1", "Abelard")
    with pytest.raises(NotAllowed):
        services.register_patient(cast.tomas, facts=order_request().patient, at=NOW)
    with pytest.raises(BadInput) as refused:
        services.register_patient(cast.mira, facts=order_request().patient, at=NOW - timedelta(days=30))
    assert {one.field for one in refused.value.refusals} == {"weight.measured_on", "height.measured_on"}
    assert Patient.objects.count() == 1


def test_correcting_names_keeps_them_out_of_the_audit_trail(cast: Cast) -> None:
    code = register(cast, "D-1", "Abelard")
    services.correct_patient(
        cast.rosa, code, changes={"family_name": "Abelardsen", "sex": "male"}, reason="misread on the card", at=NOW
    )
    view = one_patient(cast.rosa, code, at=NOW)
    assert (view.family_name, view.sex, view.version) == ("Abelardsen", "male", 3)
    text = AuditEntry.objects.get(action="patient.correct").text
    assert "Abelard" not in text
    assert '"field":"family_name"' in text
    assert '"from":"female"' in text


@pytest.mark.parametrize(
    ("changes", "reason", "field"),
    [
        ({"family_name": " "}, "misread on the card", "family_name"),
        ({"birth_date": date(2027, 1, 1)}, "misread on the card", "birth_date"),
        ({"sex": "m"}, "misread on the card", "sex"),
        ({"largest_unit_mm": Decimal(40)}, "misread on the card", "largest_unit_mm"),
        ({"code": "PA-1"}, "misread on the card", "code"),
        ({}, "misread on the card", "changes"),
        ({"sex": "male"}, " ", "reason"),
    ],
)
def test_corrections_that_are_refused(cast: Cast, changes: dict[str, object], reason: str, field: str) -> None:
    code = register(cast, "D-1", "Abelard")
    with pytest.raises(BadInput) as refused:
        services.correct_patient(cast.rosa, code, changes=changes, reason=reason, at=NOW)
    assert [one.field for one in refused.value.refusals] == [field]
    assert Patient.objects.get().version == 1


def test_a_measure_is_corrected_by_a_new_row(cast: Cast) -> None:
    code = register(cast, "D-1", "Abelard")
    wrong = services.measure_patient(
        cast.mira, code, kind="weight", value="25.0", unit="kg", measured_on=NOW.date(), at=NOW
    )
    right = services.measure_patient(
        cast.mira, code, kind="weight", value="20", unit="kg", measured_on=NOW.date(), corrects=wrong, at=NOW
    )
    measures = {one.code: one for one in one_patient(cast.rosa, code, at=NOW).measures}
    assert (measures[right].corrects, measures[wrong].corrected_by) == (wrong, right)
    assert measures[right].value == 20
    with pytest.raises(Conflict):
        services.measure_patient(
            cast.mira, code, kind="weight", value="21", unit="kg", measured_on=NOW.date(), corrects=wrong, at=NOW
        )
    assert BodyMeasure.objects.filter(kind="weight").count() == 3


@pytest.mark.parametrize(
    ("kind", "value", "unit", "day", "field"),
    [
        ("weight", "45", "lb", date(2026, 3, 2), "value"),
        ("weight", "NaN", "kg", date(2026, 3, 2), "value"),
        ("weight", "-20", "kg", date(2026, 3, 2), "value"),
        ("weight", "20", "kg", date(2026, 3, 3), "measured_on"),
        ("weight", "20", "kg", date(2019, 5, 3), "measured_on"),
        ("girth", "60", "cm", date(2026, 3, 2), "kind"),
    ],
)
def test_measures_that_are_refused(cast: Cast, kind: str, value: str, unit: str, day: date, field: str) -> None:
    code = register(cast, "D-1", "Abelard")
    with pytest.raises(BadInput) as refused:
        services.measure_patient(cast.mira, code, kind=kind, value=value, unit=unit, measured_on=day, at=NOW)
    assert refused.value.refusals[0].field.startswith(field)
    assert BodyMeasure.objects.count() == 2


def test_a_measure_of_somebody_else_is_not_corrected(cast: Cast) -> None:
    one, other = register(cast, "D-1", "Abelard"), register(cast, "D-2", "Byrd")
    wrong = one_patient(cast.rosa, one, at=NOW).measures[0].code
    with pytest.raises(BadInput):
        services.measure_patient(
            cast.mira, other, kind="weight", value="20", unit="kg", measured_on=NOW.date(), corrects=wrong, at=NOW
        )
