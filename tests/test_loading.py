"""What importing loads: nothing heavy with Django's set-up, no framework with the pure parts."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

HEAVY = {
    "fhir",
    "freetype",
    "lxml",
    "manifold3d",
    "mapbox_earcut",
    "matplotlib",
    "networkx",
    "pyhanko",
    "rdkit",
    "reportlab",
    "rtree",
    "scipy",
    "shapely",
    "trimesh",
    "zxingcpp",
}
SHELLS = {"django", "rest_framework", "celery", "redis", "psycopg", "knox", "csp", "drf_spectacular"}

SETUP = """
import importlib, pkgutil
import django
django.setup()
from django.conf import settings
importlib.import_module(settings.ROOT_URLCONF)
from django.urls import get_resolver
get_resolver().url_patterns
"""

PURE = (
    "dosewright.ground.pure",
    "printing.core",
    "prescriptions.states",
    "prescriptions.regimens",
    "prescriptions.calendar",
    "prescriptions.screening",
    "labels.states",
    "labels.content",
    "labels.wording",
)


def loaded_by(code: str) -> set[str]:
    """Return the names of all modules that a fresh interpreter has loaded after `code` and had not before."""
    text = f"import sys, json\nbefore = set(sys.modules)\n{code}\nprint(json.dumps(sorted(set(sys.modules) - before)))"
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "dosewright.roof.settings"}
    done = subprocess.run(
        [sys.executable, "-c", text], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(json.loads(done.stdout))


def tops(names: set[str]) -> set[str]:
    """Return the names of the packages that modules belong to."""
    return {name.partition(".")[0] for name in names}


def everything_below(package: str) -> str:
    """Return the code that imports `package` and all its modules."""
    return (
        f"import importlib, pkgutil\nfound = importlib.import_module({package!r})\n"
        f"for one in pkgutil.walk_packages(getattr(found, '__path__', []), {package!r} + '.'):\n"
        "    importlib.import_module(one.name)"
    )


def test_setting_django_up_with_all_urls_loads_nothing_heavy() -> None:
    loaded = loaded_by(SETUP)
    assert {"prescriptions.api", "dosewright.roof.urls"} <= loaded
    assert not tops(loaded) & HEAVY


def test_a_heavy_library_would_be_noticed() -> None:
    assert "shapely" in tops(loaded_by("import shapely")) & HEAVY


@pytest.mark.parametrize("package", PURE)
def test_pure_parts_load_no_framework(package: str) -> None:
    loaded = loaded_by(everything_below(package))
    assert package in loaded
    assert not tops(loaded) & SHELLS


def test_importing_the_project_loads_nothing() -> None:
    assert loaded_by("import dosewright") == {"dosewright"}
