"""The training printer: pretends to be a linked printer, over HTTP alone, so that nobody needs a real one to learn.

A program of its own, with the standard library only: it knows an address and a token and nothing of the house.
It asks for its job, loads the plate file and reads it as a printer would, says what it holds, waits until a
person starts it, counts layers with the time scaled, and reports the end or, when told to, a fault.

    python -m dosewright.roof.training_printer --url http://127.0.0.1:8000 --token-file FILE [--speed 200] [--once]
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import http.client
import io
import json
import signal
import sys
import threading
import urllib.error
import urllib.request
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
MODEL_PART = "3D/3dmodel.model"
LAYER_NAME = "layer_um"
MOST_BYTES = 64 * 2**20
MOST_MODEL_BYTES = 256 * 2**20
POLL_S = 0.5
RETRY_S = 1.0
TIMEOUT_S = 10.0
LEAST_STEP_S = 0.05
REPORTS = 40
"""About how many layer reports a run makes, however many layers it has."""


@dataclass(frozen=True, slots=True)
class Held:
    """The plate file a printer holds: its hash, and the layers that it would print of it."""

    sha256: str
    layers: int
    layer_um: int


@dataclass(frozen=True, slots=True)
class Settings:
    """How this printer behaves; a fault is played on one batch at one layer."""

    url: str
    token: str
    speed: float
    profile_sha256: str
    fault_batch: str
    fault_layer: int
    once: bool


class Unreadable(Exception):
    """The file is none that this printer can print."""


class Stopped(Exception):
    """The program was asked to stop."""


def read_plate(data: bytes) -> Held:
    """Return what a printer makes of a 3MF file: layers by its highest point and its stated layer height.

    Raises Unreadable for anything that is no plate of whole layers.
    """
    model = _model_of(data)
    layer_um = _layer_um(model)
    highest_um = _highest_um(model)
    layers, rest = divmod(round(highest_um), layer_um)
    if rest or layers < 1:
        raise Unreadable(f"{highest_um} um is no whole number of layers of {layer_um} um")
    return Held(sha256=hashlib.sha256(data).hexdigest(), layers=layers, layer_um=layer_um)


def _model_of(data: bytes) -> ElementTree.Element:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            if package.getinfo(MODEL_PART).file_size > MOST_MODEL_BYTES:
                raise Unreadable("the model is too large")
            text = package.read(MODEL_PART)
        if b"<!DOCTYPE" in text[:1000]:
            raise Unreadable("a document type has no place in a plate file")
        return ElementTree.fromstring(text)
    except (zipfile.BadZipFile, KeyError, ElementTree.ParseError) as trouble:
        raise Unreadable(str(trouble)) from trouble


def _layer_um(model: ElementTree.Element) -> int:
    for entry in model.iter(f"{CORE}metadata"):
        if entry.get("name", "").rpartition(":")[2] == LAYER_NAME and (entry.text or "").isdigit():
            return int(entry.text or "")
    raise Unreadable("no layer height is stated")


def _highest_um(model: ElementTree.Element) -> float:
    tops = {
        one.get("id"): max(float(vertex.get("z", "0")) for vertex in one.iter(f"{CORE}vertex"))
        for one in model.iter(f"{CORE}object")
    }
    heights = []
    for item in model.iter(f"{CORE}item"):
        moved = (item.get("transform") or "1 0 0 0 1 0 0 0 1 0 0 0").split()
        heights.append(tops[item.get("objectid")] + float(moved[11]))
    if not heights:
        raise Unreadable("nothing is to be built")
    return max(heights) * 1000


class House:
    """The other end of the line: asks and tells with the printer's token; None when nobody answers."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings

    def ask(self, path: str) -> Any:
        """Return the JSON of a GET, or None."""
        found = self._send("GET", path, None)
        return None if found is None else json.loads(found[1])

    def load(self, path: str) -> bytes | None:
        """Return the bytes of a GET, or None."""
        found = self._send("GET", path, None)
        return None if found is None else found[1]

    def tell(self, path: str, facts: dict[str, Any]) -> int | None:
        """POST facts and return the status, None when nobody answers."""
        found = self._send("POST", path, facts)
        return None if found is None else found[0]

    def _send(self, method: str, path: str, facts: dict[str, Any] | None) -> tuple[int, bytes] | None:
        request = urllib.request.Request(
            f"{self._settings.url.rstrip('/')}/api/v1/{path}",
            method=method,
            data=None if facts is None else json.dumps(facts).encode(),
            headers={"Authorization": f"Bearer {self._settings.token}", "Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:
                return answer.status, _whole(answer)
        except urllib.error.HTTPError as refused:
            body = b""
            with refused, contextlib.suppress(http.client.HTTPException, OSError):
                body = refused.read(MOST_BYTES)
            _say(f"{method} {path}: {refused.code} {body[:300].decode(errors='replace')}")
            return (refused.code, body) if method == "POST" and refused.code < 500 else None
        except (urllib.error.URLError, http.client.HTTPException, OSError, TimeoutError) as trouble:
            _say(f"{method} {path}: nobody answers ({trouble})")
            return None


def _whole(answer: http.client.HTTPResponse) -> bytes:
    """Return the body of an answer; raises HTTPException where the line was cut before its end."""
    body = answer.read(MOST_BYTES)
    promised = answer.headers.get("Content-Length")
    if not answer.chunked and (promised is None or len(body) != int(promised)):
        raise http.client.HTTPException(f"{len(body)} of {promised or 'an unknown number of'} bytes came")
    return body


class TrainingPrinter:
    """One pretended printer: what it holds, and which batches it has done with."""

    def __init__(self, settings: Settings, stop: threading.Event) -> None:
        self._settings = settings
        self._stop = stop
        self._house = House(settings)
        self._held: dict[str, Held] = {}
        self._said: set[tuple[str, str]] = set()
        self._refused: set[tuple[str, str]] = set()
        self.done: list[str] = []

    def work(self) -> None:
        """Ask for jobs and do them until stopped; with `once` until one batch was ended or faulted."""
        while not self._stop.is_set():
            job = self._house.ask("printer-job")
            if job is None:
                self._wait(RETRY_S)
                continue
            if job["phase"] == "load":
                self._hold(job)
            elif job["phase"] == "print":
                self._print(job)
            if self._settings.once and self.done:
                return
            self._wait(POLL_S)

    def _hold(self, job: dict[str, Any]) -> bool:
        """Load and read the batch's file and say what it is; True once that was taken."""
        key = (job["batch"], job["file_sha256"])
        if key in self._said:
            return True
        if key in self._refused:
            return False
        data = self._house.load(f"batch/{job['batch']}/plate-file")
        if data is None:
            return False
        try:
            held = read_plate(data)
        except Unreadable as trouble:
            _say(f"{job['batch']}: this file cannot be printed: {trouble}")
            self._refused.add(key)
            return False
        self._held[job["batch"]] = held
        said = {
            "file_sha256": held.sha256,
            "layers": held.layers,
            "layer_um": held.layer_um,
            "profile_sha256": self._settings.profile_sha256 or job["profile_sha256"],
        }
        status = self._house.tell(f"batch/{job['batch']}/seen", said)
        if status == 200:
            _say(f"{job['batch']}: holds {held.layers} layers of {held.layer_um} um")
            self._said.add(key)
        return status == 200

    def _print(self, job: dict[str, Any]) -> None:
        batch, layers = job["batch"], int(job["layers"])
        if not self._can_go_on(job):
            self._fault(batch, int(job["layer"]), kind="power", text="the printer was switched off during the run")
            return
        seconds_each = int(job["seconds"]) / max(1, layers) / self._settings.speed
        step = max(1, layers // REPORTS, round(LEAST_STEP_S / seconds_each) if seconds_each > 0 else layers)
        layer = 0
        _say(f"{batch}: prints {layers} layers")
        while layer < layers:
            if self._is_to_fault(batch, layer):
                self._fault(batch, layer, kind="film or tank", text="played by the training printer")
                return
            ahead = min(step, layers - layer, self._layers_to_fault(batch, layer))
            self._wait(seconds_each * ahead)
            layer += ahead
            left = round((layers - layer) * int(job["seconds"]) / layers)
            if not self._report(batch, layer, layers, left):
                return
        if self._tell_for_sure(f"batch/{batch}/end", {}) or self._is_over(batch):
            _say(f"{batch}: all {layers} layers are printed")
            self.done.append(batch)

    def _can_go_on(self, job: dict[str, Any]) -> bool:
        """Say whether this printer stands at the start of the run: a run that was interrupted is never resumed."""
        return int(job["layer"]) == 0

    def _is_over(self, batch: str) -> bool:
        """Say whether the house counts the batch as ended, which it may have done without our hearing of it."""
        job = self._house.ask("printer-job")
        return job is not None and (job["batch"] != batch or job["phase"] != "print")

    def _report(self, batch: str, layer: int, layers: int, seconds_left: int) -> bool:
        facts = {"layer": layer, "layers": layers, "seconds_left": seconds_left}
        return self._tell_for_sure(f"batch/{batch}/layer", facts)

    def _is_to_fault(self, batch: str, layer: int) -> bool:
        return batch == self._settings.fault_batch and layer >= self._settings.fault_layer

    def _layers_to_fault(self, batch: str, layer: int) -> int:
        return max(1, self._settings.fault_layer - layer) if batch == self._settings.fault_batch else 10**9

    def _fault(self, batch: str, layer: int, *, kind: str, text: str) -> None:
        facts = {"layer": layer, "kind": kind, "text": text}
        if self._tell_for_sure(f"batch/{batch}/fault", facts) or self._is_over(batch):
            _say(f"{batch}: fault at layer {layer}: {kind}")
            self.done.append(batch)

    def _tell_for_sure(self, path: str, facts: dict[str, Any]) -> bool:
        """Tell until somebody answers, over restarts of the house; True when it was taken."""
        while True:
            status = self._house.tell(path, facts)
            if status is not None:
                return status == 200
            self._wait(RETRY_S)

    def _wait(self, seconds: float) -> None:
        if self._stop.wait(seconds):
            raise Stopped


def _say(text: str) -> None:
    print(f"training printer: {text}", file=sys.stderr, flush=True)


def settings_from(arguments: list[str] | None) -> Settings:
    """Return what the command line asks for."""
    parser = argparse.ArgumentParser(prog="training_printer", description="A pretended printer for training.")
    parser.add_argument("--url", required=True, help="where the house answers, such as http://127.0.0.1:8000")
    parser.add_argument("--token-file", required=True, type=Path, help="file that holds the printer's token")
    parser.add_argument("--speed", type=float, default=200.0, help="how many times faster than a real printer")
    parser.add_argument("--profile-sha", default="", help="hash of the profile it says it uses; else the job's")
    parser.add_argument("--fault-batch", default="", help="batch on which to play a fault")
    parser.add_argument("--fault-layer", type=int, default=0, help="layer of the fault")
    parser.add_argument("--once", action="store_true", help="stop after one batch")
    given = parser.parse_args(arguments)
    if given.speed <= 0:
        parser.error("--speed must be more than 0")
    try:
        token = given.token_file.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as trouble:
        parser.error(f"--token-file cannot be read: {trouble}")
    return Settings(
        url=given.url,
        token=token,
        speed=given.speed,
        profile_sha256=given.profile_sha,
        fault_batch=given.fault_batch,
        fault_layer=given.fault_layer,
        once=given.once,
    )


def main(arguments: list[str] | None = None) -> int:
    """Work until stopped by a signal, or once; return 0."""
    stop = threading.Event()
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: stop.set())
    printer = TrainingPrinter(settings_from(arguments), stop)
    try:
        printer.work()
    except Stopped:
        _say("stopped")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
