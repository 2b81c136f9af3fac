"""The plate map: every unit where it stands, every zone named, no inline style, real links, safe text."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree

import pytest

from printing.core.layout.plan import make_plan
from printing.core.layout.record import plan_record
from printing.plates.files.figures import Circle, Pill, Polygon, Stroke, Word
from printing.plates.files.plate_map import MapLabels, plate_map_figures, plate_map_svg
from tests.core.layout.workloads import line, request

LINES = (line(1, count=10), line(2, outline="stadium", footprint_um=(12_000, 5_000)), line(3, count=170))
PLATES: list[dict[str, Any]] = plan_record(make_plan(request(*LINES)))["plates"]
PLATE = PLATES[0]
LABELS = MapLabels(title="Plate map", description="What stands where")
SVG = "{http://www.w3.org/2000/svg}"


def address(code: str) -> str:
    return f"/zones/{code}/?from=map&x=1"


def tree(plate: dict[str, Any] = PLATE, labels: MapLabels = LABELS, **other: Any) -> ElementTree.Element:
    return ElementTree.fromstring(plate_map_svg(plate, labels, **other))


@pytest.mark.parametrize("plate", PLATES, ids=lambda plate: plate["batch"])
def test_every_unit_is_drawn_where_it_stands(plate: dict[str, Any]) -> None:
    drawing = plate_map_figures(plate, LABELS)
    drawn = [
        (round(one.x_mm * 1000), round(one.y_mm * 1000))
        for group in drawing.groups
        for one in group.figures
        if isinstance(one, Circle | Pill) and one.role in {"unit", "test-unit"}
    ]
    placed = [(unit["x_um"], unit["y_um"]) for zone in plate["zones"] for unit in zone["units"]]
    assert sorted(drawn) == sorted(placed)


def test_the_page_draws_the_same_circles_upside_down() -> None:
    circles = tree().iter(f"{SVG}circle")
    drawn = {
        (round(float(one.get("cx", "")) * 1000), round(-float(one.get("cy", "")) * 1000))
        for one in circles
        if one.get("class") in {"plate-map-unit", "plate-map-test-unit"}
    }
    wanted = {
        (unit["x_um"], unit["y_um"]) for zone in PLATE["zones"] if zone["outline"] == "round" for unit in zone["units"]
    }
    assert drawn == wanted


def test_turned_units_are_drawn_turned() -> None:
    pills = [one for group in plate_map_figures(PLATE, LABELS).groups for one in group.figures if isinstance(one, Pill)]
    angles = {unit["rotation_deg"] for zone in PLATE["zones"] if zone["outline"] == "stadium" for unit in zone["units"]}
    assert {pill.rotation_deg for pill in pills} == angles
    assert all((pill.width_mm, pill.depth_mm, pill.round_mm) == (12.0, 5.0, 2.5) for pill in pills)


def test_zones_are_named_numbered_and_counted() -> None:
    words = [
        one.text for group in plate_map_figures(PLATE, LABELS).groups for one in group.figures if isinstance(one, Word)
    ]
    for zone in PLATE["zones"]:
        assert words.count(zone["code"][3:]) == 2  # on its tab and in the list
        assert str(len(zone["units"])) in words
    captions = [title.text or "" for title in tree().iter(f"{SVG}title")]
    zones = sorted(PLATE["zones"], key=lambda zone: zone["removal"])
    assert captions[1:] == [
        f"{zone['removal']}: {zone['code']}, {len(zone['units'])} units" + (", test zone" if zone["test"] else "")
        for zone in zones
    ]


def test_only_test_zones_are_hatched_and_the_hatch_stays_inside() -> None:
    for zone, group in zip(
        sorted(PLATE["zones"], key=lambda one: one["removal"]), plate_map_figures(PLATE, LABELS).groups[1:], strict=True
    ):
        hatch = [one for one in group.figures if isinstance(one, Stroke) and one.role == "hatch"]
        assert bool(hatch) == (zone["test"] is not None)
        xs, ys = ([corner[axis] / 1000 for corner in zone["polygon_um"]] for axis in (0, 1))
        for stroke in hatch:
            for x, y in (stroke.from_mm, stroke.to_mm):
                assert min(xs) - 1e-9 <= x <= max(xs) + 1e-9
                assert min(ys) - 1e-9 <= y <= max(ys) + 1e-9


def test_nothing_is_drawn_outside_the_window() -> None:
    drawing = plate_map_figures(PLATE, LABELS)
    left, low, width, depth = drawing.window_mm
    for group in drawing.groups:
        for one in group.figures:
            spots = one.corners_mm if isinstance(one, Polygon) else ()
            if isinstance(one, Stroke):
                spots = (one.from_mm, one.to_mm)
            if isinstance(one, Circle | Pill | Word):
                spots = ((one.x_mm, one.y_mm),)
            assert all(left < x < left + width and low < y < low + depth for x, y in spots)


def test_no_style_no_script_and_links_only_when_asked() -> None:
    plain = plate_map_svg(PLATE, LABELS)
    linked = plate_map_svg(PLATE, LABELS, url=address)
    for text in (plain, linked):
        assert not re.search(r"style|script|\son\w+=", text, re.IGNORECASE)
    assert "<a " not in plain
    links = [one.get("href") for one in tree(url=address).iter(f"{SVG}a")]
    zones = sorted(PLATE["zones"], key=lambda zone: zone["removal"])
    assert links == [address(zone["code"]) for zone in zones]


def test_title_and_description_name_the_drawing() -> None:
    root = tree()
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert desc is not None
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert (title.text, desc.text) == ("Plate map", "What stands where")
    assert root.get("role") == "img"
    assert tree(url=address).get("role") == "group"  # an image would hide its links from a screen reader


def test_foreign_text_is_escaped() -> None:
    nasty = MapLabels(title="<b>&", description="</svg>", test='"><x>')
    assert (tree(labels=nasty).find(f"{SVG}title") or object()) is not None
    captions = [one.text or "" for one in tree(labels=nasty).iter(f"{SVG}title")]
    assert captions[0] == "<b>&"
    assert any('"><x>' in caption for caption in captions)


def test_parts_of_a_split_line_say_so() -> None:
    split = plan_record(make_plan(request(line(1, count=250, footprint_um=(10_000, 10_000)), tests=())))["plates"]
    captions = [one.text or "" for plate in split for one in tree(plate).iter(f"{SVG}title")]
    parts = split[0]["zones"][0]["part"][1]
    assert parts > 1
    for part in range(1, parts + 1):
        assert sum(f"part {part} of {parts}" in caption for caption in captions) == 1


def test_long_lists_run_in_columns() -> None:
    small = [line(n, count=1, spares=0, footprint_um=(2_000, 2_000), layers=20) for n in range(1, 41)]
    (plate,) = plan_record(make_plan(request(*small, tests=())))["plates"]
    drawing = plate_map_figures(plate, LABELS)
    headings = [one for one in drawing.groups[0].figures if isinstance(one, Word) and one.role == "heading"]
    assert len(headings) == 6
    assert min(one.y_mm for group in drawing.groups[1:] for one in group.figures if isinstance(one, Word)) > 0
