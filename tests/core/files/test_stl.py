"""Binary STL of one unit: trimesh reads the same volume; files that lie about their length are refused."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from dosewright.ground.pure.errors import BadInput
from printing.core.layout.rafts import placed_in_frame
from printing.plates.files.stl import stl_bytes, stl_corners
from tests.core.layout.workloads import line, prism

UNIT = placed_in_frame(*prism(line(1)))
DATA = stl_bytes(UNIT)


def test_trimesh_reads_the_volume_that_was_written() -> None:
    mesh = trimesh.load_mesh(io.BytesIO(DATA), file_type="stl")
    assert mesh.is_volume
    assert mesh.volume == pytest.approx(UNIT.volume_mm3, rel=1e-6)


def test_our_reader_gives_the_corners_back() -> None:
    assert np.allclose(stl_corners(DATA), UNIT.vertices_mm[UNIT.faces], atol=1e-6)
    assert len(DATA) == 84 + 50 * len(UNIT.faces)
    assert stl_bytes(UNIT) == DATA


@pytest.mark.parametrize(
    "data",
    [
        b"",
        DATA[:83],
        DATA[:-1],
        DATA + b"x",
        DATA[:80] + (10**9).to_bytes(4, "little") + DATA[84:],
        DATA[:80] + bytes(4),
        DATA[:96] + np.array([np.nan], dtype="<f4").tobytes() + DATA[100:],
        b"solid text\nendsolid text\n".ljust(200),
    ],
)
def test_files_that_are_none_are_refused(data: bytes) -> None:
    with pytest.raises(BadInput):
        stl_corners(data)
