"""Labels, weighing sheets, plate maps: exact content kept, drafts marked, the same bytes for the same content."""

from __future__ import annotations

import json
import shutil
import subprocess
from datetime import date
from io import BytesIO

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from dosewright.ground.act import act
from dosewright.ground.documents import Mark, make_document, read_file
from dosewright.ground.jurisdictions import load_pack
from dosewright.ground.models import Document
from dosewright.ground.paper.fit import DoesNotFit
from dosewright.ground.paper.label import ROLL_100X80, render_label
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.codes import numbered_code
from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed, NotThere
from dosewright.ground.pure.gs1 import check_digit, read_element_string
from labels import services as labels
from labels.models import Pack, ProductNumber
from labels.queries.on_label import in_words, label_facts
from labels.services.paperwork import label_page
from labels.services.typed import ELSEWHERE, on_certificate, on_paper
from prescriptions.queries import order_facts
from printing.plates.models import PrintBatch
from tests.cast import ready_bench, weighed_lot
from tests.labels.sharing import OnShelf, undone
from tests.packs import applied_label, labelled, packed, release, started

PREFIX = "9521234"
"""952 is set aside for demonstrations of the GS1 system (GS1 prefix list, from memory); the rest is invented."""

LAW = load_pack("demo", "2026.1")


def picture(pdf: bytes, dpi: int) -> np.ndarray:
    if shutil.which("pdftoppm") is None:
        pytest.fail("pdftoppm is not installed: apt-get install poppler-utils")
    command = ["pdftoppm", "-r", str(dpi), "-gray", "-singlefile", "-"]
    return np.asarray(Image.open(BytesIO(subprocess.run(command, input=pdf, check=True, capture_output=True).stdout)))


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages).split())


class TestGs1Labels(OnShelf):
    """A site with a company prefix."""

    shelf_facts = {"gs1_prefix": PREFIX}

    def label(self, number: int = 0) -> tuple[Pack, Document]:
        code = labelled(self.on, number)
        return Pack.objects.get(code=code), Document.objects.get(code=applied_label(self.on, code))

    def test_the_symbol_says_what_the_record_says(self) -> None:
        pack, document = self.label()
        (found,) = zxingcpp.read_barcodes(picture(read_file(document), 203))
        read = dict(read_element_string(found.bytes.decode("ascii")))
        gtin = read["01"]
        assert gtin == ProductNumber.objects.get().gtin
        assert (len(gtin), gtin[1 : 1 + len(PREFIX)], int(gtin[-1])) == (14, PREFIX, check_digit(gtin[:-1]))
        assert read["10"] == self.on.batch
        assert read["17"] == pack.use_by_date.strftime("%y%m%d")
        assert int(read["30"]) == pack.contents.count()
        assert read["21"] == pack.code

    def test_a_scanned_symbol_is_the_pack(self) -> None:
        code = packed(self.on)
        document = Document.objects.get(code=applied_label(self.on, code))
        (found,) = zxingcpp.read_barcodes(picture(read_file(document), 203))
        raw = found.bytes.decode("ascii")
        for sent in (raw, f"]d2{raw}", raw.replace("\x1d", "")):
            with undone():
                assert release(self.on, code, scanned_code=sent).state == "released"
        with pytest.raises(BadInput, match="misread"):
            release(self.on, code, scanned_code=raw[:-1] + ("3" if raw[-1] != "3" else "4"))

    def test_a_product_keeps_its_number_and_another_strength_has_another(self) -> None:
        self.label(0)
        labels.account_label(
            self.on.cast.tomas,
            Pack.objects.get().code,
            label=applied_label(self.on, Pack.objects.get().code),
            became="spoiled",
            reason="it was crooked",
            at=self.on.at,
        )
        labels.issue_label(self.on.cast.tomas, Pack.objects.get().code, at=self.on.at)
        assert ProductNumber.objects.count() == 1
        Pack.objects.update(state="returned")
        self.label(1)
        assert len(set(ProductNumber.objects.values_list("gtin", flat=True))) == 2


