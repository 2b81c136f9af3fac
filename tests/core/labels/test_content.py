"""Labels are complete against house and law, or refused by name."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from dosewright.ground.jurisdictions import Particular, load_pack
from dosewright.ground.pure.errors import BadInput, Blocked
from dosewright.ground.pure.gs1 import element_string
from labels.content import HOUSE_PARTICULARS, LabelContent, label_content, symbol_elements
from tests.core.labels.demo_content import DEMO, a_label, label_facts


def test_the_words_of_the_demo_label():
    content = a_label()
    assert content.product == "hydrocortisone 1.75 mg tablets"
    assert content.directions == "Take ONE 1.75 mg tablet (1.75 mg) at 7 in the evening, every day."
    assert content.period == "From 2 March 2026 to 29 March 2026."
    assert content.quantity == "28 tablets"
    assert content.expiry == "Do not use after 30 April 2026"
    assert content.supply_date == "28 February 2026"
    assert content.unlicensed.startswith("Unlicensed medicine")
    assert "children" in content.children
    assert content.law_pack == "demo 2026.1"


BLANKED = {
    "patient": "patient",
    "patient_identifier": "patient_identifier",
    "route": "route",
    "batch": "batch",
    "storage": "storage",
    "prescriber": "prescriber",
    "supplier_name": "supplier_name",
    "supplier_address": "supplier_address",
}


@pytest.mark.parametrize("name", BLANKED)
@pytest.mark.parametrize("blank", ["", "   "])
def test_a_missing_particular_is_named(name, blank):
    with pytest.raises(BadInput) as caught:
        a_label(**{name: blank, "gtin": ""})
    assert [one.field for one in caught.value.refusals] == [name]


@pytest.mark.parametrize("precautions", [(), ("",), ("Swallow whole.", " ")])
def test_missing_precautions_are_named(precautions):
    with pytest.raises(BadInput, match="precautions"):
        a_label(precautions=precautions)


def test_the_law_can_ask_for_more_than_the_house():
    more = Particular(id="licence_number", instrument="TV-2", confirmed="read", mandatory=True)
    law = replace(DEMO, label_particulars=(*DEMO.label_particulars, more))
    with pytest.raises(BadInput, match=r"licence_number.*TV-2"):
        label_content(label_facts(), law=law, language="en", state="draft")
    assert label_content(label_facts(licence_number="L 12"), law=law, language="en", state="draft").licence_number
    optional = replace(DEMO, label_particulars=(*DEMO.label_particulars, replace(more, mandatory=False)))
    label_content(label_facts(), law=optional, language="en", state="draft")


def test_house_particulars_are_fields():
    assert set(HOUSE_PARTICULARS) <= set(LabelContent.__dataclass_fields__)


def test_the_unlicensed_statement_stands_where_due_only():
    assert a_label(is_unlicensed=False).unlicensed == ""


@pytest.mark.parametrize("count", [0, -2, 27])
def test_a_count_that_is_no_whole_number_of_doses_is_refused(count):
    two = replace(label_facts().directions, units_per_dose=2)
    assert a_label(directions=two, count=28).quantity == "28 tablets"
    with pytest.raises(BadInput, match="whole number of doses"):
        a_label(directions=two, count=count)


def test_expiry_before_the_last_day_blocks_and_on_it_does_not():
    assert a_label(use_by_date=date(2026, 3, 29)).expiry.endswith("29 March 2026")
    with pytest.raises(Blocked, match="outlasts"):
        a_label(use_by_date=date(2026, 3, 28))
    with pytest.raises(Blocked, match="outlasts"):
        a_label("draft", use_by_date=date(2026, 3, 28))


@pytest.mark.parametrize(("code", "version"), [("uk", "2025.1"), ("us", "2024.1"), ("eu", "2016.1")])
def test_unconfirmed_law_makes_drafts_but_no_originals(code, version):
    law = load_pack(code, version)
    facts = label_facts(excipients="propylene glycol")
    draft = label_content(facts, law=law, language="en", state="draft")
    assert draft.law_pack == law.id
    with pytest.raises(Blocked) as caught:
        label_content(facts, law=law, language="en", state="original")
    assert {one.rule for one in caught.value.refusals} == {"unconfirmed-law"}


def test_an_unconfirmed_optional_wording_keeps_off_originals_too():
    loose = tuple(
        replace(one, confirmed="to be confirmed", mandatory=False) if one.id == "unlicensed" else one
        for one in DEMO.statements
    )
    law = replace(DEMO, statements=loose)
    with pytest.raises(Blocked, match="unlicensed"):
        label_content(label_facts(), law=law, language="en", state="original")
    label_content(label_facts(is_unlicensed=False), law=law, language="en", state="original")


def test_other_states_and_endless_text_are_refused():
    with pytest.raises(BadInput, match="no state"):
        a_label("copy")
    with pytest.raises(BadInput, match="too long"):
        a_label(supplier_address="x" * 301)


def test_the_symbol_says_lot_expiry_and_count_and_nothing_of_the_patient():
    elements = symbol_elements(label_facts())
    assert element_string(elements).human_readable == ("(01)06291041500213(17)260430(30)28(10)PB-7KQ3M9(21)PK-7KQ3M9PA")
    assert symbol_elements(label_facts(gtin="")) == ()
    assert not any("Ostrander" in value or "2016" in value for _, value in elements)
