"""The training printer as the process that it is, against a small house that forgets, restarts and refuses."""

from __future__ import annotations

import io
import json
import signal
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from dosewright.roof.training_printer import Unreadable, read_plate

ROOT = Path(__file__).resolve().parents[2]
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
LAYERS = 60
WITHIN_S = 20.0


def plate_bytes(*, layer_um: str = "50", height_mm: float = 2.5, lift_mm: float = 0.5, head: str = "") -> bytes:
    """Return a plate file of one solid that stands at `lift_mm`."""
    model = (
        f'{head}<model unit="millimeter" xmlns="{CORE}"><metadata name="d:layer_um">{layer_um}</metadata><resources>'
        f'<object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>'
        f'<vertex x="0" y="1" z="{height_mm}"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles>'
        f'</mesh></object></resources><build><item objectid="1" transform="1 0 0 0 1 0 0 0 1 9 9 {lift_mm}"/></build>'
        f"</model>"
    )
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as package:
        package.writestr("3D/3dmodel.model", model)
    return target.getvalue()


def test_layers_come_from_the_highest_point_and_the_stated_height() -> None:
    held = read_plate(plate_bytes())
    assert (held.layers, held.layer_um) == (LAYERS, 50)


@pytest.mark.parametrize(
    "data",
    [
        b"no zip",
        plate_bytes(layer_um="0.05"),
        plate_bytes(layer_um=""),
        plate_bytes(height_mm=2.51),
        plate_bytes(head="<!DOCTYPE model>"),
        plate_bytes(height_mm=0, lift_mm=0),
    ],
)
def test_what_is_no_plate_of_whole_layers_is_not_printed(data: bytes) -> None:
    with pytest.raises(Unreadable):
        read_plate(data)


@dataclass
class SmallHouse:
    """A house with one batch: what the printer told it, and how it behaves."""

    phase: str = "load"
    layer: int = 0
    told: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    tokens: set[str] = field(default_factory=set)
    answers: dict[str, list[int]] = field(default_factory=dict)
    cut: dict[str, int] = field(default_factory=dict)

    def said(self, verb: str) -> list[dict[str, Any]]:
        return [facts for name, facts in self.told if name == verb]

    def job(self) -> dict[str, Any]:
        if self.phase == "wait":
            return {"phase": "wait", "batch": "", "layer": 0}
        return {
            "phase": self.phase, "batch": "PB-ONE", "file_sha256": "f" * 64, "layers": LAYERS, "layer_um": 50,
            "seconds": 600, "profile_name": "fine", "profile_sha256": "a" * 64, "layer": self.layer,
        }  # fmt: skip


def serve(house: SmallHouse, port: int = 0) -> ThreadingHTTPServer:
    """Open the house's line."""

    class Line(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            house.tokens.add(self.headers["Authorization"])
            verb = self.path.rsplit("/", 1)[1]
            body = json.dumps(house.job()).encode() if verb == "printer-job" else plate_bytes()
            house.cut[verb] = house.cut.get(verb, 0) - 1
            self.answer(200, body, sent=len(body) // 2 if house.cut[verb] >= 0 else len(body))

        def do_POST(self) -> None:
            facts = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            verb = self.path.rsplit("/", 1)[1]
            status = (house.answers.get(verb) or [200]).pop(0)
            if status == 200:
                house.told.append((verb, facts))
                if verb in {"end", "fault"}:
                    house.phase = "wait"
            self.answer(status, b"{}")

        def answer(self, status: int, body: bytes, *, sent: int | None = None) -> None:
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body[:sent])

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", port), Line)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


@dataclass
class Line:
    """A house, its server and how to start a printer on it."""

    house: SmallHouse
    server: ThreadingHTTPServer
    token_file: Path
    started: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def port(self) -> int:
        return int(self.server.server_address[1])

    def printer(self, *more: str) -> subprocess.Popen[bytes]:
        command = [
            sys.executable, "-m", "dosewright.roof.training_printer", "--url", f"http://127.0.0.1:{self.port}",
            "--token-file", str(self.token_file), "--speed", "600", *more,
        ]  # fmt: skip
        self.started.append(subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL))
        return self.started[-1]


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    """A house that answers, and printers that end with the test."""
    token_file = tmp_path / "token"
    token_file.write_text("a-token\n", encoding="ascii")
    house = SmallHouse()
    one = Line(house=house, server=serve(house), token_file=token_file)
    yield one
    for process in one.started:
        process.kill()
        process.wait()
    one.server.shutdown()
    one.server.server_close()