class TestPapers(OnShelf):
    """A site without a company prefix."""

    def test_a_plain_symbol_is_the_packs_code(self) -> None:
        code = labelled(self.on)
        document = Document.objects.get(code=applied_label(self.on, code))
        (found,) = zxingcpp.read_barcodes(picture(read_file(document), 203))
        assert found.text == code

    def test_a_label_says_everything_and_keeps_no_name(self) -> None:
        code = labelled(self.on)
        document = Document.objects.get(code=applied_label(self.on, code))
        pdf, patient = read_file(document), order_facts(self.on.order).patient
        text = text_of(pdf)
        for said in (
            "Odalys Quillfeather",
            "born 4 May 2019, D-1001",
            "Do not use after 1 May 2026",
            document.code,
            f"({document.number})",
            self.on.batch,
            code,
            self.on.order,
            "Dr Mira Voss",
            "Swallow whole with water.",
            "Unlicensed medicine",
        ):
            assert said in text, said
        kept = json.loads(document.content_text)
        assert kept["patient"] == kept["content"]["patient"] == patient
        assert kept["content"]["patient_identifier"] == ""
        assert "Quillfeather" not in document.content_text

    def test_the_same_content_gives_the_same_bytes(self) -> None:
        code = labelled(self.on)
        pack = Pack.objects.select_related("site", "order", "line", "batch__formulation", "zone__sized").get(code=code)
        document = Document.objects.get(code=applied_label(self.on, code))
        facts = label_facts(
            pack,
            code=document.code,
            number=document.number,
            count=pack.contents.count(),
            on=date(2026, 3, 2),
            law=LAW,
        )
        content = in_words(facts, law=LAW, site=pack.site, state="original")
        again = render_label(label_page(content, words=LAW.wording("en"), size=ROLL_100X80))
        assert again == read_file(document)
        assert json.loads(document.content_text)["printed_digest"] == digest_of(canonical_text(content))

    def test_a_label_that_does_not_fit_is_refused_and_unknown_stock_too(self) -> None:
        code = started(self.on)
        before = Document.objects.count()
        with pytest.raises(DoesNotFit):
            labels.draft_label(self.on.cast.tomas, code, stock="sheet cell 70 x 37 mm", at=self.on.at)
        with pytest.raises(BadInput, match="is no label stock"):
            labels.draft_label(self.on.cast.tomas, code, stock="a napkin", at=self.on.at)
        assert Document.objects.count() == before
        with pytest.raises(NotAllowed):
            labels.draft_label(self.on.cast.otto, code, at=self.on.at)

    def test_a_changed_file_is_not_handed_out(self) -> None:
        from pathlib import Path

        from django.conf import settings

        document = labels.draft_label(self.on.cast.tomas, started(self.on), at=self.on.at)
        path = Path(settings.DOSEWRIGHT_HOME) / document.path
        whole = path.read_bytes()
        path.write_bytes(whole[:-1] + b"!")
        with pytest.raises(Conflict, match="not the one that was made"):
            read_file(document)

    def test_a_weighing_sheet_is_a_draft_until_the_lot_is_mixed(self) -> None:
        answer = labels.weighing_sheet(self.on.cast.tomas, self.on.bench.lot, at=self.on.at)
        assert answer.state == "original"
        document = Document.objects.get(code=answer.document)
        text = text_of(read_file(document))
        assert (document.subject, self.on.bench.lot in text, "hydrocortisone" in text) == (
            self.on.bench.lot,
            True,
            True,
        )
        open_lot = weighed_lot(
            self.on.cast, ready_bench(self.on.cast, self.on.bench.formulation, at=self.on.at), at=self.on.at
        )
        answer = labels.weighing_sheet(self.on.cast.tomas, open_lot, at=self.on.at)
        assert answer.state == "draft"
        text = text_of(read_file(Document.objects.get(code=answer.document)))
        assert "DRAFT" in text
        assert "not yet" in text
        with pytest.raises(NotAllowed):
            labels.weighing_sheet(self.on.cast.mira, open_lot, at=self.on.at)
        with pytest.raises(NotThere):
            labels.weighing_sheet(self.on.cast.tomas, numbered_code("resin lot", 3), at=self.on.at)

    def test_a_plate_map_is_a_draft_until_the_plan_is_approved(self) -> None:
        answer = labels.plate_map(self.on.cast.ada, self.on.batch, at=self.on.at)
        assert answer.state == "original"
        text = text_of(read_file(Document.objects.get(code=answer.document)))
        for zone in self.on.zones:
            assert zone in text
        assert "never for a patient" in text
        PrintBatch.objects.update(state="planned")
        assert labels.plate_map(self.on.cast.ada, self.on.batch, at=self.on.at).state == "draft"

    def test_originals_and_drafts_are_numbered_apart(self) -> None:
        code = started(self.on)
        numbers = [labels.draft_label(self.on.cast.tomas, code, at=self.on.at).number for _ in range(2)]
        assert numbers == ["D00001", "D00002"]
        marks: list[Mark] = []
        with act(self.on.cast.tomas, "document.make", at=self.on.at, subject=code) as doing:
            make_document(
                doing,
                kind="label",
                state="original",
                subject_kind="pack",
                subject=code,
                compose=lambda mark: marks.append(mark) or {"code": mark.code},
                draw=lambda content: content["code"].encode(),
            )
        assert [one.number for one in marks] == ["00001"]


def test_typed_texts_are_made_fit_for_paper() -> None:
    assert on_paper("plain words") == "plain words"
    assert on_paper("a\u202eb \u4e2d") == "a?b ?"
    assert max(map(len, on_paper("x" * 90).split())) == 16
    assert on_paper("immediate-release-tablets") == "immediate- release- tablets"
    assert on_certificate("made as 21 CFR 211 asks", LAW) == ELSEWHERE
    assert on_certificate("released by the Qualified Person", LAW) == ELSEWHERE
    assert on_certificate("nothing lies on the bench", LAW) == "nothing lies on the bench"
