"""Law packs: complete, unmistaken, signable only when confirmed, cited wherever they speak."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest

from dosewright.ground.jurisdictions import (
    READ,
    known_packs,
    load_pack,
    signable,
    statements_for_original,
)
from dosewright.ground.jurisdictions import load as loader
from dosewright.ground.jurisdictions.cite import instrument_sentence, statements_for_draft, uncited_law
from dosewright.ground.pure.errors import BadInput, Blocked, NotThere
from labels.content import LabelContent

ROOT = Path(loader.__file__).parent
CAPS = tomllib.loads((Path(__file__).parents[2] / "vectors" / "use_by.toml").read_text(encoding="utf-8"))["cap_days"]
PACKS = [load_pack(*one) for one in known_packs()]
DEMO = load_pack("demo", "2026.1")


def test_the_four_packs_are_there():
    assert {pack.code for pack in PACKS} == {"demo", "uk", "eu", "us"}
    with pytest.raises(NotThere, match="no such law pack"):
        load_pack("demo", "1999.1")


def test_only_the_invented_pack_can_be_signed():
    assert [pack.code for pack in PACKS if not signable(pack)] == ["demo"]
    assert DEMO.is_invented
    assert "invented" in DEMO.name
    assert all("invented" in one.title for one in DEMO.instruments)
    assert not any(pack.is_invented for pack in PACKS if pack.code != "demo")


def test_unconfirmed_mandatory_items_are_each_found():
    us = load_pack("us", "2024.1")
    found = {one.item for one in signable(us)}
    wanted = {f"instrument {one.id}" for one in us.instruments if one.mandatory and one.confirmed != READ}
    assert wanted == {"instrument US-353B2", "instrument US-795"}
    assert wanted <= found
    assert "instrument US-17" not in found, "an optional item does not block"
    assert "label particular patient" in found


@pytest.mark.parametrize("pack", PACKS, ids=lambda pack: pack.id)
def test_particulars_are_fields_of_the_label_and_words_are_complete(pack):
    fields = set(LabelContent.__dataclass_fields__)
    assert {one.id for one in pack.label_particulars} <= fields
    english = set(tomllib.loads((ROOT / "words" / "en.toml").read_text(encoding="utf-8")))
    for language in pack.languages:
        assert set(pack.wording(language)) >= english
        assert "{date}" in pack.sentence(pack.expiry_wording, language)
        assert pack.sentence("children", language).endswith(".")
        assert pack.sentence(pack.unlicensed_statement, language).endswith(".")
    with pytest.raises(NotThere):
        pack.wording("xx")


def test_uk_label_list_and_child_text():
    # SI 2012/1916 Schedule 26 Part 2 and Schedule 24 (as made)
    uk = load_pack("uk", "2025.1")
    seven = {one.id for one in uk.label_particulars if one.instrument == "UK-S26" and one.mandatory}
    assert seven == {
        "patient",
        "supplier_name",
        "supplier_address",
        "supply_date",
        "product",
        "directions",
        "precautions",
    }
    assert "out of the reach and sight of children" in uk.sentence("children", "en")


def test_micro_word_of_each_jurisdiction():
    # ISMP list ("mcg"), BNF ("micrograms", from memory)
    assert {pack.code: pack.micro_word for pack in PACKS} == {
        "demo": "micrograms",
        "uk": "micrograms",
        "eu": "micrograms",
        "us": "mcg",
    }


@pytest.mark.parametrize("case", CAPS["cases"])
def test_beyond_use_caps_by_water_activity(case):
    us = load_pack("us", "2024.1")
    assert us.cap_days(water_activity=Decimal(case["water_activity"]), kind=case["kind"]) == case["days"]


@pytest.mark.parametrize("case", CAPS["refused"])
def test_a_class_without_a_cap_is_refused(case):
    with pytest.raises(BadInput, match="no expiry cap"):
        load_pack("us", "2024.1").cap_days(water_activity=Decimal(case["water_activity"]), kind=case["kind"])


def test_a_pack_without_caps_sets_none():
    assert load_pack("eu", "2016.1").cap_days(water_activity=Decimal("0.5"), kind="other") is None


def test_the_exempt_pharmacy_is_not_bound_by_manufacturers_law():
    # 21 USC 353a exempts from 501(a)(2)(B): 21 CFR 211 may not stand as something asked of a 503A pharmacy
    us = load_pack("us", "2024.1")
    assert not [one for one in us.instruments if "211" in one.number + one.title]


def test_no_unconfirmed_law_on_an_original():
    uk = load_pack("uk", "2025.1")
    with pytest.raises(Blocked) as caught:
        statements_for_original(uk, basis="UK-PHARMACY", instruments=["UK-S26", "UK-GN14"])
    assert [one.field for one in caught.value.refusals] == ["UK-PHARMACY", "UK-GN14"]
    drafts = [str(one) for one in statements_for_draft(uk, basis="UK-PHARMACY", instruments=["UK-S26"])]
    assert drafts[0].endswith("[law pack uk 2025.1, UK-PHARMACY, TO BE CONFIRMED]")
    assert drafts[1].endswith("[law pack uk 2025.1, UK-S26]")


def test_sentences_of_law_carry_their_pack_and_others_are_found_out():
    said = [str(one) for one in statements_for_original(DEMO, basis="TV-NAMED", instruments=["TV-3"])]
    assert all("[law pack demo 2026.1, " in one for one in said)
    assert uncited_law(DEMO, said) == ()
    bare = instrument_sentence(DEMO, "TV-3").text
    others = [
        "Prepared under the Medicines Act.",
        "as 21 CFR 211 asks",
        "Directive 2001/83/EC",
        "see TPRR 2022-9",
    ]
    assert uncited_law(DEMO, [bare, *others]) == (bare, *others)
    assert uncited_law(DEMO, ["Wash 1: 5 min", "28 tablets", "Active ingredient", "Reacted"]) == ()
    elsewhere = str(instrument_sentence(load_pack("uk", "2025.1"), "UK-S26"))
    assert uncited_law(DEMO, [elsewhere]) == (elsewhere,)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('confirmed = "read"', 'confirmed = "surely"', "neither"),
        ('instrument = "TV-2"', 'instrument = "TV-9"', "does not list"),
        ('demands = ["prescription_before_start"', 'demands = ["prescriptions"', "unknown"),
        ('code = "demo"', 'code = "demo"\nkode = 1', "mean nothing"),
        ('asks = "a pharmacy', 'aks = "a pharmacy', "missing or unknown"),
        ('expiry_wording = "expiry"', 'expiry_wording = "expires"', "no such statement"),
        ('micro_word = "micrograms"', 'micro_word = "µg"', "no word for micrograms"),
        ("valid_from = 2026-01-01", 'valid_from = "soon"', "no date"),
    ],
)
def test_a_misspelt_pack_is_refused(old, new, message):
    text = (ROOT / "demo.toml").read_text(encoding="utf-8")
    assert loader.read_pack(text) == DEMO
    with pytest.raises((BadInput, NotThere), match=message):
        loader.read_pack(text.replace(old, new, 1))


@pytest.mark.parametrize(
    ("code", "unconfirmed"),
    [
        ("uk", {"UK-S10", "UK-R167", "UK-POC", "UK-GN14", "UK-BNF"}),
        ("eu", {"EU-5-1", "EU-NATIONAL", "EU-RES"}),
        ("us", {"US-353B2", "US-795", "US-17"}),
    ],
)
def test_what_nobody_has_confirmed_is_marked_so(code, unconfirmed):
    # standards reference, sections 7, 9 and 16: from memory, from a secondary copy, or listed as not verified
    pack = next(one for one in PACKS if one.code == code)
    assert {one.id for one in pack.instruments if one.confirmed != READ} == unconfirmed
