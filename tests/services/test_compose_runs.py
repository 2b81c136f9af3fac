"""The commands of compose.yaml, run as they stand against a PostgreSQL and a Redis of the tests' own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest
from psycopg import errors

from tests.bootstrap import compose
from tests.services.servers import Servers, free_port

BIN = Path(sys.executable).parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Composed:
    """The services of compose.yaml with this run's addresses in place of the containers'."""

    services: dict[str, dict[str, Any]]
    servers: Servers
    home: Path
    port: int

    def variables(self, name: str) -> dict[str, str]:
        """Return the environment of a service."""
        url = self.servers.owner_url if name == "migrate" else self.servers.app_url
        here = {"DOSEWRIGHT_DATABASE_URL": url, "DOSEWRIGHT_REDIS_URL": self.servers.redis_url}
        image = {"DOSEWRIGHT_BOOTSTRAP": "off", "DOSEWRIGHT_HOME": str(self.home), "PATH": os.environ["PATH"]}
        return self.services[name]["environment"] | here | image

    def command(self, name: str) -> list[str]:
        """Return the command of a service, with a port, files and programs of this run."""
        program, *options = self.services[name]["command"]
        places = {"0.0.0.0:8000": f"127.0.0.1:{self.port}", "/tmp/": f"{self.home}/"}
        for place, here in places.items():
            options = [option.replace(place, here) for option in options]
        return [sys.executable if program == "python3" else str(BIN / program), *options]

    @contextmanager
    def running(self, name: str) -> Iterator[subprocess.Popen[bytes]]:
        """Run a service beside the test; it is ended with it."""
        with (self.home / f"{name}.log").open("wb") as log:
            process = subprocess.Popen(
                self.command(name), cwd=compose.PROJECT, env=self.variables(name), stdout=log, stderr=log
            )
        try:
            yield process
        finally:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def log(self, name: str) -> str:
        """Return what a service wrote."""
        return (self.home / f"{name}.log").read_text(errors="replace")


@pytest.fixture(scope="module")
def composed(servers: Servers, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Composed]:
    """Migrate as the owner, then start web, worker and beat as the app role."""
    services = compose.read(compose.example())["services"]
    home = tmp_path_factory.mktemp("home")
    site = Composed(services=services, servers=servers, home=home, port=free_port())
    done = subprocess.run(
        site.command("migrate"), cwd=compose.PROJECT, env=site.variables("migrate"),
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    with ExitStack() as stack:
        for name in ("web", "worker", "beat"):
            stack.enter_context(site.running(name))
        yield site


def readiness(site: Composed) -> dict[str, str]:
    """Return what the site says of itself, as its health check asks."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{site.port}/health/ready", timeout=5) as answer:
            return dict(json.load(answer))
    except urllib.error.HTTPError as error:
        return dict(json.loads(error.read()))
    except OSError as error:
        return {"status": str(error)}


def test_the_site_says_that_it_is_ready(composed: Composed) -> None:
    end = time.monotonic() + 30
    while readiness(composed)["status"] != "ready" and time.monotonic() < end:
        time.sleep(0.2)
    assert readiness(composed)["status"] == "ready", (readiness(composed), composed.log("web"))


def test_the_worker_answers_its_health_check(composed: Composed) -> None:
    host = os.uname().nodename
    ask = [str(BIN / "celery"), "--app", "dosewright.roof.celery:app", "inspect", "ping", "--timeout", "3"]
    ask += ["--destination", f"worker@{host}"]
    end, code = time.monotonic() + 40, 1
    while code != 0 and time.monotonic() < end:
        done = subprocess.run(
            ask, cwd=compose.PROJECT, env=composed.variables("worker"), capture_output=True, text=True, check=False
        )
        code = done.returncode
    assert "pong" in done.stdout, composed.log("worker")


def test_the_sweep_goes_round(composed: Composed) -> None:
    process = int((composed.home / "beat.pid").read_text())
    os.kill(process, 0)
    assert "Traceback" not in composed.log("beat")


def test_the_app_role_can_alter_no_table_that_the_migration_made(composed: Composed) -> None:
    with psycopg.connect(composed.servers.app_url, autocommit=True) as app:
        found = app.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        tables = [name for (name,) in found]
        assert len(tables) > 20
        for table in tables:
            for statement in (f'ALTER TABLE "{table}" DISABLE TRIGGER USER', f'TRUNCATE "{table}" CASCADE'):
                with pytest.raises(errors.InsufficientPrivilege):
                    app.execute(statement)
