"""What the record costs: `python -m tests.bench [--quick] [--only NAME,NAME] [--write]` prints ratios of one run.

Ratios, not times, are held against the aims: both sides of each are measured in this run on this machine. ``--write``
keeps them in `docs/cost-of-the-record.md`. Nothing here is part of the ordinary tests, which hold counts of queries.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.services.servers import running_servers
from tests.services.stacks import ROOT, Stack, postgres_stack, sqlite_stack

WRITTEN = ROOT / "docs" / "cost-of-the-record.md"
PART = 15
"""Orders that are posted before the next path has its turn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of the run, what it is to be, and whether it is."""

    name: str
    found: str
    aim: str = ""
    met: bool | None = None

    def line(self) -> str:
        """Return the figure as a row of a table."""
        verdict = {True: "met", False: "MISSED", None: ""}[self.met]
        return f"| {self.name} | {self.found} | {self.aim} | {verdict} |"


@contextmanager
def a_home() -> Iterator[Stack]:
    """Yield a migrated home on SQLite that goes afterwards."""
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        yield sqlite_stack(Path(folder) / "home")


@contextmanager
def both_stacks() -> Iterator[list[Stack]]:
    """Yield a home on SQLite and one on PostgreSQL."""
    with running_servers() as servers, tempfile.TemporaryDirectory(prefix="bench-") as folder:
        (Path(folder) / "pg").mkdir()
        yield [sqlite_stack(Path(folder) / "lite"), postgres_stack(Path(folder) / "pg", servers)]


def inside(stack: Stack, *arguments: str, owner: bool = False) -> Any:
    """Run a measurement in a process of its own."""
    return json.loads(stack.python("-m", "tests.bench.inside", *arguments, timeout=3000, owner=owner))


def verification(quick: bool) -> Iterator[Figure]:
    """Entries verified a second, and whether four times as many take four times as long."""
    counts = [1000, 4000] if quick else [5000, 20000]
    with a_home() as stack:
        few, many = inside(stack, "verify", *map(str, counts))
    yield Figure(
        name=f"entries verified a second, {counts[1]} entries with a row each, SQLite",
        found=f"{many['per_s']:.0f} ({many['per_busy_s']:.0f} a second of the process's own time)",
        aim="at least 5000 of its own time",
        met=many["per_busy_s"] >= 5000,
    )
    yield Figure(name="the same offline from an export", found=f"{many['offline_per_s']:.0f}")
    ratio = many["per_busy_s"] / few["per_busy_s"]
    yield Figure(name="rate at four times the length", found=f"{ratio:.2f}", aim="about 1 (linear)", met=ratio > 0.8)


def actions(quick: bool) -> Iterator[Figure]:
    """Actions a second with 1, 4 and 8 clients at one chain on both databases."""
    total = 80 if quick else 400
    with both_stacks() as stacks:
        for stack in stacks:
            inside(stack, "found")
            rates = {clients: _acted(stack, clients, total) for clients in (1, 4, 8)}
            told = ", ".join(f"{clients}: {rate:.0f}" for clients, rate in rates.items())
            yield Figure(name=f"actions a second by clients, {stack.name}", found=told)


def _acted(stack: Stack, clients: int, total: int) -> float:
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        command = [sys.executable, "-m", "tests.bench.acting", str(total // clients)]
        running = [
            subprocess.Popen(
                [*command, f"c{number}", folder], cwd=ROOT, env=stack.env, stdout=subprocess.PIPE, text=True
            )
            for number in range(clients)
        ]
        while len(list(Path(folder).glob("ready-*"))) < clients:
            assert all(one.poll() is None for one in running), "a client ended before it began"
            time.sleep(0.02)
        (Path(folder) / "go").touch()
        times = [tuple(map(float, one.communicate(timeout=600)[0].split())) for one in running]
    return (total // clients) * clients / (max(end for _, end in times) - min(begun for begun, _ in times))


def pages(quick: bool) -> Iterator[Figure]:
    """Every page at many orders against few."""
    few, many = (20, 200) if quick else (100, 10000)
    with a_home() as stack:
        found = inside(stack, "pages", str(few), str(many))
    slowest = max(found, key=lambda one: one["many_ms"] / one["few_ms"])
    most = max(found, key=lambda one: one["queries"])
    ratio = slowest["many_ms"] / slowest["few_ms"]
    yield Figure(
        name=f"slowest of {len(found)} pages at {many} orders against {few}",
        found=f"{ratio:.2f} ({slowest['page'].split('/RX')[0]} by {slowest['who']}: {slowest['few_ms']:.0f} ms, "
        f"{slowest['many_ms']:.0f} ms)",
        aim="at most 3",
        met=ratio <= 3,
    )
    yield Figure(
        name=f"most queries of a page at {many} orders", found=str(most["queries"]), aim="at most 30",
        met=most["queries"] <= 30,
    )  # fmt: skip


def intake(quick: bool) -> Iterator[Figure]:
    """Orders taken over REST with idempotency against a bare insert on the same server."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    from tests.flows.living import living
    from tests.flows.ordering import order_for, set_up_substance

    count = 30 if quick else 300
    with a_home() as stack, tempfile.TemporaryDirectory(prefix="bench-") as folder:
        inside(stack, "bare")
        with living(stack, Path(folder) / "logs", (), application="tests.bench.bare:application") as home:
            set_up_substance(home)
            token = home.mira.post("token", {"name": "intake", "days": 1})["token"]
            orders = [json.dumps({"order": order_for(home, f"BENCH-{number}")}).encode() for number in range(count + 1)]
            # The first one takes the patient on, whom the bare order looks up.
            _posted(home.base_url, token, "order", orders[:1])
            times: dict[str, float] = {"bare": 0.0, "bare-order": 0.0, "order": 0.0}
            parts = [orders[begin : begin + PART] for begin in range(1, count + 1, PART)]
            for number, part in enumerate(parts):
                # In turns, each path first as often as last: what else the machine does meets all of them.
                for path in sorted(times, reverse=bool(number % 2)):
                    times[path] += _posted(home.base_url, token, path, part)
    rates = {path: count / taken for path, taken in times.items()}
    ratio = rates["order"] / rates["bare-order"]
    yield Figure(
        name="orders a second over REST with idempotency and record, 4 clients, against a bare insert of the same "
        "order (order, steps, dose lines by serializers)",
        found=f"{rates['order']:.0f} against {rates['bare-order']:.0f}: {ratio:.2f}",
        aim="at least 0.5",
        met=ratio >= 0.5,
    )
    yield Figure(
        name="the same against a bare insert of one row that holds the body as text",
        found=f"{rates['order']:.0f} against {rates['bare']:.0f}: {rates['order'] / rates['bare']:.2f}",
    )


