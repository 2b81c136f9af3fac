"""Labels: exact size, fixed bytes, embedded faces, nothing cut, nothing shrunk, drafts without a symbol."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from dosewright.ground.paper import label
from dosewright.ground.paper.fit import DoesNotFit, wrap
from dosewright.ground.paper.fonts import BOLD, REGULAR, NotPrintable, width_pt
from dosewright.ground.paper.symbol import plain_symbol
from dosewright.ground.pure.errors import BadInput

NAME = "Maribel Ostrander-Quillfeather"


def page(**changes):
    values = {
        "title": "Label DC-1",
        "number": "DC-1",
        "state": "original",
        "language": "en",
        "top": (
            label.LabelLine(field="patient", text=NAME, role="critical", bold=True, aside="born 4 May 2016"),
            label.LabelLine(
                field="directions",
                text="Take ONE 3 mg tablet (3 mg) at 7 in the morning, every day.",
                role="critical",
            ),
        ),
        "beside": (label.LabelLine(field="batch", text="Batch PB-7KQ3M9"),),
        "foot": (label.LabelLine(field="foot", text="Keep out of the sight and reach of children.", role="small"),),
        "symbol": plain_symbol("PK-7KQ3M9PA"),
    }
    return label.LabelPage(**(values | changes))


def draft(**changes):
    return page(state="draft", symbol=None, **changes)


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(one.extract_text() for one in PdfReader(BytesIO(pdf)).pages).split())


@pytest.mark.parametrize("size", label.SIZES.values(), ids=label.SIZES)
def test_page_is_exactly_the_label(size):
    short = (label.LabelLine(field="patient", text="Bo Ek", role="critical"),)
    box = PdfReader(BytesIO(label.render_label(page(size=size, top=short)))).pages[0].mediabox
    assert float(box.width) == pytest.approx(size.width_mm * 72 / 25.4, abs=1e-3)
    assert float(box.height) == pytest.approx(size.height_mm * 72 / 25.4, abs=1e-3)


def test_same_content_same_bytes_and_other_content_other_bytes():
    assert label.render_label(page()) == label.render_label(page())
    assert label.render_label(page()) != label.render_label(page(foot=()))


def test_text_title_and_language_can_be_extracted():
    pdf = label.render_label(page())
    reader = PdfReader(BytesIO(pdf))
    assert reader.metadata.title == "Label DC-1"
    assert reader.trailer["/Root"]["/Lang"] == "en"
    for line in (
        NAME,
        "born 4 May 2016",
        "Take ONE 3 mg tablet (3 mg) at 7 in the morning, every day.",
        "PB-7KQ3M9",
    ):
        assert line in text_of(pdf)


def test_every_face_is_embedded():
    fonts = PdfReader(BytesIO(label.render_label(page()))).pages[0]["/Resources"]["/Font"]
    found = [one.get_object() for one in fonts.values()]
    assert {str(one["/BaseFont"]).partition("+")[2] for one in found} == {REGULAR, BOLD}
    assert all("/FontFile2" in one["/FontDescriptor"] for one in found)


def test_a_draft_is_marked_and_has_no_symbol():
    assert "DRAFT - not valid" in text_of(label.render_label(draft()))
    assert "DRAFT" not in text_of(label.render_label(page()))
    with pytest.raises(BadInput, match="draft label carries no symbol"):
        page(state="draft")
    with pytest.raises(BadInput, match="original label carries a symbol"):
        page(symbol=None)
    with pytest.raises(BadInput, match="no state"):
        page(state="copy")


def test_type_is_never_smaller_than_the_size_says():
    sizes: dict[str, float] = {}

    def note(text, _matrix, _text_matrix, _font, size_pt):
        if text.strip():
            sizes[text.strip()] = size_pt

    PdfReader(BytesIO(label.render_label(page()))).pages[0].extract_text(visitor_text=note)
    assert sizes[NAME] == label.ROLL_100X60.critical_pt >= 11
    assert min(sizes.values()) == label.ROLL_100X60.small_pt >= 7


def test_text_too_tall_is_refused_and_the_last_that_fits_is_drawn():
    def tall(lines):
        return page(foot=tuple(label.LabelLine(field="foot", text=f"line {n}", role="small") for n in range(lines)))

    fitting = [n for n in range(1, 30) if not refused(tall(n))]
    assert fitting == list(range(1, max(fitting) + 1))
    assert 3 < max(fitting) < 29
    assert f"line {max(fitting) - 1}" in text_of(label.render_label(tall(max(fitting))))
    with pytest.raises(DoesNotFit) as caught:
        label.render_label(tall(max(fitting) + 1))
    assert caught.value.refusals[0].unit == "mm"
    assert caught.value.refusals[0].limit == "56.0"


def refused(one) -> bool:
    try:
        label.render_label(one)
    except DoesNotFit:
        return True
    return False


def test_a_word_wider_than_the_label_names_its_field():
    wide = page(top=(label.LabelLine(field="patient", text="X" * 60, role="critical"),))
    with pytest.raises(DoesNotFit) as caught:
        label.render_label(wide)
    assert caught.value.refusals[0].field == "patient"


def test_what_fits_as_a_draft_fits_as_an_original():
    lines = tuple(label.LabelLine(field="foot", text=f"line {n}", role="small") for n in range(40))
    for count in range(1, 30):
        if not refused(draft(foot=lines[:count])):
            assert not refused(page(foot=lines[:count]))


@pytest.mark.parametrize("name", ["Łukasz Żółć", "Ζωή Παπαδάκη", "Юлия Щёкина", "Þórdís Ólafsdóttir", "Zoe\u0308 Ek"])
def test_names_of_latin_greek_and_cyrillic_print(name):
    import unicodedata

    pdf = label.render_label(page(top=(label.LabelLine(field="patient", text=name, role="critical"),)))
    assert unicodedata.normalize("NFC", name) in text_of(pdf)


@pytest.mark.parametrize("name", ["שרה", "سارة", "山田", "A\nB", "A\u202eB", "A\u200bB", "q\u0323x", "\ufffe"])
def test_what_the_face_cannot_write_is_refused(name):
    with pytest.raises(NotPrintable) as caught:
        label.render_label(page(top=(label.LabelLine(field="patient", text=name),)))
    assert caught.value.refusals[0].field == "patient"


def test_wrapping_keeps_number_and_unit_together():
    width = width_pt("Take TWO 5", REGULAR, 10) + 1
    assert wrap("Take TWO 5 mg tablets", font=REGULAR, size_pt=10, width=width, field="x") == (
        "Take TWO",
        "5 mg",
        "tablets",
    )


def test_sheet_fills_cells_and_turns_the_page():
    one = page(size=label.CELL_105X74)
    first = label.render_label_sheet([one, one])
    assert len(PdfReader(BytesIO(first)).pages) == 1
    assert first != label.render_label_sheet([one, one], first_cell=3)
    assert len(PdfReader(BytesIO(label.render_label_sheet([one] * 9))).pages) == 2
    assert len(PdfReader(BytesIO(label.render_label_sheet([one] * 8))).pages) == 1
    assert len(PdfReader(BytesIO(label.render_label_sheet([one] * 2, first_cell=7))).pages) == 2
    with pytest.raises(BadInput, match="no cell"):
        label.render_label_sheet([one], first_cell=8)
    with pytest.raises(BadInput, match="not the size"):
        label.render_label_sheet([page()])
    with pytest.raises(BadInput, match="no label"):
        label.render_labels([])
    with pytest.raises(BadInput, match="share one size"):
        label.render_labels([page(), replace(page(), language="fr")])
