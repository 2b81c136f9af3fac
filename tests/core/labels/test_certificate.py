"""Certificates: complete, signed, cited, and never saying what may not be said."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from dosewright.ground.jurisdictions import load_pack
from dosewright.ground.pure.errors import BadInput, Blocked
from labels.certificate import (
    NON_STERILE,
    NOT_TESTED,
    REQUIRED_SECTIONS,
    CertificateSection,
    certificate_texts,
    signed_at_words,
)
from tests.core.labels.demo_content import LISBON, WORDS, a_certificate, a_signature, sections


def test_what_always_stands_in_it():
    texts = list(certificate_texts(a_certificate()))
    assert any(NOT_TESTED in one for one in texts)
    assert NON_STERILE in texts
    assert not any("QP" in one for one in texts)
    assert NOT_TESTED == "mass-derived content is an in-process estimate, not a content-uniformity result"


@pytest.mark.parametrize("name", REQUIRED_SECTIONS)
def test_a_missing_section_is_named(name):
    with pytest.raises(BadInput) as caught:
        a_certificate(sections=[one for one in sections() if one.id != name])
    assert [one.field for one in caught.value.refusals] == [name]


@pytest.mark.parametrize(
    "words",
    [
        "QP certified",
        "Certified by a Qualified Person",
        "Complies with Ph. Eur. 2.9.40",
        "complies with USP <905>",
        "complies with 2.9.40",
    ],
)
def test_what_may_never_stand_in_it(words):
    with pytest.raises(BadInput, match="may never stand"):
        a_certificate(sections=[*sections(), CertificateSection(id="more", title="More", remarks=(words,))])


@pytest.mark.parametrize("where", ["remarks", "facts", "title", "head_lines", "not_tested", "meaning"])
def test_law_without_its_pack_is_refused_wherever_it_stands(where):
    words = "made as 21 CFR 211 asks"
    changes = {
        "remarks": {"sections": [*sections(), CertificateSection(id="more", title="More", remarks=(words,))]},
        "facts": {"sections": [*sections(), CertificateSection(id="more", title="More", facts=(("basis", words),))]},
        "title": {"sections": [*sections(), CertificateSection(id="more", title=words)]},
        "head_lines": {"head_lines": [words]},
        "not_tested": {"not_tested": [words]},
        "meaning": {"signatures": [a_signature(meaning=words)]},
    }
    with pytest.raises(BadInput) as caught:
        a_certificate(**changes[where])
    assert [one.rule for one in caught.value.refusals] == ["uncited-law"]


def test_every_legal_sentence_carries_its_pack():
    legal = [str(one) for one in a_certificate(instruments=["TV-2", "TV-3", "TV-4"]).legal]
    assert len(legal) == 4
    assert all("[law pack demo 2026.1, TV-" in one for one in legal)


def test_unconfirmed_law_stands_on_no_original():
    uk = {"law": load_pack("uk", "2025.1"), "basis": "UK-PHARMACY", "instruments": []}
    draft = a_certificate(**uk, state="draft", signatures=[])
    assert "TO BE CONFIRMED" in str(draft.legal[0])
    with pytest.raises(Blocked, match="not confirmed"):
        a_certificate(**uk)


def test_an_original_is_signed_with_name_meaning_digest_and_zone():
    # 21 CFR 11.50 (benchmark)
    with pytest.raises(BadInput, match="original is signed"):
        a_certificate(signatures=[])
    assert a_certificate(state="draft", signatures=[]).signatures == ()
    for name in ("printed_name", "meaning", "digest"):
        with pytest.raises(BadInput) as caught:
            a_certificate(signatures=[a_signature(**{name: " "})])
        assert [one.field for one in caught.value.refusals] == [name]
    with pytest.raises(BadInput, match="time zone"):
        a_certificate(signatures=[a_signature(signed_at=datetime(2026, 2, 28, 9, 5))])  # noqa: DTZ001
    with pytest.raises(BadInput, match="no state"):
        a_certificate(state="copy")


def test_times_are_written_with_their_zone():
    winter = datetime(2026, 2, 28, 9, 5, 33, tzinfo=LISBON)
    assert signed_at_words(winter, WORDS) == "28 February 2026, 09:05:33 Europe/Lisbon (UTC+00:00)"
    assert signed_at_words(winter.replace(month=7), WORDS) == "28 July 2026, 09:05:33 Europe/Lisbon (UTC+01:00)"
    assert signed_at_words(winter.astimezone(UTC), WORDS).endswith("09:05:33 UTC (UTC+00:00)")
    with pytest.raises(BadInput, match="time zone"):
        signed_at_words(winter.replace(tzinfo=None), WORDS)
