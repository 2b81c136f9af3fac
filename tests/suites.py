"""Says which suites of the tests could not run here and, under --all, fails when one did not run whole.

A suite is a folder of `tests` that needs programs of the distribution; all else needs Python only.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.programs import find_program

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Suite:
    """One folder of tests, the programs it needs, each with the Debian package that brings it."""

    name: str
    needs: dict[str, str]

    @property
    def missing(self) -> list[str]:
        """Programs that are not on this machine."""
        return [program for program in self.needs if find_program(program) is None]

    @property
    def remedy(self) -> str:
        """The command that brings what is missing."""
        return "apt-get install " + " ".join(dict.fromkeys(self.needs[program] for program in self.missing))


SUITES = (
    Suite(name="services", needs={"redis-server": "redis-server", "postgres": "postgresql"}),
    Suite(name="flows", needs={"pdftoppm": "poppler-utils"}),
    Suite(name="fhir", needs={"npm": "npm"}),
    Suite(name="browser", needs={"chromium": "chromium"}),
)


class Ledger:
    """Counts what ran and what was skipped, and closes the run with what is owed."""

    def __init__(self, *, everything: bool) -> None:
        self.everything = everything
        self.ran: Counter[str] = Counter()
        self.skipped: list[str] = []

    def pytest_ignore_collect(self, collection_path: Path) -> bool | None:
        """Leave a suite out whose programs are not here."""
        missing = any(collection_path == HERE / suite.name and suite.missing for suite in SUITES)
        return True if missing else None

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Note a whole file that was skipped."""
        if report.skipped:
            self.skipped.append(report.nodeid)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note a test that ran or was skipped; an expected failure is neither."""
        if report.skipped and not hasattr(report, "wasxfail"):
            self.skipped.append(report.nodeid)
        elif report.when == "call":
            self.ran[suite_of(report.nodeid)] += 1

    def owed(self) -> list[str]:
        """Return a line for each suite that was not run and, when all is asked for, each test."""
        lines = [
            f"not run: {suite.name} (no {', '.join(suite.missing)}); {suite.remedy}"
            for suite in SUITES
            if suite.missing
        ]
        if self.everything:
            lines += [f"not run: {suite.name} (no test of it was run)" for suite in SUITES if self.is_empty(suite)]
            lines += [f"not run: {nodeid} (skipped)" for nodeid in self.skipped]
        return lines

    def is_empty(self, suite: Suite) -> bool:
        """Tell whether a suite that could run did not."""
        return not suite.missing and not self.ran[suite.name]

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Fail a run that was to be whole and is not."""
        if self.everything and self.owed() and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_unconfigure(self) -> None:
        """Write the closing lines, below pytest's own."""
        for line in self.owed():
            print(line)
        if self.everything and self.owed():
            print("failed: --all asks for every suite, and something was not run")


ONE_HOME = ("browser", "flows")
"""Folders whose files share a home that takes long to build: one process runs all of them, and builds it once."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Share a whole run file by file, but keep the folders of `ONE_HOME` together."""
    from xdist.scheduler import LoadFileScheduling

    class ByHome(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            folder = suite_of(nodeid)
            return folder if folder in ONE_HOME else str(super()._split_scope(nodeid))

    return ByHome(config, log) if config.getoption("dist") == "loadfile" else None


def suite_of(nodeid: str) -> str:
    """Return the folder of `tests` that a test stands in."""
    parts = nodeid.split("::", maxsplit=1)[0].split("/")
    return parts[1] if parts[0] == "tests" and len(parts) > 2 else ""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option of the `test` command."""
    parser.getgroup("dosewright").addoption(
        "--all", action="store_true", help="fail when a suite cannot run here or a test is skipped"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Start the ledger of this run."""
    config.pluginmanager.register(Ledger(everything=config.getoption("--all")), "dosewright-ledger")
