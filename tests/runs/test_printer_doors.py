"""The printer's way in, over HTTP with its token; and every other way that it must not take."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from dosewright.ground.models import AuditEntry
from dosewright.roof.training_printer import read_plate
from printing.plates import services as plates
from printing.plates.queries import batch_facts
from printing.runs import services
from tests.batches import bench_printer, gates_passed
from tests.cast import NOW
from tests.runs.conftest import Plate

pytestmark = pytest.mark.django_db
JSON = "application/json"


class Speaker:
    """A client that sends one token."""

    def __init__(self, token: str) -> None:
        self.client, self.headers = Client(), {"HTTP_AUTHORIZATION": f"Bearer {token}"}

    def get(self, path: str) -> Any:
        return self.client.get(f"/api/v1/{path}", **self.headers)

    def post(self, path: str, **facts: Any) -> Any:
        return self.client.post(f"/api/v1/{path}", json.dumps(facts), content_type=JSON, **self.headers)


@pytest.fixture
def printer(ready_plate: Plate) -> Speaker:
    """The linked printer of the ready plate."""
    return Speaker(plates.issue_printer_token(ready_plate.cast.paul, ready_plate.bench.printer, at=NOW))


def test_a_printer_loads_says_prints_and_ends(ready_plate: Plate, printer: Speaker) -> None:
    batch = ready_plate.batch
    job = printer.get("printer-job").json()
    assert (job["phase"], job["batch"]) == ("load", batch)
    file = printer.get(f"batch/{batch}/plate-file")
    assert file["Content-Type"] == "model/3mf"
    held = read_plate(file.content)
    assert (held.sha256, held.layers, held.layer_um) == (job["file_sha256"], job["layers"], job["layer_um"])
    said = {"file_sha256": held.sha256, "layers": held.layers, "layer_um": held.layer_um}
    assert printer.post(f"batch/{batch}/seen", **said, profile_sha256=job["profile_sha256"]).status_code == 200
    gates_passed(ready_plate.cast, batch)
    services.start_run(ready_plate.cast.tomas, batch, at=NOW)
    assert printer.get("printer-job").json()["phase"] == "print"
    n = held.layers
    assert printer.post(f"batch/{batch}/layer", layer=n - 1, layers=n, seconds_left=8).status_code == 200
    early = printer.post(f"batch/{batch}/end")
    assert early.status_code == 409
    assert early.json()["refused"][0]["limit"] == str(n)
    assert printer.post(f"batch/{batch}/layer", layer=n, layers=n, seconds_left=0).status_code == 200
    assert printer.post(f"batch/{batch}/end").status_code == 200
    assert batch_facts(batch, site_id=ready_plate.cast.site.pk).state == "printed"
    assert printer.get("printer-job").json()["phase"] == "wait"
    last = AuditEntry.objects.filter(action="run.end").last()
    assert last is not None
    assert '"channel":"printer"' in last.text


def test_a_printer_comes_through_no_other_door(ready_plate: Plate, printer: Speaker) -> None:
    from dosewright.ground.rest import DOORS
    from dosewright.roof.api import registry

    registry.load()
    batch, zone = ready_plate.batch, batch_facts(ready_plate.batch, site_id=ready_plate.cast.site.pk).zones[0].code
    own = {"run.seen", "run.layer", "run.end", "run.fault"}
    tried = 0
    for one in DOORS.values():
        if one.action in own or one.subject not in {"batch", "zone", "printer", "plan", "deviation"}:
            continue
        code = {"batch": batch, "zone": zone, "printer": ready_plate.bench.printer}.get(one.subject, "DW-AAAAAA")
        path = "/".join(part for part in (one.subject, "" if one.creates else code, one.verb) if part)
        answer = printer.post(path)
        assert answer.status_code in {403, 422, 404}, (path, answer.status_code)
        if answer.status_code == 403:
            tried += 1
    assert tried >= 8
    for path in (f"batch/{batch}", f"zone/{zone}", "batch", "order", "patient", f"run/{batch}", "audit"):
        assert printer.get(path).status_code in {403, 404}, path
    assert batch_facts(batch, site_id=ready_plate.cast.site.pk).state == "ready"


def test_another_printer_gets_no_file_and_tells_nothing(ready_plate: Plate, printer: Speaker) -> None:
    cast, batch = ready_plate.cast, ready_plate.batch
    other_code = bench_printer(cast, tank=ready_plate.bench.tank, name="Bench two")
    other = Speaker(plates.issue_printer_token(cast.paul, other_code, at=NOW))
    assert other.get("printer-job").json()["phase"] == "wait"
    assert other.get(f"batch/{batch}/plate-file").status_code == 404
    for verb, facts in (
        ("layer", {"layer": 1, "layers": 2, "seconds_left": 0}),
        ("end", {}),
        ("fault", {"layer": 1, "kind": "power", "text": "went out"}),
    ):
        assert other.post(f"batch/{batch}/{verb}", **facts).status_code == 404
    assert printer.get(f"batch/{batch}/plate-file").status_code == 200


def test_without_the_right_token_nothing_is_told(ready_plate: Plate, printer: Speaker) -> None:
    for token in ("", "x" * 64):
        stranger = Speaker(token)
        assert stranger.get("printer-job").status_code == 401
        assert stranger.get(f"batch/{ready_plate.batch}/plate-file").status_code == 401
        assert stranger.post(f"batch/{ready_plate.batch}/end").status_code == 401
    plates.issue_printer_token(ready_plate.cast.paul, ready_plate.bench.printer, at=NOW)
    assert printer.get("printer-job").status_code == 401, "a new token ends the old one"


def test_people_take_the_file_but_no_job(ready_plate: Plate) -> None:
    client = Client()
    for name, file, job in (("tomas.lind", 200, 403), ("mira.voss", 403, 403)):
        client.force_login(ready_plate.cast.users[name], backend="dosewright.roof.api.sign_in.People")
        assert client.get(f"/api/v1/batch/{ready_plate.batch}/plate-file").status_code == file
        assert client.get("/api/v1/printer-job").status_code == job


def test_counts_come_by_the_door_as_they_are_typed(plate: Plate) -> None:
    """27 + 15 where 28 + 14 were placed, over HTTP."""
    from tests.batches import run_to

    cast = plate.cast
    run_to(cast, plate.batch, "printed")
    zones = batch_facts(plate.batch, site_id=cast.site.pk).zones
    first, second = (one for one in zones if one.line is not None)
    counts = {one.code: len(one.units) for one in zones}
    client = Client()
    client.force_login(cast.users["tomas.lind"], backend="dosewright.roof.api.sign_in.People")
    path = f"/api/v1/batch/{plate.batch}/remove"
    bad = client.post(path, json.dumps({"counts": {first.code: 3}}), content_type=JSON)
    assert bad.status_code == 422
    counts[first.code] -= 1
    counts[second.code] += 1
    answer = client.post(path, json.dumps({"counts": counts}), content_type=JSON)
    assert answer.status_code == 200, answer.content
    (deviation,) = answer.json()["deviations"]
    seen = client.get(f"/api/v1/deviation/{deviation}").json()
    assert set(seen["zones"]) == {first.code, second.code}
    assert seen["holds"] is True
    evidence = client.get(f"/api/v1/evidence/{first.code}").json()
    assert evidence["outcome"] == ""
    run = client.get(f"/api/v1/run/{plate.batch}").json()
    assert run["next_thing"] == "start step 1: wash"
