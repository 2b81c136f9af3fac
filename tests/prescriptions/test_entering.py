"""Entering orders: lines, rounding, signatures, repeats, refusals; nothing is left of what was refused."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from dosewright.ground.models import AuditEntry, Idempotency, Outbox, Signature, Work
from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed, NotThere, Refused
from dosewright.ground.pure.roles import Channel
from prescriptions import services
from prescriptions.models import Allergy, BodyMeasure, DoseLine, Order, OrderVersion, Patient, RegimenStep
from prescriptions.queries import order_facts, order_state
from prescriptions.queries.regimen import administrations_of, record_of
from tests.cast import NOW, PASSWORD, Cast, found_cast, pen
from tests.orders import enter_signed, order_request


def test_unequal_doses_make_three_lines_of_28(cast: Cast) -> None:
    answer = enter_signed(cast, order_request())
    facts = order_facts(answer.code)
    assert [(line.dose_mg, line.times, line.administrations) for line in facts.lines] == [
        (Decimal("3"), ("07:00",), 28),
        (Decimal("2"), ("13:00",), 28),
        (Decimal("1.75"), ("19:00",), 28),
    ]
    assert facts.starts_on == date(2026, 3, 10)
    assert facts.ends_on == date(2026, 4, 6)
    assert (answer.state, answer.order_version, answer.repeated) == ("received", 1, False)


def test_line_counts_are_those_of_the_calendar(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    version = OrderVersion.objects.get(order__code=code)
    given = administrations_of(version)
    assert len(given) == sum(line.administrations for line in order_facts(code).lines) == 84
    assert sum(one.dose_mg for one in given) == Decimal("6.75") * 28


def test_due_at_first_dose_where_nobody_said(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    # 07:00 in Berlin on 10 March 2026, before summer time (Directive 2000/84/EC), is 06:00 UTC.
    assert order_facts(code).ready_by == datetime(2026, 3, 10, 6, 0, tzinfo=UTC)


def test_due_at_opening_time_where_the_first_dose_is_later(cast: Cast) -> None:
    request = order_request(
        regimen={"steps": [{"dose": "2 mg", "times": ["20:00"], "start_date": "2026-03-10", "days": 3}]}
    )
    assert order_facts(enter_signed(cast, request).code).ready_by == datetime(2026, 3, 10, 7, 0, tzinfo=UTC)


def test_dose_per_kg_is_rounded_once_and_shown(cast: Cast) -> None:
    request = order_request("0.15 mg/kg", "2 mg", "1.75 mg")
    code = enter_signed(cast, request).code
    step = RegimenStep.objects.get(version__order__code=code, number=1)
    # 0.15 mg/kg x 20.5 kg = 3.075 mg; nearest multiple of 0.25 mg is 3 mg; 3/3.075 - 1 = -2.4 %.
    assert (step.calculated_mg, step.ordered_mg) == (Decimal("3.075"), Decimal("3"))
    assert step.rounding_words == "3.075 mg calculated, 3 mg ordered, -2.4 %"
    assert order_facts(code).lines[0].dose_mg == 3
    given = administrations_of(OrderVersion.objects.get(order__code=code))
    assert sum(one.dose_mg for one in given) == (3 + 2 + Decimal("1.75")) * 28


def test_dose_per_kg_of_a_patient_on_file_takes_the_latest_weight(cast: Cast) -> None:
    first = enter_signed(cast, order_request()).code
    patient = order_facts(first).patient
    services.measure_patient(
        cast.mira, patient, kind="weight", value="22", unit="kg", measured_on=date(2026, 3, 1), at=NOW
    )
    code = enter_signed(cast, order_request("0.1 mg/kg", "1 mg", "1 mg", patient={"code": patient})).code
    assert RegimenStep.objects.get(version__order__code=code, number=1).calculated_mg == Decimal("2.2")


def test_statements_of_the_order_become_rows(cast: Cast) -> None:
    request = order_request(patient={"allergies": {"status": "listed", "entries": ["penicillin, rash"]}})
    enter_signed(cast, request)
    patient = Patient.objects.get()
    assert patient.allergies_recorded == "listed"
    assert list(Allergy.objects.values_list("text", flat=True)) == ["penicillin, rash"]
    assert set(BodyMeasure.objects.values_list("kind", "value")) == {
        ("weight", Decimal("20.5")),
        ("height", Decimal("115")),
    }


def test_second_order_finds_the_patient_and_adds_no_equal_rows(cast: Cast) -> None:
    enter_signed(cast, order_request())
    enter_signed(cast, order_request(patient={"family_name": "QUILLFEATHER "[:-1]}))
    assert (Patient.objects.count(), BodyMeasure.objects.count(), Order.objects.count()) == (1, 2, 2)


@pytest.mark.parametrize(
    ("part", "field"),
    [
        ({"birth_date": "2019-04-05"}, "patient.birth_date"),
        ({"family_name": "Quillpen"}, "patient.family_name"),
        ({"sex": "male"}, "patient.sex"),
    ],
)
def test_identifier_of_somebody_else_is_refused(cast: Cast, part: dict[str, str], field: str) -> None:
    enter_signed(cast, order_request())
    with pytest.raises(Conflict) as refused:
        enter_signed(cast, order_request(patient=part))
    assert [one.field for one in refused.value.refusals] == [field]
    assert Order.objects.count() == 1


def test_no_allergies_against_listed_ones_is_refused(cast: Cast) -> None:
    enter_signed(cast, order_request(patient={"allergies": {"status": "listed", "entries": ["latex"]}}))
    with pytest.raises(Conflict):
        enter_signed(cast, order_request())


def test_what_is_left_open_wipes_nothing(cast: Cast) -> None:
    enter_signed(cast, order_request())
    enter_signed(cast, order_request(patient={"swallowing": "not assessed", "stricture": None}))
    assert (Patient.objects.get().swallowing, Patient.objects.get().stricture) == ("solids", "no")
    enter_signed(cast, order_request(patient={"swallowing": "mini-units only"}))
    assert Patient.objects.get().swallowing == "mini-units only"


def test_equal_request_again_returns_the_first_answer(cast: Cast) -> None:
    request = order_request()
    first = enter_signed(cast, request)
    again = enter_signed(cast, request)
    assert again == services.OrderAnswer(code=first.code, state="received", order_version=1, version=2, repeated=True)
    assert (Order.objects.count(), Outbox.objects.count(), Signature.objects.count()) == (1, 1, 1)
    assert AuditEntry.objects.filter(action="order.enter", subject=first.code, outcome="done").count() == 2


def test_same_reference_with_other_content_is_a_conflict(cast: Cast) -> None:
    request = order_request(reference="WARD-TWICE")
    enter_signed(cast, request)
    with pytest.raises(Conflict) as refused:
        enter_signed(cast, order_request("4 mg", reference="WARD-TWICE"))
    assert refused.value.refusals[0].rule == "reference"
    assert (Order.objects.count(), Idempotency.objects.count()) == (1, 1)


def test_another_source_may_use_the_same_reference(cast: Cast) -> None:
    request = order_request(reference="WARD-TWICE")
    enter_signed(cast, request)
    other = services.enter_order(cast.mira, request=request, source="another ward", pen=None, at=NOW)
    assert not other.repeated
    assert Order.objects.count() == 2


def test_without_a_pen_the_order_waits_and_nothing_is_emitted(cast: Cast) -> None:
    answer = services.enter_order(cast.mira, request=order_request(), source="tests", pen=None, at=NOW)
    assert answer.state == "waiting"
    assert not Outbox.objects.exists()
    signed = services.sign_order(cast.mira, answer.code, pen=pen(services.order_record(cast.mira, answer.code)), at=NOW)
    assert signed.state == order_state(answer.code) == "received"
    assert Outbox.objects.get().payload == f'{{"order":"{answer.code}","version":1}}'


def test_signed_text_is_the_version_text(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    version = OrderVersion.objects.get(order__code=code)
    signature = Signature.objects.get()
    assert signature.shown_text == version.text
    assert signature.shown_digest == version.digest
    assert (signature.printed_name, signature.subject, signature.subject_version) == ("Dr Mira Voss", code, 1)
    assert record_of(version)["steps"][2]["in_words"] == (
        "1.75 mg at 19:00 every day, 2026-03-10 to 2026-04-06 (28 doses)"
    )


def test_technician_may_enter_and_not_sign(cast: Cast) -> None:
    request = order_request(prescriber={"registration": "DEMO-P-1001"})
    shown = services.order_shown(cast.tomas, request, source="tests", at=NOW)
    with pytest.raises(NotAllowed):
        services.enter_order(cast.tomas, request=request, source="tests", pen=pen(shown), at=NOW)
    assert not Order.objects.exists()
    answer = services.enter_order(cast.tomas, request=request, source="tests", pen=None, at=NOW)
    assert answer.state == "waiting"
    with pytest.raises(NotAllowed):
        services.sign_order(cast.tomas, answer.code, pen=pen({}), at=NOW)
    assert order_facts(answer.code).prescriber_name == "Dr Mira Voss"


def test_who_prescribed_must_be_named_by_others(cast: Cast) -> None:
    with pytest.raises(BadInput) as refused:
        services.enter_order(cast.tomas, request=order_request(), source="tests", pen=None, at=NOW)
    assert refused.value.refusals[0].field == "prescriber"


@pytest.mark.parametrize("who", ["otto.krug", "nora.stein", "paul.berg"])
def test_others_may_not_enter(cast: Cast, who: str) -> None:
    with pytest.raises(NotAllowed):
        services.enter_order(cast.act(who), request=order_request(), source="tests", pen=None, at=NOW)
    assert not Order.objects.exists()
    assert not Patient.objects.exists()
    assert AuditEntry.objects.filter(action="order.enter", outcome="refused").count() == 1


def test_token_never_signs(cast: Cast) -> None:
    request = order_request()
    by_token = cast.act("mira.voss", Channel.TOKEN)
    shown = services.order_shown(by_token, request, source="tests", at=NOW)
    with pytest.raises(NotAllowed) as refused:
        services.enter_order(by_token, request=request, source="tests", pen=pen(shown), at=NOW)
    assert refused.value.refusals[0].rule == "token"
    assert not Order.objects.exists()
    assert services.enter_order(by_token, request=request, source="tests", pen=None, at=NOW).state == "waiting"


def test_wrong_password_leaves_nothing_but_an_audit_row(cast: Cast) -> None:
    request = order_request()
    shown = services.order_shown(cast.mira, request, source="tests", at=NOW)
    with pytest.raises(NotAllowed):
        services.enter_order(
            cast.mira, request=request, source="tests", pen=pen(shown, password="guess" + PASSWORD), at=NOW
        )
    tables = (Order, OrderVersion, DoseLine, Patient, Idempotency, Outbox, Work, Signature)
    assert [table.objects.count() for table in tables] == [0] * len(tables)
    assert AuditEntry.objects.filter(action="order.enter", outcome="refused").count() == 1


def test_signing_another_text_than_was_shown_is_refused(cast: Cast) -> None:
    shown = services.order_shown(cast.mira, order_request("30 mg"), source="tests", at=NOW)
    with pytest.raises(Conflict) as refused:
        services.enter_order(cast.mira, request=order_request(), source="tests", pen=pen(shown), at=NOW)
    assert refused.value.refusals[0].rule == "shown"
    assert not Order.objects.exists()


def test_signed_order_is_not_signed_again(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    with pytest.raises(Conflict):
        services.sign_order(cast.mira, code, pen=pen(services.order_record(cast.mira, code)), at=NOW)
    assert Signature.objects.count() == 1


def test_only_the_prescriber_named_signs(cast: Cast) -> None:
    request = order_request(prescriber={"registration": "GMC-ELSEWHERE-7"})
    code = services.enter_order(cast.tomas, request=request, source="tests", pen=None, at=NOW).code
    with pytest.raises(NotAllowed) as refused:
        services.sign_order(cast.mira, code, pen=pen(services.order_record(cast.mira, code)), at=NOW)
    assert refused.value.refusals[0].rule == "must be"
    assert order_state(code) == "waiting"


def test_pharmacist_attests_what_was_prescribed_elsewhere(cast: Cast) -> None:
    request = order_request(prescriber={"registration": "ELSEWHERE-7"})
    code = services.enter_order(cast.tomas, request=request, source="tests", pen=None, at=NOW).code
    given = pen(services.order_record(cast.rosa, code))
    with pytest.raises(BadInput):
        services.attest_order(cast.rosa, code, reference="paper 17", seen_on=date(2026, 3, 3), pen=given, at=NOW)
    with pytest.raises(NotAllowed):
        services.attest_order(cast.tomas, code, reference="paper 17", seen_on=date(2026, 3, 2), pen=given, at=NOW)
    answer = services.attest_order(cast.rosa, code, reference="paper 17", seen_on=date(2026, 3, 2), pen=given, at=NOW)
    assert answer.state == "received"
    assert Signature.objects.get().meaning == "I saw the original prescription paper 17 on 2026-03-02."
    with pytest.raises(Conflict):
        services.attest_order(cast.jonas, code, reference="paper 17", seen_on=date(2026, 3, 2), pen=given, at=NOW)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"substance": "hydrocortison"}, "substance"),
        ({"patient": {"code": "PA-3333333Q"}}, "code"),
        (
            {"regimen": {"steps": [{"dose": "2 mg", "times": ["07:00"], "start_date": "2026-02-01", "days": 3}]}},
            "regimen",
        ),
    ],
)
def test_what_cannot_be_found_or_made_is_refused_by_name(cast: Cast, changes: dict[str, object], field: str) -> None:
    with pytest.raises((BadInput, NotThere)) as refused:
        services.enter_order(cast.mira, request=order_request(**changes), source="tests", pen=None, at=NOW)
    assert refused.value.refusals[0].field == field
    assert not Order.objects.exists()


def test_rounding_that_changes_too_much_is_refused(cast: Cast) -> None:
    # 0.016 mg/kg x 20.5 kg = 0.328 mg; rounded to 0.25 mg this is -24 %, over the substance's 10 %.
    with pytest.raises(BadInput) as refused:
        enter_signed(cast, order_request("0.016 mg/kg"))
    assert refused.value.refusals[0].rule == "rounding-too-coarse"


def test_patients_and_orders_of_another_site_are_not_there(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    elsewhere = found_cast(suffix=".2", name="Another invented pharmacy")
    for attempt in (
        lambda: services.stop_order(elsewhere.rosa, code, reason="wrong site", at=NOW),
        lambda: services.verify_shown(elsewhere.rosa, code),
        lambda: services.open_alerts(elsewhere.rosa, code, at=NOW),
    ):
        with pytest.raises(NotThere):
            attempt()
    assert order_state(code) == "received"


def test_no_name_in_audit_outbox_or_work(cast: Cast) -> None:
    enter_signed(cast, order_request())
    with pytest.raises(Refused):
        enter_signed(cast, order_request(patient={"birth_date": "2018-01-01"}))
    texts = [
        *AuditEntry.objects.values_list("text", flat=True),
        *Outbox.objects.values_list("payload", flat=True),
        *Work.objects.values_list("payload", flat=True),
        *Signature.objects.values_list("shown_text", flat=True),
        *OrderVersion.objects.values_list("text", flat=True),
    ]
    assert len(texts) >= 5
    for name in ("Quillfeather", "Odalys", "D-1001", "2019-05-04"):
        assert not [text for text in texts if name.casefold() in text.casefold()]
