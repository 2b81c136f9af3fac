"""What the screen gathers from the tables: the moiety over substances, names, persons, the order and weight before."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.pure.errors import NotAllowed
from prescriptions import services
from prescriptions.models import Alert, Allergy, OrderVersion
from prescriptions.queries import order_facts
from prescriptions.queries.alerts import alerts_of
from prescriptions.services import OtherName
from tests.cast import INVENTED, NOW, Cast, demo_substance, found_cast, pen
from tests.orders import enter_signed, order_request, screen_making, screened_order, verified_order, verify, work_off

FORM = OtherName(name="demoline sodium", kind="form", form_frac=Decimal("0.9"), source=INVENTED)
SYNONYM = OtherName(name="oldname", source=INVENTED)


def standing(code: str) -> dict[str, str]:
    """Return rule and severity of each standing alert."""
    version = OrderVersion.objects.order_by("-number").filter(order__code=code)[0]
    return {one.rule: one.severity for one in alerts_of(version) if one.standing}


def values(code: str, rule: str) -> list[str]:
    return list(Alert.objects.filter(order_version__order__code=code, rule=rule).values_list("value", flat=True))


def listed(*entries: str) -> dict[str, Any]:
    return {"allergies": {"status": "listed", "entries": list(entries)}}


@pytest.mark.parametrize(
    ("salt_dose", "total"),
    [
        # 1 mg of the salt is 0.5 mg of the moiety: 11 mg a day of demoline leave room for 18 mg of the salt.
        ("17.99 mg", None),
        ("18 mg", None),
        ("18.01 mg", "20.005"),
    ],
)
def test_doses_add_up_over_all_substances_of_a_moiety(cast: Cast, salt_dose: str, total: str | None) -> None:
    demo_substance(cast, name="demoline")
    demo_substance(cast, name="demoline salt", moiety="Demoline", moiety_frac=Decimal("0.5"), limits=())
    step = {"times": ["08:00"], "start_date": "2026-03-12", "days": 3, "dose": salt_dose}
    salt = enter_signed(cast, order_request(substance="demoline salt", regimen={"steps": [step]})).code
    code = screened_order(cast, order_request("8 mg", "2 mg", "1 mg", substance="demoline"))
    assert values(code, "duplicate-order") == [salt]
    assert values(code, "limit-day-high") == ([total] if total else [])
    # The other way round: 11 mg of demoline are 22 mg as the salt is ordered.
    services.screen_again(cast.worker, salt, occasion="order", at=NOW)
    report = OrderVersion.objects.get(order__code=salt).reports.order_by("pk").last()
    assert report is not None
    highest = Decimal(salt_dose.removesuffix(" mg")) + 22
    assert f'"highest_daily_mg":"{highest.normalize():f}"' in report.text


def test_another_moiety_does_not_count(cast: Cast) -> None:
    demo_substance(cast, name="demoline")
    enter_signed(cast, order_request("8 mg", "2 mg", "1 mg"))
    code = screened_order(cast, order_request("8 mg", "2 mg", "1 mg", substance="demoline"))
    assert standing(code) == {}


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        ("Demoline", {"allergy-match": "block"}),
        ("OLDNAME drops, rash", {"allergy-match": "block"}),
        ("demoline sodium", {"allergy-match": "block"}),
        ("hydrocortisone", {}),
        ("Other  old name", {}),
        ("other old name, cream", {"allergy-unmatched": "reason"}),
        ("corticosteroids", {"allergy-unmatched": "reason"}),
    ],
)
def test_allergies_match_by_every_name_on_file(cast: Cast, entry: str, expected: dict[str, str]) -> None:
    other = OtherName(name="other old name", source=INVENTED)
    demo_substance(cast, name="examplinum", names=(other,))
    demo_substance(cast, name="demoline", names=(FORM, SYNONYM))
    assert standing(screened_order(cast, order_request(substance="demoline", patient=listed(entry)))) == expected


def test_an_allergy_written_before_its_substance_was_set_up_is_matched_then(cast: Cast) -> None:
    code = screened_order(cast, order_request(patient=listed("oldname")))
    assert standing(code) == {"allergy-unmatched": "reason"}
    demo_substance(cast, name="demoline", names=(SYNONYM,))
    services.screen_again(cast.worker, code, occasion="order", at=NOW)
    assert standing(code) == {}
    assert Allergy.objects.get().substance is None


def test_a_look_alike_of_the_site_is_named(cast: Cast) -> None:
    demo_substance(cast, name="fludrocortisone")
    demo_substance(cast, name="melatonin")
    code = screened_order(cast, order_request())
    assert standing(code) == {"look-alike-substance": "inform"}
    assert values(code, "look-alike-substance") == ["fludrocortisone"]
    assert verify(cast, code).state == "verified"


def someone(value: str, **changes: str) -> dict[str, Any]:
    return {"identifier": {"system": "urn:demo:hospital-number", "value": value}, **changes}


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, {"patient-double": "reason"}),
        ({"family_name": "Quillfether"}, {"patient-look-alike": "reason"}),
        ({"birth_date": "2019-04-05"}, {"patient-look-alike": "reason"}),
        ({"family_name": "Odalys", "given_name": "Quillfeather"}, {"patient-look-alike": "reason"}),
        ({"birth_date": "2018-11-27"}, {"patient-namesake": "inform"}),
        ({"given_name": "Ulf"}, {}),
    ],
)
def test_patients_who_may_be_one_or_be_taken_for_another(
    cast: Cast, changes: dict[str, str], expected: dict[str, str]
) -> None:
    first = enter_signed(cast, order_request()).code
    code = screened_order(cast, order_request(patient=someone("D-1002", **changes)))
    assert standing(code) == expected
    if expected:
        assert values(code, next(iter(expected))) == [order_facts(first).patient]


def test_a_namesake_without_orders_under_way_is_not_named(cast: Cast) -> None:
    first = enter_signed(cast, order_request()).code
    services.stop_order(cast.mira, first, reason="therapy changed", at=NOW)
    code = screened_order(cast, order_request(patient=someone("D-1002", birth_date="2018-11-27")))
    assert standing(code) == {}
    same = screened_order(cast, order_request(patient=someone("D-1003")))
    assert standing(same)["patient-double"] == "reason"


def test_patients_of_another_site_are_not_compared(cast: Cast) -> None:
    enter_signed(cast, order_request())
    elsewhere = found_cast(suffix=".2", name="Another invented pharmacy")
    demo_substance(elsewhere)
    assert standing(screened_order(elsewhere, order_request())) == {}


def later(dose: str) -> Any:
    step = {"dose": dose, "times": ["07:00"], "start_date": "2026-05-10", "days": 7}
    return order_request(regimen={"steps": [step]})


def test_a_tenfold_slip_inside_the_limits_shows_against_the_order_before(cast: Cast) -> None:
    before = verified_order(cast, order_request("0.5 mg", "0.3 mg", "0.2 mg"))
    found = standing(screened_order(cast, later("9.9 mg")))
    assert found["slip-against-earlier"] == "reason"
    assert values(before, "slip-against-earlier") == []
    code = screened_order(cast, later("5 mg"))
    assert "slip-against-earlier" not in standing(code)


def test_an_order_that_was_never_verified_is_no_measure(cast: Cast) -> None:
    screened_order(cast, order_request("0.5 mg", "0.3 mg", "0.2 mg"))
    assert "slip-against-earlier" not in standing(screened_order(cast, later("9.9 mg")))


def test_a_weight_is_held_against_the_one_before(cast: Cast) -> None:
    code = screened_order(cast, order_request())
    patient = order_facts(code).patient

    def weigh(kg: str, minutes: int, corrects: str | None = None) -> str:
        at = NOW + timedelta(minutes=minutes)
        row = services.measure_patient(
            cast.mira, patient, kind="weight", value=kg, unit="kg", measured_on=NOW.date(), corrects=corrects, at=at
        )
        work_off("screen order", at=at)
        return row

    wrong = weigh("30", 1)
    assert standing(code) == {"weight-change": "reason"}
    weigh("20.7", 2, corrects=wrong)
    assert standing(code) == {}


def test_who_attested_does_not_verify(cast: Cast) -> None:
    request = order_request(prescriber={"registration": "ELSEWHERE-7"})
    code = services.enter_order(cast.tomas, request=request, source="import", pen=None, at=NOW).code
    shown = services.order_record(cast.rosa, code)
    services.attest_order(cast.rosa, code, reference="paper 17", seen_on=NOW.date(), pen=pen(shown), at=NOW)
    work_off("prescriptions.tasks")
    screen_making(cast, code)
    with pytest.raises(NotAllowed) as refused:
        verify(cast, code, by="rosa.keller")
    assert refused.value.refusals[0].accepted == "pharmacist other than the attester"
    assert verify(cast, code, by="jonas.weber").state == "verified"
