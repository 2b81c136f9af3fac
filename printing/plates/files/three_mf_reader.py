"""Reading a plate file back to compare it with what was meant; standard library only, with caps on everything."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.errors import BadInput, Refusal
from printing.plates.files.three_mf import CORE, MODEL_PART

MAX_FILE_BYTES = 64 * 2**20
MAX_PART_BYTES = 256 * 2**20
MAX_PARTS = 16
MAX_ITEMS = 200_000
MAX_POINTS = 20_000_000
READ_STEP = 2**20
_NUMBER = re.compile(r"[+-]?\d{1,12}(\.\d{1,15})?([eE][+-]?\d{1,2})?")
"""Caps far above any plate of ours; they stop a small file that unpacks to gigabytes."""

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadItem:
    """One build item as read: part number, object type, enclosed volume, extent on the plate, matrix (4 x 3)."""

    part_number: str
    kind: str
    volume_mm3: float
    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]
    transform: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadPlate:
    """A plate file as read: its metadata and its items in order."""

    metadata: Mapping[str, str]
    items: tuple[ReadItem, ...]


def read_back(data: bytes) -> ReadPlate:
    """Return what a plate file holds.

    Raises BadInput when it is too large, not a ZIP of the parts we write, not XML without a document type, or
    when an item or triangle points at nothing.
    """
    parser = _ModelParser()
    _parse(_model_part(data), parser)
    return ReadPlate(metadata=dict(parser.metadata), items=tuple(_items(parser)))


def _model_part(data: bytes) -> bytes:
    if len(data) > MAX_FILE_BYTES:
        raise _bad("larger than a plate file can be", str(len(data)), str(MAX_FILE_BYTES))
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            entries = package.infolist()
            names = [entry.filename for entry in entries]
            if len(entries) > MAX_PARTS or len(set(names)) != len(names) or MODEL_PART not in names:
                raise _bad("not the parts of a plate file", str(len(entries)), str(MAX_PARTS))
            if sum(entry.file_size for entry in entries) > MAX_PART_BYTES:
                raise _bad("unpacks to more than a plate file can hold", None, str(MAX_PART_BYTES))
            if any(entry.flag_bits & 1 for entry in entries):
                raise _bad("encrypted", None, None)
            return _unpacked(package)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, ValueError) as problem:
        raise _bad(f"not a readable ZIP: {problem}", None, None) from problem


def _unpacked(package: zipfile.ZipFile) -> bytes:
    """Return the model part, counting what really comes out (the declared size may lie)."""
    chunks, total = [], 0
    with package.open(MODEL_PART) as part:
        while chunk := part.read(READ_STEP):
            total += len(chunk)
            if total > MAX_PART_BYTES:
                raise _bad("unpacks to more than a plate file can hold", None, str(MAX_PART_BYTES))
            chunks.append(chunk)
    return b"".join(chunks)


class _ModelParser:
    """Collects metadata, meshes and items from the events of the XML parser."""

    def __init__(self) -> None:
        self.metadata: list[tuple[str, str]] = []
        self.kinds: dict[int, str] = {}
        self.points: dict[int, list[tuple[float, float, float]]] = {}
        self.triangles: dict[int, list[tuple[int, int, int]]] = {}
        self.items: list[tuple[int, str, tuple[float, ...]]] = []
        self._object = -1
        self._entry: str | None = None
        self._text: list[str] = []
        self._points = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Take the start of an element (names come as 'namespace local')."""
        space, _, local = name.rpartition(" ")
        if space != CORE:
            return
        if local == "vertex":
            self._count()
            self.points[self._object].append(tuple(_float(attributes[axis]) for axis in "xyz"))  # type: ignore[arg-type]
        elif local == "triangle":
            self._count()
            self.triangles[self._object].append(tuple(int(attributes[v]) for v in ("v1", "v2", "v3")))  # type: ignore[arg-type]
        elif local == "object":
            self._object = int(attributes["id"])
            if self._object in self.kinds:
                raise _bad("an object number is used twice", str(self._object), None)
            self.kinds[self._object] = attributes.get("type", "model")
            self.points[self._object], self.triangles[self._object] = [], []
        elif local == "item":
            matrix = tuple(_float(one) for one in attributes.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split())
            if len(matrix) != 12 or len(self.items) >= MAX_ITEMS:
                raise _bad("an item without a whole transform, or too many items", str(len(self.items)), str(MAX_ITEMS))
            self.items.append((int(attributes["objectid"]), attributes.get("partnumber", ""), matrix))
        elif local == "metadata":
            self._entry, self._text = attributes["name"], []
        elif local in {"component", "components"}:
            raise _bad("objects made of other objects are not ours", None, None)

    def end(self, name: str) -> None:
        """Take the end of an element."""
        if name == f"{CORE} metadata" and self._entry is not None:
            self.metadata.append((self._entry, "".join(self._text)))
            self._entry = None

    def characters(self, text: str) -> None:
        """Take text, which only metadata have."""
        if self._entry is not None:
            self._text.append(text)

    def _count(self) -> None:
        self._points += 1
        if self._points > MAX_POINTS:
            raise _bad("more vertices and triangles than a plate file can hold", None, str(MAX_POINTS))


def _parse(text: bytes, parser: _ModelParser) -> None:
    xml = expat.ParserCreate(namespace_separator=" ")
    xml.StartElementHandler, xml.EndElementHandler = parser.start, parser.end
    xml.CharacterDataHandler = parser.characters
    xml.StartDoctypeDeclHandler = _no_doctype
    try:
        xml.Parse(text, True)
    except (expat.ExpatError, KeyError, ValueError) as problem:
        raise _bad(f"not the XML of a plate: {problem}", None, None) from problem


def _no_doctype(*_: object) -> None:
    raise _bad("a document type has no place in a plate file", None, None)


def _items(parser: _ModelParser) -> list[ReadItem]:
    volumes, points = {}, {}
    for number, triangles in parser.triangles.items():
        corners = np.array(parser.points[number], dtype=np.float64).reshape(-1, 3)
        faces = np.array(triangles, dtype=np.int64).reshape(-1, 3)
        if not len(faces) or faces.min() < 0 or faces.max() >= len(corners):
            raise _bad("an object without triangles, or a triangle of points that are not there", str(number), None)
        a, b, c = (corners[faces[:, k]] for k in range(3))
        volumes[number] = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)
        points[number] = corners
    found = []
    for number, part_number, matrix in parser.items:
        if number not in points:
            raise _bad("an item of an object that is not there", str(number), None)
        grid = np.array(matrix).reshape(4, 3)
        placed = points[number] @ grid[:3] + grid[3]
        scale = float(np.linalg.det(grid[:3]))
        found.append(
            ReadItem(
                part_number=part_number,
                kind=parser.kinds[number],
                volume_mm3=volumes[number] * scale,
                low_mm=_triple(placed.min(axis=0)),
                high_mm=_triple(placed.max(axis=0)),
                transform=matrix,
            )
        )
    return found


def _float(text: str) -> float:
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"{text[:20]!r} is no plain number")
    return float(text)


def _triple(values: Points) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _bad(message: str, value: str | None, limit: str | None) -> BadInput:
    return BadInput(Refusal(field="plate file", message=message, value=value, limit=limit, rule="plate-file"))