def until(happens: Any) -> None:
    """Wait until something is so."""
    end = time.monotonic() + WITHIN_S
    while not happens():
        assert time.monotonic() < end, "it never happened"
        time.sleep(0.02)


def test_it_loads_says_waits_prints_and_ends(line: Line) -> None:
    process = line.printer("--once")
    until(lambda: line.house.said("seen"))
    (seen,) = line.house.said("seen")
    assert (seen["layers"], seen["layer_um"], seen["profile_sha256"]) == (LAYERS, 50, "a" * 64)
    assert not line.house.said("layer"), "nobody has started it yet"
    line.house.phase = "print"
    assert process.wait(WITHIN_S) == 0
    reported = [one["layer"] for one in line.house.said("layer")]
    assert reported == sorted(set(reported))
    assert reported[-1] == LAYERS
    assert len(reported) > 5
    assert len(line.house.said("end")) == 1
    assert line.house.tokens == {"Bearer a-token"}


def test_it_says_another_profile_when_told_to(line: Line) -> None:
    line.printer("--profile-sha", "b" * 64)
    until(lambda: line.house.said("seen"))
    assert line.house.said("seen")[0]["profile_sha256"] == "b" * 64


def test_it_plays_a_fault_at_its_layer(line: Line) -> None:
    line.house.phase = "print"
    process = line.printer("--once", "--fault-batch", "PB-ONE", "--fault-layer", "17")
    assert process.wait(WITHIN_S) == 0
    (fault,) = line.house.said("fault")
    assert fault["layer"] == 17
    assert not line.house.said("end")


def test_it_outlives_a_house_that_restarts_and_one_that_fails(line: Line) -> None:
    line.house.phase = "print"
    line.house.answers["layer"] = [500, 200, 503]
    line.house.answers["layer"] += [200] * LAYERS
    process = line.printer("--once", "--speed", "200")
    until(lambda: len(line.house.said("layer")) >= 3)
    port = line.port
    line.server.shutdown()
    line.server.server_close()
    time.sleep(0.5)
    line.server = serve(line.house, port)
    assert process.wait(2 * WITHIN_S) == 0
    assert [one["layer"] for one in line.house.said("layer")][-1] == LAYERS
    assert len(line.house.said("end")) == 1


def test_an_answer_that_is_cut_short_is_none(line: Line) -> None:
    """A house that is killed while it answers: half a job ends no printer, half a plate file is not "unprintable"."""
    line.house.cut = {"printer-job": 2, "plate-file": 2}
    line.printer()
    until(lambda: line.house.said("seen"))
    assert line.house.said("seen")[0]["layers"] == LAYERS
    assert max(line.house.cut.values()) < 0, "all were cut"


def test_a_run_that_it_did_not_begin_is_a_fault_and_never_resumed(line: Line) -> None:
    line.house.phase, line.house.layer = "print", 12
    assert line.printer("--once").wait(WITHIN_S) == 0
    (fault,) = line.house.said("fault")
    assert (fault["layer"], fault["kind"]) == (12, "power")
    assert not line.house.said("layer")


def test_a_refused_report_stops_the_run_here(line: Line) -> None:
    line.house.phase = "print"
    line.house.answers["layer"] = [409] * 3 + [200] * LAYERS
    line.printer()
    until(lambda: len(line.house.answers["layer"]) <= LAYERS)
    assert not line.house.said("end")


def test_it_stops_when_asked(line: Line) -> None:
    process = line.printer()
    until(lambda: line.house.said("seen"))
    process.send_signal(signal.SIGTERM)
    assert process.wait(WITHIN_S) == 0


def test_it_uses_the_standard_library_alone() -> None:
    said = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", "import dosewright.roof.training_printer"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stderr  # fmt: skip
    loaded = {line.rsplit("|", 1)[1].strip() for line in said.splitlines() if "|" in line}
    ours = {name for name in loaded if name.partition(".")[0] in {"dosewright", "prescriptions", "printing", "labels"}}
    assert ours == {"dosewright", "dosewright.roof", "dosewright.roof.training_printer"}
    assert not {name for name in loaded if name.partition(".")[0] in {"django", "numpy", "rest_framework"}}
