"""The demo reads what every door reads: order JSON, CSV and FHIR R4, each order or its refusal in its place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dosewright.ground.pure.errors import BadInput
from dosewright.roof.demo.orders import read_file
from prescriptions.intake.order_request import OrderRequest
from tests.imports import EXAMPLES, WRITTEN_ON

FORMS = {
    "imports/orders_example.csv": ["EXAMPLE-CSV-1", "EXAMPLE-CSV-2"],
    "imports/bundle_example.json": ["EXAMPLE-FHIR-1"],
    "orders_example.json": ["EXAMPLE-1", "EXAMPLE-2", "EXAMPLE-3"],
}


@pytest.mark.parametrize("name", FORMS)
def test_every_form_is_read(name: str) -> None:
    requests = read_file(EXAMPLES.parent / name, WRITTEN_ON)
    assert [reference for reference, _ in requests] == FORMS[name]
    assert all(isinstance(one, OrderRequest) for _, one in requests)


def test_a_refusal_stands_in_its_orders_place(tmp_path: Path) -> None:
    path = tmp_path / "orders.csv"
    path.write_bytes((EXAMPLES / "orders_example.csv").read_bytes().replace(b"2 mg,", b"2 Mg,"))
    (first, refused), (second, taken) = read_file(path, WRITTEN_ON)
    assert (first, second) == ("EXAMPLE-CSV-1", "EXAMPLE-CSV-2")
    assert isinstance(refused, BadInput)
    assert refused.refusals[0].field == "line 3, dose"
    assert isinstance(taken, OrderRequest)
    path.write_text(json.dumps([{"reference": "R-1"}, "nothing"]))
    (first, one), (second, other) = read_file(path, WRITTEN_ON)
    assert (first, second) == ("R-1", "order 2 of the file")
    assert isinstance(one, BadInput)
    assert isinstance(other, BadInput)


def test_a_file_that_is_none_is_refused_whole(tmp_path: Path) -> None:
    path = tmp_path / "orders"
    path.write_bytes(b"<Bundle/>")
    with pytest.raises(BadInput):
        read_file(path, WRITTEN_ON)
