"""Screening as background work and the clinical check: what blocks, what needs a reason, who may sign."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from dosewright.ground.act import act
from dosewright.ground.models import AuditEntry, Outbox, Signature, Work
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed
from dosewright.ground.pure.roles import Channel
from prescriptions import services
from prescriptions.findings import Finding, Severity
from prescriptions.models import Alert, OrderVersion, ScreenReport
from prescriptions.queries import order_facts, order_state
from prescriptions.queries.alerts import alerts_of
from prescriptions.services import LimitFacts
from tests.cast import INVENTED, NOW, Cast, demo_substance, found_cast, pen
from tests.orders import enter_signed, order_request, screen_making, screened_order, verified_order, verify, work_off

DAY = timedelta(days=1)


def rules(code: str) -> dict[str, str]:
    """Return rule and severity of each standing alert."""
    version = OrderVersion.objects.order_by("-number").filter(order__code=code)[0]
    return {one.rule: one.severity for one in alerts_of(version) if one.standing}


def blockers(cast: Cast, code: str, who: str = "rosa.keller") -> set[str]:
    """Return the rules that keep somebody from verifying."""
    actor = cast.act(who)
    with pytest.raises(Blocked) as refused:
        services.verify_order(actor, code, pen=pen(services.verify_shown(actor, code)), at=NOW)
    assert order_state(code) == "received"
    return {one.rule for one in refused.value.refusals}


def test_an_order_without_faults_has_no_alert_and_is_verified(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    assert rules(code) == {}
    assert verify(cast, code).state == order_state(code) == "verified"
    assert Outbox.objects.filter(fact="order verified").get().payload == f'{{"order":"{code}"}}'
    signed = Signature.objects.get(action="order.verify")
    assert (signed.subject, signed.subject_version, signed.printed_name) == (code, 1, "Rosa Keller")


def test_the_worker_runs_the_screen_once(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    assert Work.objects.filter(kind__startswith="fact:order received:prescriptions").count() == 1
    assert work_off("prescriptions.tasks") == 1
    assert work_off("prescriptions.tasks") == 0
    report = ScreenReport.objects.get()
    assert (report.screen, report.occasion, report.order_version.order.code) == ("patient", "order", code)
    assert AuditEntry.objects.filter(action="order.screen", subject=code, outcome="done").count() == 1


def test_an_order_stopped_before_its_screen_is_left_alone(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    services.stop_order(cast.mira, code, reason="entered for the wrong child", at=NOW)
    assert work_off("prescriptions.tasks") == 1
    assert not ScreenReport.objects.exists()


def test_neither_screen_has_reported(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    assert blockers(cast, code) == {"not-screened"}
    work_off("prescriptions.tasks")
    assert blockers(cast, code) == {"not-screened"}
    screen_making(cast, code)
    assert verify(cast, code).state == "verified"


def test_a_screen_at_another_occasion_does_not_stand_for_the_order_s_own(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    services.screen_again(cast.worker, code, occasion="plan", at=NOW)
    screen_making(cast, code)
    assert blockers(cast, code) == {"not-screened"}


@pytest.mark.parametrize(
    ("doses", "expected"),
    [
        # The cast's limits, invented: 0.5 to 10 mg a dose, 1 to 20 mg a day; over twice the most blocks.
        (("9.99 mg", "1 mg", "1 mg"), {}),
        (("10 mg", "1 mg", "1 mg"), {}),
        (("10.01 mg", "1 mg", "1 mg"), {"limit-dose-high": "reason"}),
        (("7 mg", "6.5 mg", "6.49 mg"), {}),
        (("7 mg", "6.5 mg", "6.5 mg"), {}),
        (("7 mg", "6.5 mg", "6.51 mg"), {"limit-day-high": "reason"}),
        (("20.01 mg", "1 mg", "1 mg"), {"limit-dose-high": "block", "limit-day-high": "reason"}),
        (("30 mg", "20 mg", "17.5 mg"), {"limit-dose-high": "block", "limit-day-high": "block"}),
        (("0.5 mg", "1 mg", "1 mg"), {}),
        (("0.49 mg", "1 mg", "1 mg"), {"limit-dose-low": "reason"}),
        (("0.05 mg", "1 mg", "1 mg"), {"limit-dose-low": "block"}),
    ],
)
def test_doses_under_at_and_over_their_limits(cast: Cast, doses: tuple[str, ...], expected: dict[str, str]) -> None:
    assert rules(screened_order(cast, order_request(*doses))) == expected


def test_over_the_limit_needs_a_reason_then_passes(cast: Cast) -> None:
    code = screened_order(cast, order_request("12 mg", "2 mg", "1 mg"))
    services.open_alerts(cast.rosa, code, at=NOW)
    assert blockers(cast, code) == {"reason-missing"}
    alert = Alert.objects.get()
    assert (alert.value, alert.limit, alert.unit, alert.source) == ("12", "10", "mg per dose", INVENTED)
    services.give_reason(cast.rosa, alert.code, reason="stress cover before surgery", at=NOW)
    assert verify(cast, code).state == "verified"


def test_a_tenfold_slip_blocks_whatever_reason_is_given(cast: Cast) -> None:
    code = screened_order(cast, order_request("30 mg", "2 mg", "1.75 mg"))
    services.open_alerts(cast.rosa, code, at=NOW)
    blocking = Alert.objects.get(severity="block")
    assert "tenfold slip" in blocking.message
    with pytest.raises(BadInput):
        services.give_reason(cast.rosa, blocking.code, reason="it is meant so", at=NOW)
    assert "limit-dose-high" in blockers(cast, code)


def test_every_alert_must_be_opened_by_the_one_who_verifies(cast: Cast) -> None:
    code = screened_order(cast, order_request("12 mg", "2 mg", "1 mg"))
    services.open_alerts(cast.jonas, code, at=NOW)
    services.give_reason(cast.jonas, Alert.objects.get().code, reason="agreed by telephone", at=NOW)
    assert blockers(cast, code) == {"not-opened"}
    opened = services.open_alerts(cast.rosa, code, at=NOW + timedelta(minutes=1))
    assert [(one.opened_by, one.opened_at) for one in opened] == [("rosa.keller", NOW + timedelta(minutes=1))]
    assert verify(cast, code).state == "verified"


def test_daily_totals_are_summed_over_all_active_orders(cast: Cast) -> None:
    first = enter_signed(cast, order_request("7 mg", "2 mg", "2 mg")).code
    code = screened_order(cast, order_request("8 mg", "1 mg", "1 mg"))
    assert rules(code) == {"duplicate-order": "reason", "limit-day-high": "reason"}
    assert Alert.objects.get(rule="limit-day-high", order_version__order__code=code).value == "21"
    services.stop_order(cast.mira, first, reason="replaced by another order", at=NOW)
    work_off("screen order")
    assert rules(code) == {}
    assert Alert.objects.filter(order_version__order__code=code).count() == 2
    assert verify(cast, code).state == "verified"


def test_an_order_that_ended_before_is_no_duplicate(cast: Cast) -> None:
    step = {"dose": "8 mg", "times": ["07:00"], "start_date": "2026-03-02", "days": 8}
    enter_signed(cast, order_request(regimen={"steps": [step]}))
    assert rules(screened_order(cast, order_request("8 mg", "6 mg", "6 mg"))) == {}
    enter_signed(cast, order_request(regimen={"steps": [step | {"days": 9}]}))
    assert "duplicate-order" in rules(screened_order(cast, order_request("8 mg", "6 mg", "6 mg")))


def test_weekly_only_counts_the_week_before(cast: Cast) -> None:
    demo_substance(cast, name="weeklymycin", weekly_only=True)
    once = {"dose": "5 mg", "times": ["07:00"], "days": 1}

    def order(day: str) -> str:
        steps = [once | {"start_date": day}]
        return screened_order(cast, order_request(substance="weeklymycin", regimen={"steps": steps}))

    assert rules(order("2026-03-09")) == {}
    assert rules(order("2026-03-16")) == {}
    assert rules(order("2026-03-22")) == {"weekly-only": "block"}


def test_same_names_and_birth_date_under_another_number_is_an_alert(cast: Cast) -> None:
    enter_signed(cast, order_request())
    twin = {"identifier": {"system": "urn:demo:hospital-number", "value": "D-1002"}}
    code = screened_order(cast, order_request(patient=twin | {"family_name": "quillFEATHER"}))
    assert rules(code) == {"patient-double": "reason"}
    other = twin | {"identifier": {"system": "urn:demo:hospital-number", "value": "D-1003"}, "given_name": "Ulf"}
    assert rules(screened_order(cast, order_request(patient=other))) == {}


@pytest.mark.parametrize(
    ("patient", "expected"),
    [
        ({"allergies": {"status": "not recorded"}}, {"allergies-not-recorded": "reason"}),
        ({"allergies": {"status": "listed", "entries": ["hydrocortisone"]}}, {"allergy-match": "block"}),
        ({"allergies": {"status": "listed", "entries": ["some red syrup"]}}, {"allergy-unmatched": "reason"}),
        ({"swallowing": "no solids"}, {"swallowing": "block"}),
        ({"feeding_tube": True}, {"feeding-tube": "block"}),
        (
            {"weight": {"value": "45.2", "unit": "kg", "measured_on": "2026-02-27"}},
            {"weight-hardly-believable": "reason"},
        ),
        ({"weight": {"value": "20.5", "unit": "kg", "measured_on": "2025-12-08"}}, {}),
        ({"weight": {"value": "20.5", "unit": "kg", "measured_on": "2025-12-07"}}, {"weight-out-of-date": "block"}),
    ],
)
def test_what_is_known_of_the_patient(cast: Cast, patient: dict[str, object], expected: dict[str, str]) -> None:
    """Six years old: a weight holds 90 days, and printing is to start on 8 March (two days before)."""
    assert rules(screened_order(cast, order_request(patient=patient))) == expected


def test_a_missing_weight_blocks_until_it_is_measured(cast: Cast) -> None:
    code = screened_order(cast, order_request(patient={"weight": None}))
    assert rules(code) == {"weight-missing": "block"}
    services.measure_patient(
        cast.mira, order_facts(code).patient, kind="weight", value="20500", unit="g", measured_on=NOW.date(), at=NOW
    )
    assert work_off("screen order") == 1
    assert rules(code) == {}
    assert verify(cast, code).state == "verified"


def test_controlled_substances_are_blocked_until_switched_on(cast: Cast) -> None:
    demo_substance(cast, name="controlline", controlled=True)
    assert rules(screened_order(cast, order_request(substance="controlline"))) == {"controlled-off": "block"}
    cast.site.values_text = '{"controlled_on": true}'
    cast.site.save()
    code = screened_order(cast, order_request(substance="controlline", patient={"given_name": "Odalys"}))
    assert "controlled-off" not in rules(code)


def test_no_limit_on_file_is_an_alert(cast: Cast) -> None:
    demo_substance(cast, name="unlimitine", limits=())
    code = screened_order(cast, order_request(substance="unlimitine"))
    assert rules(code) == {"no-limit-dose": "reason", "no-limit-day": "reason"}


def test_limits_hold_for_their_age_and_from_their_day(cast: Cast) -> None:
    later = LimitFacts(per="dose", high_mg=Decimal("1"), source=INVENTED, since=date(2026, 3, 3))
    adults = LimitFacts(per="day", high_mg=Decimal("1"), source=INVENTED, since=date(2026, 1, 1), age_from_days=6575)
    demo_substance(cast, name="agedone", limits=(later, adults))
    code = screened_order(cast, order_request(substance="agedone"))
    assert rules(code) == {"no-limit-dose": "reason", "no-limit-day": "reason"}
    services.screen_again(cast.worker, code, occasion="order", at=NOW + DAY)
    assert rules(code) == {"limit-dose-high": "block", "no-limit-day": "reason"}


def test_a_second_run_adds_only_what_is_new(cast: Cast) -> None:
    code = screened_order(cast, order_request("12 mg", "2 mg", "1 mg"))
    assert services.screen_again(cast.worker, code, occasion="plan", at=NOW) == ()
    assert Alert.objects.count() == 1
    patient = order_facts(code).patient
    services.correct_patient(cast.mira, patient, changes={"feeding_tube": "yes"}, reason="was entered wrongly", at=NOW)
    new = services.screen_again(cast.worker, code, occasion="plan", at=NOW)
    assert [one.rule for one in new] == ["feeding-tube"]
    assert Alert.objects.count() == 2


def test_the_age_of_a_weight_makes_no_new_alert_every_day(cast: Cast) -> None:
    code = screened_order(
        cast, order_request(patient={"weight": {"value": "20.5", "unit": "kg", "measured_on": "2025-11-01"}})
    )
    services.screen_again(cast.worker, code, occasion="start", at=NOW + 9 * DAY)
    services.screen_again(cast.worker, code, occasion="start", at=NOW + 10 * DAY)
    assert Alert.objects.filter(rule="weight-out-of-date").count() == 1


def test_a_new_alert_sends_a_verified_order_back(cast: Cast) -> None:
    code = verified_order(cast)
    # 90 days after 27 February is 28 May: a print start on the 29th finds the weight too old.
    assert services.screen_again(cast.worker, code, occasion="start", at=NOW, print_start=date(2026, 5, 28)) == ()
    assert order_state(code) == "verified"
    new = services.screen_again(cast.worker, code, occasion="start", at=NOW, print_start=date(2026, 5, 29))
    assert [(one.rule, one.severity, one.occasion) for one in new] == [("weight-out-of-date", "block", "start")]
    assert order_state(code) == "received"
    assert Outbox.objects.filter(fact="order received").count() == 2


def test_a_new_alert_of_the_making_screen_sends_it_back_too(cast: Cast) -> None:
    code = verified_order(cast)
    big = Finding(
        rule="unit-size",
        severity=Severity.REASON,
        field="unit.largest_mm",
        value="9.4",
        limit="9",
        unit="mm",
        source=INVENTED,
        message="the form is large",
    )
    screen_making(cast, code, big)
    assert order_state(code) == "received"
    assert rules(code) == {"unit-size": "reason"}


def test_an_alert_that_informs_leaves_a_verified_order_alone(cast: Cast) -> None:
    code = verified_order(cast)
    note = Finding(rule="note", severity=Severity.INFORM, field="unit", source=INVENTED, message="a note")
    screen_making(cast, code, note)
    assert order_state(code) == "verified"


def test_a_patient_s_correction_screens_verified_orders_again(cast: Cast) -> None:
    code = verified_order(cast)
    services.correct_patient(
        cast.mira, order_facts(code).patient, changes={"swallowing": "no solids"}, reason="seen on the ward", at=NOW
    )
    assert order_state(code) == "verified"
    work_off("screen order")
    assert order_state(code) == "received"


def test_only_the_system_screens(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    with pytest.raises(NotAllowed):
        services.screen_again(cast.rosa, code, occasion="plan", at=NOW)


def test_a_report_on_an_earlier_version_is_not_kept(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    with act(cast.worker, "order.screen", at=NOW, subject=code) as doing:
        new = services.record_screen(
            doing,
            code,
            7,
            screen="making",
            occasion="order",
            record={},
            findings=[Finding(rule="x", severity=Severity.BLOCK, field="x", source="x", message="x")],
        )
    assert new == ()
    assert not Alert.objects.exists()
    assert not ScreenReport.objects.exists()


@pytest.mark.parametrize("who", ["mira.voss", "tomas.lind", "otto.krug", "nora.stein", "paul.berg"])
def test_only_pharmacists_verify(cast: Cast, who: str) -> None:
    code = screened_order(cast, order_request())
    actor = cast.act(who)
    with pytest.raises(NotAllowed):
        services.verify_order(actor, code, pen=pen(services.verify_shown(cast.rosa, code)), at=NOW)
    with pytest.raises(NotAllowed):
        services.open_alerts(actor, code, at=NOW)
    assert order_state(code) == "received"
    assert AuditEntry.objects.filter(action="order.verify", outcome="refused", subject=code).count() == 1


def test_the_prescriber_does_not_verify_their_own_order(cast: Cast) -> None:
    from dosewright.ground.people import grant_role

    code = screened_order(cast, order_request())
    grant_role(cast.paul, username="mira.voss", role="pharmacist", at=NOW)
    shown = services.verify_shown(cast.mira, code)
    with pytest.raises(NotAllowed) as refused:
        services.verify_order(cast.mira, code, pen=pen(shown), at=NOW)
    assert refused.value.refusals[0].rule == "must differ"
    assert verify(cast, code).state == "verified"


def test_verifying_needs_a_hand_and_what_was_shown(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    shown = services.verify_shown(cast.rosa, code)
    with pytest.raises(NotAllowed):
        services.verify_order(cast.rosa, code, pen=pen(shown, password="not it"), at=NOW)
    with pytest.raises(NotAllowed):
        services.verify_order(cast.act("rosa.keller", Channel.TOKEN), code, pen=pen(shown), at=NOW)
    with pytest.raises(Conflict):
        services.verify_order(cast.rosa, code, pen=pen({**shown, "alerts": ["none"]}), at=NOW)
    assert order_state(code) == "received"
    assert not Signature.objects.filter(action="order.verify").exists()


def test_a_new_provisional_size_changes_what_is_signed(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    shown = services.verify_shown(cast.rosa, code)
    with act(cast.worker, "order.screen", at=NOW, subject=code) as doing:
        services.record_screen(
            doing, code, 1, screen="making", occasion="order", findings=(), record={"size": "another one"}
        )
    with pytest.raises(Conflict) as refused:
        services.verify_order(cast.rosa, code, pen=pen(shown), at=NOW)
    assert refused.value.refusals[0].rule == "shown"


def test_a_reason_is_for_alerts_of_the_version_that_holds(cast: Cast) -> None:
    code = screened_order(cast, order_request("12 mg", "2 mg", "1 mg", reference="WARD-A"))
    alert = Alert.objects.get()
    with pytest.raises(BadInput):
        services.give_reason(cast.rosa, alert.code, reason=" no ", at=NOW)
    with pytest.raises(NotAllowed):
        services.give_reason(cast.mira, alert.code, reason="I know what I do", at=NOW)
    services.amend_order(
        cast.mira,
        code,
        request=order_request("9 mg", "2 mg", "1 mg", reference="WARD-A"),
        change_reason="less is enough",
        pen=None,
        at=NOW,
    )
    with pytest.raises(Conflict):
        services.give_reason(cast.rosa, alert.code, reason="stress cover before surgery", at=NOW)


def test_another_site_s_alerts_are_not_there(cast: Cast) -> None:
    from dosewright.ground.pure.errors import NotThere

    screened_order(cast, order_request("12 mg", "2 mg", "1 mg"))
    elsewhere = found_cast(suffix=".2", name="Another invented pharmacy")
    with pytest.raises(NotThere):
        services.give_reason(elsewhere.rosa, Alert.objects.get().code, reason="stress cover", at=NOW)
