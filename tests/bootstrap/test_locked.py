"""The lock files and the reader that the bootstrap has for them."""

from __future__ import annotations

import ast
import re
import runpy
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement

from dosewright.roof import bootstrap, locked

PROJECT = Path(__file__).parents[2]
LISTS = (locked.RUN, locked.DEV)
MARKERS = sorted(
    {marker for name in LISTS for _, _, marker in locked.PIN.findall((PROJECT / name).read_text()) if marker}
)


def requirements(listing: str) -> list[Requirement]:
    """Read a lock file by a reader that is not ours."""
    text = (PROJECT / listing).read_text().replace("\\\n", " ")
    return [Requirement(line.split("--hash", maxsplit=1)[0]) for line in text.splitlines() if line.strip()]


@pytest.mark.parametrize("listing", LISTS)
def test_pins_are_those_that_the_packaging_library_reads(listing: str) -> None:
    here = {
        locked.canonical(one.name): str(one.specifier).removeprefix("==")
        for one in requirements(listing)
        if one.marker is None or one.marker.evaluate()
    }
    assert len(here) > 50
    assert locked.pins(listing) == here


@pytest.mark.parametrize("marker", MARKERS)
@pytest.mark.parametrize("version", ["3.11.2", "3.11.3", "3.12.0", "3.13.1"])
@pytest.mark.parametrize("platform", ["linux", "win32"])
def test_markers_mean_what_the_packaging_library_says(
    marker: str, version: str, platform: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    facts = locked.marker_facts() | {"python_full_version": version, "sys_platform": platform}
    monkeypatch.setattr(locked, "marker_facts", lambda: facts)
    assert locked.applies(marker) == Marker(marker).evaluate({**facts})


@pytest.mark.parametrize("marker", ["extra == 'x'", "(python_version < '3.12')", "python_version ~= '3.11'", "x"])
def test_a_marker_that_is_not_understood_stops_the_set_up(marker: str) -> None:
    with pytest.raises(SystemExit) as leaving:
        locked.applies(marker)
    assert leaving.value.code == locked.SETUP_MISSING


@pytest.mark.parametrize("listing", LISTS)
def test_every_requirement_is_pinned_and_hashed_and_no_host_is_named(listing: str) -> None:
    text = (PROJECT / listing).read_text()
    heads = [line for line in text.splitlines() if not line.startswith("    --hash=sha256:")]
    assert all(locked.PIN.fullmatch(line) and line.endswith("\\") for line in heads)
    assert len(heads) == len(locked.PIN.findall(text))
    assert not re.search(r"://|index-url|find-links|trusted-host", text)


def test_development_list_holds_the_run_list_in_the_same_versions() -> None:
    run, dev = ({(one.name, str(one.specifier), str(one.marker)) for one in requirements(name)} for name in LISTS)
    assert run < dev


def test_locks_satisfy_what_the_project_asks_for() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text())
    asked = project["project"]["dependencies"] + project["dependency-groups"]["dev"]
    pins = locked.pins(locked.DEV)
    for one in map(Requirement, asked):
        assert one.specifier.contains(pins[locked.canonical(one.name)]), one
    assert set(locked.direct_names(locked.RUN)) <= set(locked.pins(locked.RUN))
    assert set(locked.direct_names(locked.DEV)) <= set(pins)


# ---- old Pythons


@pytest.mark.parametrize("name", ["manage.py", "dosewright/roof/bootstrap.py", "dosewright/roof/locked.py"])
def test_syntax_is_one_that_old_pythons_read(name: str) -> None:
    tree = ast.parse((PROJECT / name).read_text(encoding="ascii"), feature_version=(3, 4))
    newer = (ast.AnnAssign, ast.JoinedStr, ast.NamedExpr, ast.Nonlocal, ast.AsyncFunctionDef)
    assert not [node for node in ast.walk(tree) if isinstance(node, newer)]
    displays = [node for node in ast.walk(tree) if isinstance(node, (ast.List, ast.Tuple, ast.Set))]
    assert not [node for node in displays if any(isinstance(one, ast.Starred) for one in node.elts)]
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert functions
    assert not [one.name for one in functions if one.returns or one.args.kwonlyargs]


@pytest.mark.parametrize("version", [(2, 7), (3, 10), (3, 14), (4, 0)])
def test_other_versions_are_turned_away_in_one_line(version: tuple[int, int]) -> None:
    pretend = (
        "import runpy, sys\n"
        f"sys.version_info = {(*version, 0, 'final', 0)!r}; sys.argv = ['manage.py', 'demo']\n"
        "runpy.run_path('manage.py', run_name='__main__')"
    )
    done = subprocess.run([sys.executable, "-c", pretend], cwd=PROJECT, capture_output=True, text=True, check=False)
    assert done.returncode == bootstrap.locked.SETUP_MISSING
    assert done.stdout == ""
    assert re.fullmatch(r"dosewright: needs Python 3\.11 to 3\.13, this is .*\n", done.stderr)


@pytest.mark.parametrize("name", ["bootstrap", "locked"])
def test_only_the_standard_library_is_imported(name: str) -> None:
    tree = ast.parse((PROJECT / "dosewright" / "roof" / f"{name}.py").read_text())
    modules = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    modules |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    outside = {one.split(".")[0] for one in modules} - set(sys.stdlib_module_names)
    assert outside <= {"dosewright"}


def test_manage_is_found_from_any_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [entry for entry in sys.path if entry not in ("", str(PROJECT))])
    assert "main" in runpy.run_path(str(PROJECT / "manage.py"))
    assert sys.path[0] == str(PROJECT)
