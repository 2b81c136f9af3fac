"""Runs commands as their users do: as processes on a home, with what they print and their exit code."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from typing import Any

from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from dosewright.ground.pure.strict_json import parse
from tests.services.stacks import ROOT, Stack

CONTRACTS = ROOT / "fixtures" / "contracts"
MOST_BYTES = 20_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one command said."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """The one JSON document on standard output; the house's own strict parser must take it too."""
        parse(self.out.encode(), max_bytes=MOST_BYTES)
        return json.loads(self.out)

    @property
    def refused(self) -> list[dict[str, Any]]:
        """The reasons of a refusal; fails when the command did anything else or its form is not the contract's."""
        assert self.code == 1, self
        assert holds("refused", self.document)
        assert self.err.startswith("refused: "), self.err
        return list(self.document["refused"])


def manage(stack: Stack, *arguments: str) -> Answer:
    """Run ``manage.py`` on the home of `stack`."""
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=stack.env,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    return Answer(code=done.returncode, out=done.stdout, err=done.stderr)


class Teller:
    """A process on one home that runs one command after the other; see `tests.contracts.teller`."""

    def __init__(self, stack: Stack) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.contracts.teller"],
            cwd=ROOT,
            env=stack.env,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def manage(self, *arguments: str) -> Answer:
        """Run one command."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(arguments) + "\n")
        self._process.stdin.flush()
        return Answer(**json.loads(self._process.stdout.readline()))

    def end(self) -> None:
        """End the process."""
        self._process.communicate(timeout=30)


def schemas() -> dict[str, Any]:
    """Return the contracts by name."""
    found = sorted(CONTRACTS.glob("*.schema.json"))
    return {path.name.partition(".")[0]: json.loads(path.read_text(encoding="utf-8")) for path in found}


def validator(name: str) -> Draft202012Validator:
    """Return the validator of one contract; contracts may refer to each other."""
    known = schemas()
    registry: Registry[Any] = Registry().with_resources(
        [(schema["$id"], Resource.from_contents(schema)) for schema in known.values()]
    )
    return Draft202012Validator(known[name], registry=registry)


def holds(name: str, document: Any) -> bool:
    """Say whether `document` keeps the contract; fails with every place where it does not."""
    faults = [f"{error.json_path}: {error.message[:300]}" for error in validator(name).iter_errors(document)]
    assert not faults, faults
    return True
