"""A small tree with the real bootstrap, wheels in place of the real packages, and Pythons to run it by.

The wheel that is named Django stands in for the outside package: it says where it runs and does as told.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).parents[2]
OURS = ("manage.py", "dosewright/__init__.py", "dosewright/roof/__init__.py",
        "dosewright/roof/bootstrap.py", "dosewright/roof/locked.py")  # fmt: skip
PYTHON_NAME = f"python{sys.version_info[0]}.{sys.version_info[1]}"
BASE_PYTHON = os.path.join(sys.base_prefix, "bin", PYTHON_NAME)

STAND_IN = """
import json, os, sys, time
VERSION = {version!r}

def execute_from_command_line(argv):
    facts = {{"version": VERSION, "argv": argv[1:], "prefix": sys.prefix, "pid": os.getpid(),
              "flags": list(sys.warnoptions), "path": sys.path, "variables": dict(os.environ)}}
    print(json.dumps(facts), flush=True)
    if "exit" in argv:
        raise SystemExit(7)
    if "wait" in argv:
        time.sleep(60)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """A copy of what the bootstrap needs, with lock files of its own."""

    root: Path
    wheels: Path

    @property
    def stamp(self) -> Path:
        """The file that says that .venv is whole."""
        return self.root / ".venv" / "dosewright-stamp"

    def lock(self, version: str, *, digest: str | None = None) -> None:
        """Ask for a version of the stand-in, by its right digest or by another."""
        pin = pinned("django", version, digest or sha256(make_wheel(self.wheels, version)))
        extra = pinned("probe", "1.0", sha256(make_probe(self.wheels)))
        (self.root / "requirements.lock").write_text(pin)
        (self.root / "requirements-dev.lock").write_text(pin + extra)

    def start(self, *arguments: str, python: str = BASE_PYTHON, **variables: str) -> subprocess.Popen[str]:
        """Start manage.py in an environment that holds nothing but these variables."""
        return subprocess.Popen(
            [python, str(self.root / "manage.py"), *arguments],
            env=self.environment(**variables), cwd=self.root.parent, text=True, start_new_session=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip

    def run(self, *arguments: str, python: str = BASE_PYTHON, **variables: str) -> Outcome:
        """Run manage.py to its end."""
        process = self.start(*arguments, python=python, **variables)
        out, err = process.communicate(timeout=120)
        return Outcome(code=process.returncode, out=out, err=err)

    def environment(self, **variables: str) -> dict[str, str]:
        """Return the least environment: no index, no program, wheels from the folder."""
        nothing = self.root.parent / "nothing"
        nothing.mkdir(exist_ok=True)
        least = {
            "PATH": str(nothing),
            "HOME": str(nothing),
            "PIP_CONFIG_FILE": os.devnull,
            "PIP_INDEX_URL": "http://127.0.0.1:9/simple",
            "PIP_RETRIES": "0",
            "PIP_NO_CACHE_DIR": "1",
            "DOSEWRIGHT_WHEELS": str(self.wheels),
        }
        return {name: value for name, value in (least | variables).items() if value}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a command left."""

    code: int
    out: str
    err: str

    @property
    def facts(self) -> dict[str, Any]:
        """What the stand-in said; fails when it was not reached."""
        assert self.out, f"exit {self.code}: {self.err}"
        return dict(json.loads(self.out))

    @property
    def lines(self) -> list[str]:
        """The lines that our own code wrote to standard error."""
        return [line for line in self.err.splitlines() if line.startswith("dosewright: ")]


def make_tree(folder: Path) -> Tree:
    """Make the tree in an empty folder."""
    root, wheels = folder / "tree with blanks", folder / "wheels"
    wheels.mkdir(parents=True)
    for name in OURS:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(PROJECT / name, root / name)
    (root / "pyproject.toml").write_text(
        '[project]\ndependencies = ["django>=1"]\n[dependency-groups]\ndev = ["probe"]\n'
    )
    tree = Tree(root=root, wheels=wheels)
    tree.lock("1.0")
    return tree


def copy_of(tree: Tree, folder: Path) -> Tree:
    """Copy a tree with its .venv, which needs no mending where it is only reached by bin/python."""
    shutil.copytree(tree.root.parent, folder, symlinks=True, dirs_exist_ok=True)
    return Tree(root=folder / tree.root.name, wheels=folder / tree.wheels.name)


def pinned(name: str, version: str, digest: str) -> str:
    """Return the lines of one requirement as the lock files have them."""
    return f"{name}=={version} ; python_full_version >= '3.11' \\\n    --hash=sha256:{digest}\n"


def sha256(path: Path) -> str:
    """Return the digest of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def make_wheel(folder: Path, version: str) -> Path:
    """Make the stand-in's wheel."""
    package = {"django/__init__.py": "", "django/core/__init__.py": ""}
    package["django/core/management/__init__.py"] = STAND_IN.format(version=version)
    return write_wheel(folder, "django", version, package)


def make_probe(folder: Path) -> Path:
    """Make a wheel that only the development list asks for."""
    return write_wheel(folder, "probe", "1.0", {"probe.py": ""})


def write_wheel(folder: Path, name: str, version: str, files: dict[str, str]) -> Path:
    """Write a pure wheel, the same bytes each time."""
    info = f"{name}-{version}.dist-info"
    files = files | {
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: tests\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    files[f"{info}/RECORD"] = "".join(map(recorded, files.items())) + f"{info}/RECORD,,\n"
    path = folder / f"{name}-{version}-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        for inside, text in files.items():
            archive.writestr(zipfile.ZipInfo(inside), text)
    return path


def recorded(entry: tuple[str, str]) -> str:
    """Return a wheel's record of one file."""
    name, text = entry
    digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
    return f"{name},sha256={digest},{len(text.encode())}\n"


def make_python(folder: Path, *, pip: bool = False) -> str:
    """Make a Python of its own prefix whose library is the base one's less ensurepip, with or without pip."""
    library = folder / "lib" / PYTHON_NAME
    library.mkdir(parents=True)
    for part in Path(sysconfig.get_path("stdlib", vars={"installed_base": sys.base_prefix})).iterdir():
        if part.name not in {"ensurepip", "site-packages", "dist-packages", "sitecustomize.py"}:
            (library / part.name).symlink_to(part)
    for part in Path(sys.base_prefix, "lib").glob("libpython*"):
        (folder / "lib" / part.name).symlink_to(part)
    (library / "site-packages").mkdir()
    if pip:
        (library / "site-packages" / "pip").symlink_to(find_pip())
    (folder / "bin").mkdir()
    return str(shutil.copy(os.path.realpath(BASE_PYTHON), folder / "bin" / PYTHON_NAME))


def find_pip() -> Path:
    """Return the folder of a pip that this machine has."""
    ask = "import pip; print(pip.__path__[0])"
    for python in (sys.executable, BASE_PYTHON):
        found = subprocess.run([python, "-c", ask], capture_output=True, text=True, check=False)
        if found.returncode == 0:
            return Path(found.stdout.strip())
    raise AssertionError("neither this environment nor the Python below it has pip")
