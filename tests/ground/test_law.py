"""A law pack is in use once a pharmacist of the site signed it as it stands, and only then."""

from __future__ import annotations

import pytest

from dosewright.ground import law
from dosewright.ground.jurisdictions import load_pack
from dosewright.ground.law import law_digest, law_in_use, shown_for_sign_law, sign_law, why_no_law
from dosewright.ground.models import PackInUse, Signature
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere, SetupMissing
from tests.cast import NOW, found_cast, pen

pytestmark = pytest.mark.django_db
NAME = "demo 2026.1"


def test_a_pharmacist_signs_what_was_shown_into_use() -> None:
    cast = found_cast()
    with pytest.raises(SetupMissing):
        law_in_use(cast.site.pk)
    assert why_no_law(cast.site.pk)
    shown = shown_for_sign_law(cast.rosa, NAME)
    assert (shown.is_invented, shown.unconfirmed) == (True, ())
    answer = sign_law(cast.rosa, NAME, pen=pen(shown), at=NOW)
    assert law_in_use(cast.site.pk) is load_pack("demo", "2026.1")
    assert answer.digest == law_digest(load_pack("demo", "2026.1")) == PackInUse.objects.get().pack_digest
    assert Signature.objects.get().subject == NAME
    assert why_no_law(cast.site.pk) == ""


def test_nobody_else_signs_it() -> None:
    cast = found_cast()
    shown = shown_for_sign_law(cast.rosa, NAME)
    for actor in (cast.mira, cast.tomas, cast.otto, cast.nora, cast.paul):
        with pytest.raises(NotAllowed):
            sign_law(actor, NAME, pen=pen(shown), at=NOW)
    assert not PackInUse.objects.exists()


def test_the_pack_in_use_is_not_signed_a_second_time() -> None:
    """Who got no answer and repeats, or a second pharmacist, finds it in use; nothing is added."""
    cast = found_cast()
    shown = shown_for_sign_law(cast.rosa, NAME)
    sign_law(cast.rosa, NAME, pen=pen(shown), at=NOW)
    for actor in (cast.rosa, cast.jonas):
        with pytest.raises(Conflict, match="is in use at this site as it stands"):
            sign_law(actor, NAME, pen=pen(shown), at=NOW)
    assert (PackInUse.objects.count(), Signature.objects.count()) == (1, 1)


@pytest.mark.parametrize("name", ["uk", "eu", "us"])
def test_a_pack_of_another_country_or_with_unconfirmed_items_is_refused(name: str) -> None:
    from dosewright.ground.jurisdictions import known_packs

    cast = found_cast()
    full = " ".join(next(one for one in known_packs() if one[0] == name))
    shown = shown_for_sign_law(cast.rosa, full)
    with pytest.raises(BadInput, match="another jurisdiction"):
        sign_law(cast.rosa, full, pen=pen(shown), at=NOW)
    cast.site.jurisdiction = name
    cast.site.save(update_fields=["jurisdiction"])
    if shown.unconfirmed:
        with pytest.raises(Blocked) as refused:
            sign_law(cast.rosa, full, pen=pen(shown), at=NOW)
        assert {one.rule for one in refused.value.refusals} <= {"unconfirmed-law", "law-date"}
    else:
        sign_law(cast.rosa, full, pen=pen(shown), at=NOW)
        assert law_in_use(cast.site.pk).id == full


def test_unknown_packs_and_early_days_are_refused() -> None:
    cast = found_cast()
    with pytest.raises(NotThere):
        shown_for_sign_law(cast.rosa, "demo 1999.1")
    shown = shown_for_sign_law(cast.rosa, NAME)
    with pytest.raises(Blocked, match="not valid yet"):
        sign_law(cast.rosa, NAME, pen=pen(shown), at=NOW.replace(year=2025))


def test_a_pack_whose_text_changed_since_is_not_in_use(monkeypatch: pytest.MonkeyPatch) -> None:
    cast = found_cast()
    sign_law(cast.rosa, NAME, pen=pen(shown_for_sign_law(cast.rosa, NAME)), at=NOW)
    monkeypatch.setattr(law, "load_pack", lambda code, version: load_pack("uk", _uk_version()))
    with pytest.raises(Blocked, match="no longer what was signed"):
        law_in_use(cast.site.pk)


def _uk_version() -> str:
    from dosewright.ground.jurisdictions import known_packs

    return next(version for code, version in known_packs() if code == "uk")
