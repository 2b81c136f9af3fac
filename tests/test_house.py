"""The house itself: sizes of files, docstrings, roles that are used, and nothing that belongs to one machine."""

from __future__ import annotations

import ast
import inspect
import re
import subprocess
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from types import ModuleType

import pytest

import dosewright.ground.pure
import printing.core
from dosewright.ground.pure.roles import ACTIONS, READS
from dosewright.ground.rest import DOORS, LOOKS, SignedInput
from dosewright.roof.api import registry

ROOT = Path(__file__).parents[1]
OWN = ("dosewright", "prescriptions", "printing", "labels")
LONGEST = 400
TEXT = {
    ".cfg",
    ".css",
    ".html",
    ".js",
    ".json",
    ".md",
    ".mo",
    ".po",
    ".py",
    ".svg",
    ".toml",
    ".txt",
    ".yaml",
    ".yml",
    "",
}

INHERITED = frozenset(
    {
        "Input",
        "add_arguments",
        "add_own_arguments",
        "answer",
        "authenticate",
        "format",
        "get",
        "get_security_definition",
        "handle",
        "more_when_refused",
        "one",
        "page",
        "post",
        "ready",
        "run",
        "shown",
        "tell",
    }
)
"""Methods whose meaning their base class tells."""


@cache
def tracked() -> tuple[Path, ...]:
    """Return the files of the project: those that are tracked, or all in a copy that has no history."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode == 0 and listed.stdout:
        found = [ROOT / name for name in listed.stdout.split("\0") if name]
    else:
        aside = {".venv", "var", ".git", "__pycache__"}
        found = [path for path in ROOT.rglob("*") if not aside & set(path.relative_to(ROOT).parts)]
    return tuple(path for path in found if path.is_file())


def place(path: Path) -> str:
    """Return where a file stands in the project."""
    return path.relative_to(ROOT).as_posix()


@cache
def own_python() -> tuple[Path, ...]:
    """Return the program's Python files; migrations are made by a tool."""
    return tuple(
        path
        for path in tracked()
        if path.suffix == ".py" and path.relative_to(ROOT).parts[0] in OWN and "migrations" not in path.parts
    )


def modules_of(package: ModuleType) -> tuple[ModuleType, ...]:
    """Return a package and every module below it."""
    inside = walk_packages(package.__path__, package.__name__ + ".")
    return (package, *(import_module(one.name) for one in inside))


def test_the_files_are_there() -> None:
    names = {place(path) for path in tracked()}
    assert {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "pyproject.toml", "manage.py", "compose.yaml"} <= names
    assert len(own_python()) > 200


def test_no_file_is_longer_than_one_subject_needs() -> None:
    code = [
        path for path in tracked() if path.suffix in {".py", ".css", ".js", ".html"} and "migrations" not in path.parts
    ]
    long = {place(path): count for path in code if (count := len(path.read_text("utf-8").splitlines())) > LONGEST}
    assert long == {}


@pytest.mark.parametrize("top", OWN)
def test_everything_public_says_what_it_is(top: str) -> None:
    silent = [one for path in own_python() if path.relative_to(ROOT).parts[0] == top for one in silent_in(path)]
    assert silent == []


