"""compose.yaml against the code that it starts."""

from __future__ import annotations

import re
import subprocess
import sys
from typing import Any

import pytest

from tests.bootstrap import compose

SERVICES: dict[str, dict[str, Any]] = compose.read(compose.example())["services"]
OURS = {name: service for name, service in SERVICES.items() if "build" in service}
TEXT = (compose.PROJECT / "compose.yaml").read_text()
CONTAINERFILE = (compose.PROJECT / "Containerfile").read_text()


def run_python(code: str, *arguments: str, variables: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """Run Python in the project with only these variables."""
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=compose.PROJECT, env=variables, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_the_services_are_those_of_the_design() -> None:
    assert set(SERVICES) == {"migrate", "web", "worker", "beat", "redis", "database"}
    assert set(OURS) == {"migrate", "web", "worker", "beat"}


def test_every_variable_is_in_the_example_and_required() -> None:
    used = compose.VARIABLE.findall(TEXT)
    assert {name for name, _ in used if name} == set(compose.example())
    assert all(required for name, required in used if name)


def test_outside_images_are_short_official_names() -> None:
    assert {service["image"] for service in SERVICES.values() if "build" not in service} == {"redis:7", "postgres:15"}


def test_the_image_holds_the_locked_packages_and_never_installs_more() -> None:
    assert re.findall(r"^FROM (.*)$", CONTAINERFILE, re.M) == ["python:3.11-slim"]
    assert "--require-hashes --no-deps --only-binary :all: -r requirements.lock" in CONTAINERFILE
    assert "DOSEWRIGHT_BOOTSTRAP=off" in CONTAINERFILE
    assert re.search(r"^USER (?!root)\w+$", CONTAINERFILE, re.M)


def test_all_that_stay_have_a_health_check_and_all_volumes_are_declared() -> None:
    assert {name for name, service in SERVICES.items() if "healthcheck" not in service} == {"migrate"}
    named = {
        volume.split(":")[0]
        for service in SERVICES.values()
        for volume in service.get("volumes", [])
        if not volume.startswith("./")
    }
    assert named == set(compose.read(compose.example())["volumes"])
    files = [volume.split(":")[0] for volume in SERVICES["database"]["volumes"] if volume.startswith("./")]
    assert files == ["./compose/roles.sql"]
    assert (compose.PROJECT / files[0]).is_file()


def test_only_the_migration_and_the_database_know_the_owner() -> None:
    secret = compose.example()["DATABASE_OWNER_PASSWORD"]
    knowing = {name for name, service in SERVICES.items() if secret in str(service)}
    assert knowing == {"migrate", "database"}
    for name in ("web", "worker", "beat"):
        assert SERVICES[name]["environment"]["DOSEWRIGHT_DATABASE_URL"].startswith("postgresql://dosewright_app:")
        assert SERVICES[name]["depends_on"]["migrate"] == {"condition": "service_completed_successfully"}


def test_only_the_web_is_reachable_and_only_from_this_machine() -> None:
    ports = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}
    assert ports == {"web": ["127.0.0.1:8000:8000"]}


@pytest.mark.parametrize("name", sorted(OURS))
def test_settings_know_every_variable(name: str, tmp_path: Any) -> None:
    variables = SERVICES[name]["environment"] | {"DOSEWRIGHT_HOME": str(tmp_path)}
    done = run_python(
        "import dosewright.roof.settings as s; print(s.DATABASES['default']['USER'])", variables=variables
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == ("dosewright_owner" if name == "migrate" else "dosewright_app")
    wrong = run_python("import dosewright.roof.settings", variables=variables | {"DOSEWRIGHT_TYPO": "1"})
    assert wrong.returncode != 0


def test_the_web_command_is_one_that_gunicorn_takes() -> None:
    from gunicorn.config import Config

    program, target, *options = SERVICES["web"]["command"]
    assert (program, target) == ("gunicorn", "dosewright.roof.wsgi:application")
    taken = Config().parser().parse_args(options)
    assert (taken.worker_class, taken.bind, taken.args) == ("gthread", ["0.0.0.0:8000"], [])


@pytest.mark.parametrize("name", ["worker", "beat"])
def test_the_celery_commands_are_ones_that_celery_takes(name: str) -> None:
    from celery.bin.celery import celery

    program, option, target, command, *options = SERVICES[name]["command"]
    assert (program, option, target) == ("celery", "--app", "dosewright.roof.celery:app")
    parser = celery.commands[command]
    context = parser.context_class(parser, ignore_unknown_options=False)
    _, left, _ = parser.make_parser(context).parse_args(list(options))
    assert left == []


def test_the_migration_command_is_djangos() -> None:
    assert SERVICES["migrate"]["command"] == ["python3", "manage.py", "migrate", "--no-input"]