def _posted(base_url: str, token: str, path: str, bodies: list[bytes]) -> float:
    """Return how long 4 clients take to post the bodies [s]."""
    from tests.flows.client import by_token

    program = by_token(base_url, token)

    def one(body: bytes) -> None:
        program.post_bytes(path, body)

    begun = time.perf_counter()
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(one, bodies))
    return time.perf_counter() - begun


def workers(quick: bool) -> Iterator[Figure]:
    """Two workers against one on planning and on writing plate files."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    from dosewright.roof.clock import MARK, set_demo_offset
    from tests.bench.workers import offset_of_the_cast, timed

    sites, orders = (2, 1) if quick else (4, 5)
    with both_stacks() as stacks:
        for stack in stacks:
            home = Path(stack.env["DOSEWRIGHT_HOME"])
            (home / MARK).write_text("a home of the tests; everything in it is invented\n", encoding="utf-8")
            set_demo_offset(home, offset_of_the_cast())
            codes = inside(stack, "sites", str(4 * sites), str(orders))
            groups = [codes[begin : begin + sites] for begin in range(0, 4 * sites, sites)]

            def ask(kind: str, group: list[str], stack: Stack = stack) -> None:
                inside(stack, "ask", kind, *group)

            for one in timed(stack, home / "bench", ask, groups):
                name = {"plan": f"plans of {3 * orders} dose lines", "deliver": "plate files and plate maps"}[one.kind]
                yield Figure(
                    name=f"two workers against one, {one.pieces} {name}, {stack.name}",
                    found=f"{one.ratio:.2f} ({one.one_s:.1f} s, {one.two_s:.1f} s)",
                    aim="at least 1.7",
                    met=one.ratio >= 1.7,
                )


MEASURED: dict[str, Callable[[bool], Iterator[Figure]]] = {
    "intake": intake,
    "actions": actions,
    "verification": verification,
    "pages": pages,
    "workers": workers,
}


def described() -> str:
    """Return what kind of machine this is and how busy it was, without its name."""
    load = os.getloadavg()[0]
    system = f"{platform.system()} {platform.machine()}, Python {platform.python_version()}"
    return f"{os.cpu_count()} cores, {system}, load {load:.1f} when the run began"


def _names(text: str) -> list[str]:
    names = text.split(",")
    if unknown := sorted(set(names) - set(MEASURED)):
        raise argparse.ArgumentTypeError(f"{', '.join(unknown)}: some of {', '.join(MEASURED)}")
    return names


def main(arguments: list[str]) -> int:
    """Measure, print, and keep what was found where it is asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    parser.add_argument("--quick", action="store_true", help="small numbers, to see that it works")
    parser.add_argument("--only", type=_names, default=list(MEASURED), help=f"some of {', '.join(MEASURED)}")
    parser.add_argument("--write", action="store_true", help=f"keep the table in {WRITTEN.relative_to(ROOT)}")
    asked = parser.parse_args(arguments)
    lines = [
        f"Measured on {datetime.now(UTC):%Y-%m-%d}: {described()}.",
        "",
        "| figure | found | aim | |",
        "|---|---|---|---|",
    ]
    print("\n".join(lines))
    for name, measure in MEASURED.items():
        if name in asked.only:
            for figure in measure(asked.quick):
                lines.append(figure.line())
                print(lines[-1], flush=True)
    if asked.write:
        head = (
            "# What the record costs\n\nWritten by `python -m tests.bench --write`; sides of a ratio are of one run.\n"
        )
        WRITTEN.parent.mkdir(exist_ok=True)
        WRITTEN.write_text("\n".join([head, *lines, ""]), encoding="utf-8")
    return 1 if any("MISSED" in line for line in lines) else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
