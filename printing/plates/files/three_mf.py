"""The plate file: 3MF with one object per distinct mesh, placed by transforms; equal plates give equal bytes.

Units are objects of type `model`, everything sacrificial is `solidsupport` and so outside the dose. Written by
the 3MF Core Specification 1.3 (open, 3MF Consortium; ISO/IEC 25422): package parts, relationships, millimetres.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from uuid import UUID, uuid5
from xml.sax.saxutils import quoteattr

from printing.core.layout.rafts import Solid
from printing.core.layout.solids import PlacedSolid, PlateSolids

NAMESPACE = UUID("5b1f7d0e-6c0f-5d43-9a54-2f3f0a9f1c77")
"""Root of the identifiers written into plate files; drawn once for this project, means nothing else."""

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
OWN_NAMES = "urn:dosewright:plate"
FIXED_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest date a ZIP entry can carry: the bytes must not depend on when they were written."""

MODEL_PART = "3D/3dmodel.model"
THUMBNAIL_PART = "Metadata/thumbnail.png"
CONTENT_TYPES_PART = "[Content_Types].xml"
RELATIONS_PART = "_rels/.rels"
RELATION_MODEL = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
RELATION_THUMBNAIL = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
TURNS = {0: (1, 0), 90: (0, 1), 180: (-1, 0), 270: (0, -1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateFacts:
    """What the plate file says about itself; ``plan_sha256`` is the hash of the plate's record."""

    batch: str
    printer: str
    formulation: str
    lot: str
    profile: str
    layer_um: int
    layers: int
    plan_sha256: str


def three_mf_bytes(solids: PlateSolids, facts: PlateFacts, *, thumbnail_png: bytes | None = None) -> bytes:
    """Return the plate file; the same plate gives the same bytes on every machine.

    Raises ValueError for a rotation that is not a multiple of 90 degrees.
    """
    parts: list[tuple[str, bytes]] = [
        (CONTENT_TYPES_PART, _content_types(thumbnail_png is not None).encode()),
        (RELATIONS_PART, _relations(thumbnail_png is not None).encode()),
        (MODEL_PART, "".join(_model(solids, facts)).encode()),
    ]
    if thumbnail_png is not None:
        parts.append((THUMBNAIL_PART, thumbnail_png))
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as package:
        for name, data in parts:
            package.writestr(_entry(name), data, compress_type=zipfile.ZIP_DEFLATED, compresslevel=6)
    return target.getvalue()


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=FIXED_DATE)
    entry.create_system = 3
    entry.external_attr = 0o644 << 16
    return entry


def _content_types(thumbnail: bool) -> str:
    png = '<Default Extension="png" ContentType="image/png"/>' if thumbnail else ""
    return (
        f'{XML}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
        f"{png}</Types>\n"
    )


def _relations(thumbnail: bool) -> str:
    picture = f'<Relationship Id="rel2" Target="/{THUMBNAIL_PART}" Type="{RELATION_THUMBNAIL}"/>' if thumbnail else ""
    return (
        f'{XML}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="rel1" Target="/{MODEL_PART}" Type="{RELATION_MODEL}"/>{picture}</Relationships>\n'
    )


def _model(solids: PlateSolids, facts: PlateFacts) -> Iterator[str]:
    yield f'{XML}<model unit="millimeter" xml:lang="en" xmlns="{CORE}" xmlns:p="{PRODUCTION}" xmlns:d="{OWN_NAMES}">\n'
    yield from (
        f' <metadata name={quoteattr(name)} type="xs:string">{_escaped(value)}</metadata>\n'
        for name, value in _metadata(facts)
    )
    yield " <resources>\n"
    kinds = _kinds(solids.items)
    ids = {key: place for place, key in enumerate(sorted(solids.meshes), start=1)}
    for key in sorted(solids.meshes):
        name = _uuid(facts, "object", key)
        yield f'  <object id="{ids[key]}" type="{kinds[key]}" p:UUID="{name}" name={quoteattr(key[:40])}>\n'
        yield from _mesh(solids.meshes[key])
        yield "  </object>\n"
    yield f' </resources>\n <build p:UUID="{_uuid(facts, "build", facts.batch)}">\n'
    for place, item in enumerate(solids.items):
        name = _uuid(facts, "item", f"{place} {item.part_number}")
        yield (
            f'  <item objectid="{ids[item.mesh]}" transform="{_transform(item)}" '
            f'partnumber={quoteattr(item.part_number)} p:UUID="{name}"/>\n'
        )
    yield " </build>\n</model>\n"


def _metadata(facts: PlateFacts) -> list[tuple[str, str]]:
    """Return name and value of each entry; only names of the specification go without a prefix."""
    return [
        ("Title", facts.batch),
        ("Application", "Dosewright"),
        ("d:batch", facts.batch),
        ("d:printer", facts.printer),
        ("d:formulation", facts.formulation),
        ("d:lot", facts.lot),
        ("d:profile", facts.profile),
        ("d:layer_um", str(facts.layer_um)),
        ("d:layers", str(facts.layers)),
        ("d:plan_sha256", facts.plan_sha256),
    ]


def _kinds(items: tuple[PlacedSolid, ...]) -> Mapping[str, str]:
    kinds: dict[str, str] = {}
    for item in items:
        if kinds.setdefault(item.mesh, item.kind) != item.kind:
            raise ValueError("one mesh cannot be both a unit and its support")
    return kinds


def _mesh(solid: Solid) -> Iterator[str]:
    yield "   <mesh>\n    <vertices>\n"
    for x, y, z in solid.vertices_mm.tolist():
        yield f'     <vertex x="{_number(x)}" y="{_number(y)}" z="{_number(z)}"/>\n'
    yield "    </vertices>\n    <triangles>\n"
    for a, b, c in solid.faces.tolist():
        yield f'     <triangle v1="{a}" v2="{b}" v3="{c}"/>\n'
    yield "    </triangles>\n   </mesh>\n"


def _number(value: float) -> str:
    """Return millimetres with at most six decimals, without exponent or trailing zeros."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _transform(item: PlacedSolid) -> str:
    """Return the row-vector matrix of 3MF: turned counter-clockwise about z, then moved."""
    if item.rotation_deg % 360 not in TURNS:
        raise ValueError("a plate file holds quarter turns only")
    cos, sin = TURNS[item.rotation_deg % 360]
    move = " ".join(_number(value / 1000) for value in (item.x_um, item.y_um, item.z_um))
    return f"{cos} {sin} 0 {-sin} {cos} 0 0 0 1 {move}".replace("-0 ", "0 ")


def _uuid(facts: PlateFacts, kind: str, name: str) -> UUID:
    return uuid5(NAMESPACE, f"{facts.plan_sha256} {kind} {name}")


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