def silent_in(path: Path) -> list[str]:
    """Return what is public in a file and has no docstring."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = [place(path)] if tree.body and ast.get_docstring(tree) is None else []
    return found + [f"{place(path)}: {name}" for name in silent_names(tree.body, "")]


def silent_names(body: list[ast.stmt], prefix: str) -> Iterator[str]:
    """Yield the public names of a module or class that have no docstring."""
    for node in body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue
        inherited = bool(prefix) and node.name in INHERITED
        if node.name.startswith("_") or node.name == "Meta" or inherited or is_another_face(node):
            continue
        if ast.get_docstring(node) is None:
            yield prefix + node.name
        if isinstance(node, ast.ClassDef):
            yield from silent_names(node.body, f"{node.name}.")


def is_another_face(node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) -> bool:
    """Say whether a function is an overload or a setter of one that speaks for itself."""
    names = {one.attr if isinstance(one, ast.Attribute) else getattr(one, "id", "") for one in node.decorator_list}
    return bool(names & {"overload", "setter"})


def test_a_silent_name_would_be_noticed() -> None:
    body = ast.parse(
        "def told():\n    'Says.'\ndef silent():\n    pass\nclass K:\n    'Says.'\n    def dumb(self): ...\n"
    ).body
    assert list(silent_names(body, "")) == ["silent", "K.dumb"]


@pytest.mark.parametrize("package", [printing.core, dosewright.ground.pure], ids=lambda one: one.__name__)
def test_documented_arguments_are_those_of_the_function(package: ModuleType) -> None:
    wrong = [fault for module in modules_of(package) for fault in wrong_arguments(module)]
    assert wrong == []


def wrong_arguments(module: ModuleType) -> list[str]:
    """Return every name that a docstring of a function describes with a unit and that is no argument of it."""
    found = []
    for name, function in inspect.getmembers(module, inspect.isfunction):
        if function.__module__ != module.__name__ or not function.__doc__:
            continue
        known = set(inspect.signature(function).parameters)
        found += [f"{module.__name__}.{name}: {one}" for one in described(function.__doc__) if one not in known]
    return found


def described(docstring: str) -> set[str]:
    """Return the names that a docstring describes as arguments: ``name`` [unit], or a line that begins with "name:"."""
    marked = re.findall(r"``(\w+)``(?= \[)", docstring)
    listed = re.findall(r"^ {4,}([a-z_]\w*)(?:, \w+)*: ", docstring, re.MULTILINE)
    return {*marked, *listed}


def test_a_wrong_argument_would_be_noticed() -> None:
    assert described("Return it.\n\n    ``dose_mg`` [mg, > 0]\n    layers: how many.\n    ") == {"dose_mg", "layers"}


def test_doors_and_looks_stand_in_the_tables() -> None:
    registry.load()
    assert len(DOORS) > 50
    assert {one.action for one in DOORS.values()} <= set(ACTIONS)
    assert {one.reads for one in LOOKS.values()} <= set(READS)


def test_a_door_that_asks_for_a_signature_is_of_a_signed_action() -> None:
    registry.load()
    asking = {one.action for one in DOORS.values() if issubclass(one.Input, SignedInput)}
    assert {name for name in asking if not ACTIONS[name].signed} == set()


def test_every_action_of_the_roles_table_is_done_somewhere() -> None:
    used = words_used(skip_doors=True)
    made = {f"{start}{event}" for start in used if start.endswith(".") for _, event in ALL_EVENTS}
    assert sorted(set(ACTIONS) - used - made) == []


def test_every_view_of_the_roles_table_is_asked_for_somewhere() -> None:
    assert sorted(set(READS) - words_used(skip_doors=False)) == []


ALL_EVENTS = {pair for rule in ACTIONS.values() for pair in rule.events}
"""Events by which some services finish the name of their action: f"resin_lot.{event}"."""


def words_used(*, skip_doors: bool) -> set[str]:
    """Return the string constants of our code outside the roles table; the names that doors only repeat left out."""
    found: set[str] = set()
    for path in own_python():
        if path.name == "roles.py":
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        repeated = {id(node.value) for node in ast.walk(tree) if skip_doors and names_an_action(node)}
        found |= {
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in repeated
        }
    return found


def names_an_action(node: ast.AST) -> bool:
    """Say whether a statement is the ``action = "..."`` of a door."""
    return isinstance(node, ast.Assign) and any(getattr(one, "id", "") == "action" for one in node.targets)


HOSTS = frozenset({"127.0.0.1", "localhost", "example.org", "json-schema.org", "www.w3.org"})
NOWHERE = (".example", ".invalid", ".test")
"""Names that lead nowhere by RFC 2606 (Reserved Top Level DNS Names, 1999), section 2."""
FORMATS = re.compile(
    r"https?://(schemas\.(microsoft\.com/3dmanufacturing|openxmlformats\.org/package)/"
    r"|unitsofmeasure\.org|loinc\.org|snomed\.info/sct)"
)
"""Names of the 3MF format (namespaces) and of FHIR (code systems), which nothing ever fetches."""

MACHINE = re.compile(r"(?<![\w.])/(?:" + "|".join(("work", "tmp", "home", "root", "Users")) + r")/[A-Za-z]")
IN_A_CONTAINER = {"compose.yaml", "tests/bootstrap/test_compose.py"}
"""Files that speak of folders inside a container of our own."""


def text_of(path: Path) -> str:
    """Return a text file's text, nothing for a lock file or what is no text."""
    if path.suffix not in TEXT or path.name.startswith("requirements"):
        return ""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def test_no_host_stands_in_the_project_but_those_that_name_formats() -> None:
    found = set()
    for path in tracked():
        text = FORMATS.sub("", text_of(path))
        hosts = re.findall(r"https?://([A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)+|localhost)", text)
        found |= {f"{place(path)}: {host}" for host in hosts if host not in HOSTS and not host.endswith(NOWHERE)}
    assert sorted(found) == []


def test_lock_files_name_no_host() -> None:
    for path in tracked():
        if path.suffix == ".lock":
            assert "://" not in path.read_text(encoding="utf-8"), place(path)


def test_no_path_of_a_machine_stands_in_the_project() -> None:
    found = [
        f"{place(path)}: {match[0]}"
        for path in tracked()
        if place(path) not in IN_A_CONTAINER
        for match in MACHINE.finditer(text_of(path))
    ]
    assert found == []


def test_nothing_is_left_undone_in_silence() -> None:
    marks = re.compile("|".join(("TO" + "DO", "FIX" + "ME", "X" * 3 + r"\b", r"mark\.(?:skip|x" + "fail)")))
    found = [f"{place(path)}: {match[0]}" for path in own_and_tests() for match in marks.finditer(text_of(path))]
    assert found == []


def own_and_tests() -> tuple[Path, ...]:
    """Return the Python files of program and tests."""
    return tuple(path for path in tracked() if path.suffix == ".py")
