"""Content on paper: symbols read from rasterised labels equal the printed text; certificates read back."""

from __future__ import annotations

import shutil
import subprocess
from io import BytesIO

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from dosewright.ground.paper.fit import DoesNotFit
from dosewright.ground.paper.label import CELL_70X37, CELL_105X74, ROLL_100X60, ROLL_100X80, render_label
from dosewright.ground.paper.label import render_label_sheet as render_sheet
from dosewright.ground.paper.record import render_record
from dosewright.ground.paper.symbol import module_dots, modules
from dosewright.ground.pure.cautions import CAUTIONS
from dosewright.ground.pure.gs1 import read_element_string
from labels.certificate import certificate_texts
from labels.services.paperwork import certificate_page, label_page, label_symbol, law_line
from tests.core.labels.demo_content import DEMO, WORDS, a_certificate, a_label


def raster(pdf: bytes, dpi: int) -> np.ndarray:
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed: apt-get install poppler-utils")
    command = ["pdftoppm", "-r", str(dpi), "-gray", "-singlefile", "-"]
    done = subprocess.run(command, input=pdf, check=True, capture_output=True)
    return np.asarray(Image.open(BytesIO(done.stdout)))


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(one.extract_text() for one in PdfReader(BytesIO(pdf)).pages).split())


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize("size", [ROLL_100X60, ROLL_100X80, CELL_105X74], ids=lambda size: size.name)
def test_the_symbol_read_from_paper_is_what_stands_beside_it(size, dpi):
    content = a_label()
    pdf = render_label(label_page(content, words=WORDS, size=size, dpi=dpi))
    found = zxingcpp.read_barcodes(raster(pdf, dpi))
    assert [one.symbology_identifier for one in found] == ["]d2"]
    read = dict(read_element_string(found[0].bytes.decode("ascii")))
    printed = text_of(pdf)
    assert read == {"01": "06291041500213", "17": "260430", "30": "28", "10": "PB-7KQ3M9", "21": "PK-7KQ3M9PA"}
    assert f"Batch {read['10']} · Pack {read['21']}" in printed
    assert "Do not use after 30 April 2026" in printed
    assert f"{read['30']} tablets" in printed


@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_every_module_is_a_whole_number_of_printer_dots(dpi):
    content = a_label()
    picture = raster(render_label(label_page(content, words=WORDS, dpi=dpi)), dpi)
    dots = module_dots(dpi)
    wanted = np.array(modules(label_symbol(content))).repeat(dots, axis=0).repeat(dots, axis=1)
    corner = zxingcpp.read_barcodes(picture)[0].position.top_left
    side, quiet = len(wanted), 2 * dots
    top, left = corner.y - quiet, corner.x - quiet
    drawn = picture[top : top + side + 2 * quiet, left : left + side + 2 * quiet]
    assert ((drawn < 128) == np.pad(wanted, quiet)).all(), "a module or its quiet zone is missing or moved"
    # rounding of coordinates leaves a fringe of one subsample; an edge between two dots is darker
    assert not ((drawn > 0) & (drawn < 170)).any(), "an edge falls between two dots"


def test_a_site_without_prefix_prints_the_packs_code_plain():
    found = zxingcpp.read_barcodes(raster(render_label(label_page(a_label(gtin=""), words=WORDS)), 203))
    assert [(one.text, one.symbology_identifier) for one in found] == [("PK-7KQ3M9PA", "]d1")]


def test_a_draft_label_has_no_symbol_to_read():
    pdf = render_label(label_page(a_label("draft"), words=WORDS))
    assert zxingcpp.read_barcodes(raster(pdf, 300)) == []
    assert "DRAFT - not valid" in text_of(pdf)


def test_every_particular_stands_on_the_label():
    content = a_label(excipients="propylene glycol", licence_number="L 12")
    pdf = render_label(label_page(content, words=WORDS, size=ROLL_100X80))
    printed = text_of(pdf)
    for one in (
        content.patient,
        content.patient_identifier,
        "Hydrocortisone 1.75 mg tablets",
        content.directions,
        content.period,
        content.route,
        content.quantity,
        content.batch,
        content.expiry,
        content.storage,
        *content.precautions,
        content.prescriber,
        content.supplier_name,
        content.supplier_address,
        content.supply_date,
        content.unlicensed,
        content.children,
        content.serial_number,
        "propylene glycol",
        "L 12",
    ):
        assert one in printed
    assert printed.index(content.patient) < printed.index(content.directions) < printed.index(content.batch)


def test_the_small_cell_refuses_the_full_label():
    with pytest.raises(DoesNotFit, match="70 x 37"):
        render_label(label_page(a_label(), words=WORDS, size=CELL_70X37))


def test_symbols_on_a_sheet_are_read_one_by_one():
    pages = [
        label_page(a_label(pack_code=code), words=WORDS, size=CELL_105X74, dpi=600)
        for code in ("PK-7KQ3M9PA", "PK-7KQ3M9PC", "PK-7KQ3M9PD")
    ]
    found = zxingcpp.read_barcodes(raster(render_sheet(pages, first_cell=3), 300))
    serials = {dict(read_element_string(one.bytes.decode("ascii")))["21"] for one in found}
    assert serials == {"PK-7KQ3M9PA", "PK-7KQ3M9PC", "PK-7KQ3M9PD"}


def test_the_certificate_says_all_of_its_content():
    content = a_certificate()
    pdf = render_record(certificate_page(content, words=WORDS))
    printed = text_of(pdf)
    for one in certificate_texts(content):
        assert one in printed
    for one in content.signatures:
        assert one.printed_name in printed
        assert one.meaning in printed
    assert "28 February 2026, 09:05:33 Europe/Lisbon (UTC+00:00)" in printed
    assert content.chain_head in printed
    assert all(one.title in printed for one in CAUTIONS)
    assert "page 1 of" in printed
    assert pdf == render_record(certificate_page(a_certificate(), words=WORDS))


def test_the_certificates_symbol_is_its_number_and_a_draft_has_none():
    original = render_record(certificate_page(a_certificate(), words=WORDS))
    draft = render_record(certificate_page(a_certificate(state="draft", signatures=[]), words=WORDS))
    assert [one.text for one in zxingcpp.read_barcodes(raster(original, 300))] == ["DC-7KQ3M9PC"]
    assert zxingcpp.read_barcodes(raster(draft, 300)) == []
    assert "DRAFT - not valid" in text_of(draft)


def test_the_law_line_names_pack_and_version():
    assert law_line(DEMO) == "Made under law pack demo 2026.1, Tavosia (an invented country, for demonstration only)."
