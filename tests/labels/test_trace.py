"""A trace from every kind of code reaches the patient and the ingredient lots, and holds codes alone."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from dosewright.ground.models import Document, User
from dosewright.ground.pure.codes import kind_of, numbered_code
from dosewright.ground.pure.errors import BadInput, NotAllowed, NotThere
from dosewright.ground.rest import plain
from labels import services as labels
from labels.models import Pack
from labels.trace import KINDS, Trace, trace
from prescriptions.models import DoseLine, Order, Patient
from printing.plates.models import PlacedUnit, Printer, Zone
from printing.stock.models import IngredientLot, TankFill
from tests.cast import found_cast
from tests.labels.sharing import OnShelf
from tests.packs import packed, supplied, view

CONTRACT = json.loads(
    (Path(__file__).parents[2] / "fixtures" / "contracts" / "trace.schema.json").read_text(encoding="utf-8")
)


class TestTrace(OnShelf):
    """One supplied pack beside one that waits, of one order on one batch."""

    code: str
    other: str

    @classmethod
    def build(cls) -> None:
        cls.code = supplied(cls.on, 0)
        cls.other = packed(cls.on, 1)

    def traced(self, code: str) -> Trace:
        found = trace(self.on.cast.otto, code)
        jsonschema.validate(plain(found), CONTRACT)
        codes = [one.code for one in found.nodes]
        assert len(codes) == len(set(codes))
        assert code in codes
        for edge in found.edges:
            assert {edge["from"], edge["to"]} <= set(codes)
        assert list(found.nodes) == sorted(found.nodes, key=lambda one: (KINDS.index(one.kind), one.code))
        assert len(found.edges) == len({tuple(sorted(edge.items())) for edge in found.edges})
        return found

    def kinds(self, code: str) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {}
        for node in self.traced(code).nodes:
            found.setdefault(node.kind, set()).add(node.code)
        return found

    def starts(self) -> dict[str, str]:
        pack = Pack.objects.get(code=self.code)
        fill = TankFill.objects.order_by("pk")[0]
        return {
            "patient": Patient.objects.get().code,
            "order": self.on.order,
            "dose line": pack.line.code,
            "pack": self.code,
            "unit": pack.contents.order_by("pk")[0].unit.code,
            "zone": self.on.zones[0],
            "print batch": self.on.batch,
            "resin lot": self.on.bench.lot,
            "ingredient lot": IngredientLot.objects.order_by("pk")[0].code,
            "person": User.objects.get(username="jonas.weber").code,
            "tank": fill.tank.code,
            "tank fill": fill.code,
            "printer": Printer.objects.get().code,
            "balance": self.on.bench.balance,
            "document": Document.objects.filter(kind="certificate").get().code,
        }

    def test_from_every_kind_it_reaches_patient_and_ingredient_lots(self) -> None:
        lots = set(IngredientLot.objects.values_list("code", flat=True))
        for kind, code in self.starts().items():
            found = self.kinds(code)
            assert found["patient"] == {Patient.objects.get().code}, kind
            assert found["ingredient lot"] == (lots if kind != "ingredient lot" else {code}), kind
            for step in ("order", "dose line", "pack", "unit", "zone", "print batch", "resin lot"):
                assert found[step], (kind, step)
            assert {"person", "equipment", "document"} <= set(found), kind

    def test_a_unit_is_traced_to_its_own_way_only(self) -> None:
        unit = self.starts()["unit"]
        found = self.kinds(unit)
        assert (found["unit"], found["zone"], found["pack"]) == ({unit}, {self.on.zones[0]}, {self.code})
        hows = {edge["how"] for edge in self.traced(unit).edges if edge["from"] == unit}
        assert hows == {"printed for", "packed into"}

    def test_a_patient_is_traced_to_every_unit_and_pack(self) -> None:
        found = self.kinds(Patient.objects.get().code)
        assert found["pack"] == {self.code, self.other}
        made = set(PlacedUnit.objects.filter(zone__line__isnull=False).values_list("code", flat=True))
        assert found["unit"] == made

    def test_an_ingredient_lot_is_traced_to_test_units_as_well(self) -> None:
        found = self.kinds(IngredientLot.objects.order_by("pk")[0].code)
        assert found["unit"] == set(PlacedUnit.objects.values_list("code", flat=True))
        assert found["zone"] == set(Zone.objects.values_list("code", flat=True))

    def test_the_edges_say_who_did_what_with_which_equipment(self) -> None:
        edges = {(one["from"], one["how"], one["to"]) for one in self.traced(self.code).edges}
        jonas, tomas = (User.objects.get(username=one).code for one in ("jonas.weber", "tomas.lind"))
        printer, tank = Printer.objects.get().code, TankFill.objects.order_by("pk")[0].tank.code
        assert (jonas, "pack.release", self.code) in edges
        assert (tomas, "pack.fill", self.code) in edges
        assert (printer, "printed", self.on.batch) in edges
        assert (tank, "held", TankFill.objects.order_by("pk")[0].code) in edges
        assert (self.on.bench.lot, "printed as", self.on.batch) in edges
        (certificate,) = [one.code for one in view(self.on, self.code).documents if one.kind == "certificate"]
        assert (self.code, "certificate, original", certificate) in edges
        line = Pack.objects.get(code=self.code).line
        assert (line.code, "line of", self.on.order) in edges

    def test_it_names_nobody(self) -> None:
        text = json.dumps([plain(self.traced(code)) for code in self.starts().values()])
        people = [name for user in User.objects.filter(kind=User.PERSON) for name in user.printed_name.split()]
        for name in ("Quillfeather", "Odalys", "D-1001", *(one for one in people if one != "Dr")):
            assert name not in text, name

    def test_only_auditors_and_pharmacists_trace_known_codes_of_their_site(self) -> None:
        cast = self.on.cast
        for actor in (cast.mira, cast.tomas, cast.nora, cast.paul):
            with pytest.raises(NotAllowed):
                trace(actor, self.code)
        assert trace(cast.rosa, self.code.lower()) == trace(cast.otto, self.code)
        with pytest.raises(BadInput):
            trace(cast.otto, self.code[:-1] + "#")
        with pytest.raises(NotThere):
            trace(cast.otto, numbered_code("pack", 7))
        with pytest.raises(BadInput, match="is not traced"):
            trace(cast.otto, self.on.bench.formulation)
        stranger = found_cast(name="Another site", suffix=".b")
        for code in self.starts().values():
            with pytest.raises(NotThere):
                trace(stranger.otto, code)

    def test_an_order_that_nothing_was_made_for_is_traced_too(self) -> None:
        from tests.orders import another_child, enter_signed, order_request

        code = enter_signed(self.on.cast, order_request(patient=another_child(3)), at=self.on.at).code
        found = self.kinds(code)
        assert set(found) == {"patient", "order", "dose line", "person"}
        assert found["dose line"] == set(DoseLine.objects.filter(order__code=code).values_list("code", flat=True))
        assert Order.objects.get(code=code).patient.code in found["patient"]

    def test_the_report_is_an_original_by_code_alone(self) -> None:
        before = plain(trace(self.on.cast.otto, self.code))
        answer = labels.trace_report(self.on.cast.otto, self.code, at=self.on.at)
        document = Document.objects.get(code=answer.document)
        assert (document.state, document.subject) == ("original", self.code)
        assert json.loads(document.content_text)["of"] == before
        assert kind_of(document.code) == "document"
        with pytest.raises(NotAllowed):
            labels.trace_report(self.on.cast.tomas, self.code, at=self.on.at)
