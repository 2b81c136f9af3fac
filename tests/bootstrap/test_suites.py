"""The `test` command and its closing lines: a suite that cannot run must never look like one that passed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from dosewright.roof.management.commands import test as command
from tests import suites

TESTS = Path(suites.__file__).parent
PROGRAMS = ("redis-server", "postgres", "chromium", "pdftoppm", "npm")
FOLDERS = ("core", "services", "flows", "fhir", "browser")
CONFIGURATION = """
[tool.pytest.ini_options]
testpaths = ["tests"]
pythonpath = ["."]
addopts = ["--import-mode=importlib"]
"""
PASSES = "def test_it():\n    assert True\n"
SKIPS = "import pytest\n\n\ndef test_it():\n    pytest.skip('not now')\n"
SKIPS_WHOLE = "import pytest\n\npytest.skip('not now', allow_module_level=True)\n"
FAILS = "def test_it():\n    assert False\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Project:
    """A project whose tests are one file a suite, on a machine with the programs that we say."""

    root: Path

    def write(self, suite: str, text: str) -> None:
        """Write the one test of a suite."""
        path = self.root / "tests" / suite / "test_one.py"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)

    def remove(self, program: str) -> None:
        """Take a program off the machine."""
        (self.root / "bin" / program).unlink()

    def run(self, *arguments: str) -> tuple[int, list[str]]:
        """Run pytest; return its exit code and the lines below its own closing line."""
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *arguments],
            cwd=self.root,
            env={"PATH": str(self.root / "bin"), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
            capture_output=True,
            text=True,
            check=False,
        )
        lines = done.stdout.splitlines()
        closing = max(place for place, line in enumerate(lines) if line.startswith("====="))
        return done.returncode, lines[closing + 1 :]


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """A project in which every suite runs and passes."""
    (tmp_path / "tests").mkdir()
    for name in ("__init__.py", "conftest.py", "suites.py", "programs.py"):
        shutil.copy(TESTS / name, tmp_path / "tests" / name)
    (tmp_path / "pyproject.toml").write_text(CONFIGURATION)
    (tmp_path / "bin").mkdir()
    for program in PROGRAMS:
        (tmp_path / "bin" / program).touch(0o755)
    made = Project(root=tmp_path)
    for suite in FOLDERS:
        made.write(suite, PASSES)
    return made


@pytest.mark.parametrize("arguments", [[], ["--all"]])
def test_a_whole_run_ends_with_pytests_own_line(project: Project, arguments: list[str]) -> None:
    assert project.run(*arguments) == (0, [])


def test_a_suite_without_its_program_is_left_out_and_named(project: Project) -> None:
    project.remove("chromium")
    project.write("browser", FAILS)
    assert project.run() == (0, ["not run: browser (no chromium); apt-get install chromium"])


def test_under_all_a_suite_without_its_program_fails(project: Project) -> None:
    project.remove("redis-server")
    code, lines = project.run("--all")
    assert code == 1
    assert lines[0] == "not run: services (no redis-server); apt-get install redis-server"
    assert lines[-1].startswith("failed: ")


@pytest.mark.parametrize("suite", FOLDERS)
@pytest.mark.parametrize("text", [SKIPS, SKIPS_WHOLE])
def test_under_all_nothing_may_be_skipped(project: Project, suite: str, text: str) -> None:
    project.write(suite, text)
    assert project.run() == (0, [])
    code, lines = project.run("--all")
    assert code == 1
    assert any(f"tests/{suite}/test_one.py" in line and line.endswith("(skipped)") for line in lines)


@pytest.mark.parametrize("text", [SKIPS, SKIPS_WHOLE])
def test_a_run_that_is_shared_among_processes_may_skip_no_more(project: Project, text: str) -> None:
    shared = ("-p", "xdist.plugin", "-n", "2")
    assert project.run("--all", *shared) == (0, [])
    project.write("services", text)
    code, lines = project.run("--all", *shared)
    assert code == 1
    assert any("tests/services/test_one.py" in line and line.endswith("(skipped)") for line in lines)


def test_under_all_a_suite_with_no_test_fails(project: Project) -> None:
    shutil.rmtree(project.root / "tests" / "browser")
    assert project.run() == (0, [])
    assert project.run("--all")[1][0] == "not run: browser (no test of it was run)"
    assert project.run("--all")[0] == 1


def test_a_failing_test_fails_the_run(project: Project) -> None:
    project.write("services", FAILS)
    assert project.run()[0] == 1
    assert project.run("--all")[0] == 1


def test_the_report_is_written_where_the_caller_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    there = os.path.join(os.getcwd(), "report.xml")
    assert command.with_absolute_report(["--junitxml=report.xml", "-k", "labels"]) == [
        f"--junitxml={there}", "-k", "labels",
    ]  # fmt: skip
    assert command.with_absolute_report(["-x", "--junitxml", "report.xml"]) == ["-x", "--junitxml", there]
