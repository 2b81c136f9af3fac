"""Query, return, amend, stop, reserve; and the table of states as the services walk it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from dosewright.ground.act import act
from dosewright.ground.models import AuditEntry, Outbox, Signature
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed
from dosewright.ground.pure.roles import ACTIONS
from dosewright.ground.transitions import MACHINES
from prescriptions import services
from prescriptions.models import DoseLine, Order, OrderRemark, OrderVersion
from prescriptions.queries import lines_to_plan, order_facts, order_state
from prescriptions.states import EVENTS, ORDER, STATES
from tests.cast import NOW, Cast, pen
from tests.orders import enter_signed, order_request, screen_making, screened_order, verified_order, verify, work_off


def held(cast: Cast, line: str, plan: str = "PN-33333Q") -> None:
    """Reserve a line as the planner does."""
    with act(cast.worker, "plan.make", at=NOW, subject=line) as doing:
        services.reserve_line(doing, line, plan=plan)


def let_go(cast: Cast, line: str, plan: str = "PN-33333Q") -> None:
    """Free a line as the planner does."""
    with act(cast.worker, "plan.make", at=NOW, subject=line) as doing:
        services.free_line(doing, line, plan=plan)


def signed_amendment(cast: Cast, code: str, *doses: str) -> services.OrderAnswer:
    """Amend as the prescriber who was shown the new record."""
    request = order_request(*doses, reference=order_facts(code).reference)
    shown = services.amend_shown(cast.mira, code, request, change_reason="dose changed", at=NOW)
    return services.amend_order(cast.mira, code, request=request, change_reason="dose changed", pen=pen(shown), at=NOW)


def test_query_and_answer(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    with pytest.raises(NotAllowed):
        services.query_order(cast.mira, code, question="is the evening dose meant so?", at=NOW)
    with pytest.raises(Conflict):
        services.query_order(cast.rosa, code, question="  ", at=NOW)
    assert order_state(code) == "received"
    services.query_order(cast.rosa, code, question="is the evening dose meant so?", at=NOW)
    assert order_state(code) == "queried"
    with pytest.raises(Conflict):
        verify(cast, code)
    with pytest.raises(NotAllowed):
        services.answer_order(cast.rosa, code, answer="yes, it is", at=NOW)
    services.answer_order(cast.mira, code, answer="yes, it is", at=NOW)
    assert order_state(code) == "received"
    assert list(OrderRemark.objects.values_list("what", "text")) == [
        ("query", "is the evening dose meant so?"),
        ("answer", "yes, it is"),
    ]
    assert Outbox.objects.filter(fact="order received").count() == 2


def test_return_and_resubmit_as_it_stood(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    services.return_order(cast.rosa, code, reason="the weight seems old", at=NOW)
    assert order_state(code) == "returned"
    with pytest.raises(BadInput):
        services.resubmit_order(cast.mira, code, change_reason="weighed again", at=NOW)
    assert order_state(code) == "returned"
    shown = services.order_record(cast.mira, code)
    answer = services.resubmit_order(cast.mira, code, change_reason="weighed again", pen=pen(shown), at=NOW)
    assert (answer.state, answer.order_version) == ("received", 1)
    assert Signature.objects.filter(action="order.resubmit").count() == 1


def test_return_and_resubmit_changed(cast: Cast) -> None:
    code = screened_order(cast, order_request(reference="WARD-R"))
    services.return_order(cast.rosa, code, reason="the noon dose is unusual", at=NOW)
    request = order_request("3 mg", "1.5 mg", "1.75 mg", reference="WARD-R")
    answer = services.resubmit_order(cast.mira, code, request=request, change_reason="noon dose less", at=NOW)
    assert (answer.state, answer.order_version) == ("received", 2)
    services.sign_order(cast.mira, code, pen=pen(services.order_record(cast.mira, code)), at=NOW)
    assert [str(line.dose_mg) for line in order_facts(code).lines] == ["3", "1.5", "1.75"]


def test_amending_a_verified_order_sends_it_back_to_be_checked(cast: Cast) -> None:
    code = verified_order(cast)
    answer = signed_amendment(cast, code, "2.5 mg", "2 mg", "1.75 mg")
    assert (answer.state, answer.order_version) == ("received", 2)
    facts = order_facts(code)
    assert [str(line.dose_mg) for line in facts.lines] == ["2.5", "2", "1.75"]
    assert [one.action for one in facts.signatures] == ["order.amend"]
    assert OrderVersion.objects.filter(order__code=code).count() == 2
    with pytest.raises(Blocked):
        verify(cast, code)
    work_off("prescriptions.tasks")
    screen_making(cast, code)
    assert verify(cast, code).state == "verified"
    assert lines_to_plan(cast.site.pk)[0].order.version == 2


def test_an_amendment_without_signature_cannot_be_verified(cast: Cast) -> None:
    code = verified_order(cast, order_request(reference="WARD-B"))
    services.amend_order(
        cast.mira, code, request=order_request("2.5 mg", reference="WARD-B"), change_reason="less", pen=None, at=NOW
    )
    work_off("prescriptions.tasks")
    screen_making(cast, code)
    with pytest.raises(Blocked) as refused:
        verify(cast, code)
    assert {one.rule for one in refused.value.refusals} == {"unsigned"}
    services.sign_order(cast.mira, code, pen=pen(services.order_record(cast.mira, code)), at=NOW)
    assert verify(cast, code).state == "verified"


def test_an_amendment_that_changes_nothing_is_refused(cast: Cast) -> None:
    """Who got no answer and sends an amendment again makes no second version of it."""
    code = verified_order(cast, order_request(reference="WARD-B2"))
    again = {"request": order_request("2.5 mg", reference="WARD-B2"), "change_reason": "less", "pen": None, "at": NOW}
    services.amend_order(cast.mira, code, **again)
    with pytest.raises(Conflict) as refused:
        services.amend_order(cast.mira, code, **again)
    assert [one.rule for one in refused.value.refusals] == ["no-change"]
    assert OrderVersion.objects.filter(order__code=code).count() == 2


def test_what_was_shown_before_an_amendment_cannot_be_signed_after_it(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    old = services.verify_shown(cast.rosa, code)
    signed_amendment(cast, code, "2.5 mg")
    work_off("prescriptions.tasks")
    screen_making(cast, code)
    with pytest.raises(Conflict) as refused:
        services.verify_order(cast.rosa, code, pen=pen(old), at=NOW)
    assert refused.value.refusals[0].rule == "shown"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"patient": {"identifier": {"system": "urn:demo:hospital-number", "value": "D-2"}}}, "patient"),
        ({"substance": "othermycin"}, "substance"),
        ({"reference": "WARD-OTHER"}, "reference"),
        ({"prescriber": {"registration": "ELSEWHERE-7"}}, "prescriber"),
    ],
)
def test_another_patient_or_substance_is_another_order(cast: Cast, changes: dict[str, object], field: str) -> None:
    from tests.cast import demo_substance

    demo_substance(cast, name="othermycin")
    code = screened_order(cast, order_request(reference="WARD-C"))
    with pytest.raises(BadInput) as refused:
        services.amend_order(
            cast.mira,
            code,
            request=order_request(**({"reference": "WARD-C"} | changes)),
            change_reason="changed",
            pen=None,
            at=NOW,
        )
    assert [one.field for one in refused.value.refusals] == [field]
    assert OrderVersion.objects.count() == 1


def test_only_the_prescriber_named_amends(cast: Cast) -> None:
    code = screened_order(cast, order_request(reference="WARD-D"))
    for who in ("rosa.keller", "tomas.lind"):
        with pytest.raises(NotAllowed):
            services.amend_order(
                cast.act(who), code, request=order_request(reference="WARD-D"), change_reason="less", pen=None, at=NOW
            )
    assert OrderVersion.objects.count() == 1


def test_a_line_is_reserved_once_and_only_when_verified(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    line = order_facts(code).lines[0].code
    with pytest.raises(Conflict):
        held(cast, line)
    verify(cast, code)
    assert len(lines_to_plan(cast.site.pk)) == 3
    held(cast, line)
    assert DoseLine.objects.get(code=line).committed_to == "PN-33333Q"
    assert len(lines_to_plan(cast.site.pk)) == 2
    with pytest.raises(Conflict):
        held(cast, line, "PN-44444Q")
    with pytest.raises(Conflict):
        let_go(cast, line, "PN-44444Q")
    let_go(cast, line)
    assert len(lines_to_plan(cast.site.pk)) == 3


def test_a_reserved_line_refuses_an_amendment_and_takes_a_stop(cast: Cast) -> None:
    code = verified_order(cast)
    held(cast, order_facts(code).lines[1].code)
    with pytest.raises(Conflict) as refused:
        signed_amendment(cast, code, "2.5 mg")
    assert refused.value.refusals[0].accepted == "stop this order and order anew"
    assert (order_state(code), order_facts(code).version) == ("verified", 1)
    assert services.stop_order(cast.rosa, code, reason="found unfit", at=NOW).state == "stopped"
    assert Outbox.objects.filter(fact="order stopped").get().payload == f'{{"order":"{code}"}}'
    assert lines_to_plan(cast.site.pk) == ()


def test_lines_of_an_earlier_version_are_never_reserved(cast: Cast) -> None:
    code = verified_order(cast)
    old = order_facts(code).lines[0].code
    signed_amendment(cast, code, "2.5 mg")
    work_off("prescriptions.tasks")
    screen_making(cast, code)
    verify(cast, code)
    with pytest.raises(Conflict):
        held(cast, old)
    assert old not in {one.line.code for one in lines_to_plan(cast.site.pk)}


def test_a_reservation_that_meets_an_amendment_or_a_stop_half_way_is_refused(cast: Cast) -> None:
    code = verified_order(cast)
    row = DoseLine.objects.get(code=order_facts(code).lines[0].code)
    services.stop_order(cast.mira, code, reason="no longer needed", at=NOW)
    with pytest.raises(Conflict), act(cast.worker, "plan.make", at=NOW) as doing:
        doing.change(row, where={"committed_to": ""}, committed_to="PN-33333Q")


def test_a_stopped_order_stays_stopped(cast: Cast) -> None:
    code = verified_order(cast)
    services.stop_order(cast.mira, code, reason="no longer needed", at=NOW)
    with pytest.raises(Conflict):
        services.stop_order(cast.rosa, code, reason="no longer needed", at=NOW)
    with pytest.raises(NotAllowed):
        services.stop_order(cast.tomas, code, reason="no longer needed", at=NOW)


def steps(cast: Cast, code: str) -> dict[str, Callable[[], object]]:
    """Return for each event the service that fires it, by somebody who may, with all that it needs."""
    record = services.order_record(cast.mira, code)
    request = order_request("2.5 mg", reference=order_facts(code).reference)
    why = {"change_reason": "changed", "at": NOW}
    seen = {"reference": "paper 1", "seen_on": NOW.date(), "at": NOW}

    def recheck() -> None:
        order = Order.objects.get(code=code)
        with act(cast.worker, "order.screen", at=NOW, subject=code) as doing:
            doing.advance(order, "recheck")

    return {
        "sign": lambda: services.sign_order(cast.mira, code, pen=pen(record), at=NOW),
        "attest": lambda: services.attest_order(cast.rosa, code, pen=pen(record), **seen),
        "verify": lambda: verify(cast, code),
        "query": lambda: services.query_order(cast.rosa, code, question="meant so?", at=NOW),
        "answer": lambda: services.answer_order(cast.mira, code, answer="yes", at=NOW),
        "return": lambda: services.return_order(cast.rosa, code, reason="not clear", at=NOW),
        "resubmit": lambda: services.resubmit_order(cast.mira, code, pen=pen(record), **why),
        "amend": lambda: services.amend_order(cast.mira, code, request=request, pen=None, **why),
        "recheck": recheck,
        "stop": lambda: services.stop_order(cast.mira, code, reason="no longer needed", at=NOW),
    }


WAY = {
    "waiting": (),
    "received": ("sign",),
    "queried": ("sign", "query"),
    "returned": ("sign", "return"),
    "verified": ("sign", "verify"),
    "stopped": ("stop",),
}


def in_state(cast: Cast, state: str) -> str:
    """Return the code of an order that the services brought to `state`."""
    code = services.enter_order(cast.mira, request=order_request(), source="tests", pen=None, at=NOW).code
    for event in WAY[state]:
        if event == "verify":
            work_off("prescriptions.tasks")
            screen_making(cast, code)
        steps(cast, code)[event]()
    assert order_state(code) == state
    return code


def test_the_way_covers_every_state_and_event(cast: Cast) -> None:
    assert set(WAY) == set(STATES)
    assert set(steps(cast, in_state(cast, "waiting"))) == set(EVENTS)
    fired = {event for rule in ACTIONS.values() for machine, event in rule.events if machine == "order"}
    assert fired == set(EVENTS)
    assert MACHINES["order"].table is ORDER


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("event", EVENTS)
def test_each_event_in_each_state(cast: Cast, state: str, event: str) -> None:
    code = in_state(cast, state)
    if (state, event) == ("received", "verify"):
        work_off("prescriptions.tasks")
        screen_making(cast, code)
    before = AuditEntry.objects.count()
    following = ORDER.get((state, event))
    if following is None:
        with pytest.raises((Conflict, Blocked)):
            steps(cast, code)[event]()
        assert order_state(code) == state
    else:
        steps(cast, code)[event]()
        assert order_state(code) == following
    assert AuditEntry.objects.count() > before


def test_each_action_and_each_refusal_leaves_one_row(cast: Cast) -> None:
    code = enter_signed(cast, order_request()).code
    done = AuditEntry.objects.count()
    services.query_order(cast.rosa, code, question="meant so?", at=NOW)
    with pytest.raises(Conflict):
        services.query_order(cast.rosa, code, question="meant so?", at=NOW)
    rows = list(AuditEntry.objects.order_by("seq").values_list("action", "outcome", "subject"))[done:]
    assert rows == [("order.query", "done", code), ("order.query", "refused", code)]
