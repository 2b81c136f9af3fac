"""The examples that HL7 publishes with FHIR R4, fetched by npm as they are published, and never kept here."""

from __future__ import annotations

import json
import os
import subprocess
import tarfile
from base64 import b64encode
from dataclasses import dataclass, field
from hashlib import sha512
from pathlib import Path
from typing import Any

from dosewright.ground.pure.strict_json import parse
from tests.programs import find_program

PACKAGE = "hl7.fhir.r4.examples@4.0.1"
INTEGRITY = "sha512-DXBdIZOeQaSKIgCU7w6HOC7sw/6BzylmipLkBW4f//pT+Bc94x+8LImwTdvaNThPJoOzpBzvxAzNqjeu3X/zLw=="
"""The digest under which the registry publishes the package; another file is not the one of the table."""

SECONDS = 120
BESIDE = ("Patient", "Practitioner", "Medication", "Encounter")


class NotReached(Exception):
    """The registry did not give the package."""


@dataclass(slots=True, kw_only=True)
class Examples:
    """The requests by id as they were published, byte for byte, and what they refer to by type and id."""

    requests: dict[str, bytes] = field(default_factory=dict)
    beside: dict[str, dict[str, Any]] = field(default_factory=dict)

    def bundle(self, name: str) -> dict[str, Any]:
        """Return a request in a Bundle with the resources of the package that it refers to."""
        request = parse(self.requests[name])
        named = sorted(_references(request) & set(self.beside))
        resources = [*(self.beside[one] for one in named), request]
        return {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in resources]}


def fetch(folder: Path) -> Examples:
    """Fetch the package and read what is needed of it; raises NotReached."""
    npm = find_program("npm")
    assert npm is not None
    env = os.environ | {"npm_config_cache": str(folder / "cache"), "npm_config_update_notifier": "false"}
    try:
        done = subprocess.run(
            [npm, "pack", "--silent", PACKAGE],
            cwd=folder,
            env=env,
            capture_output=True,
            text=True,
            timeout=SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired as late:
        raise NotReached("npm did not answer in time") from late
    found = list(folder.glob("*.tgz"))
    if done.returncode != 0 or len(found) != 1:
        raise NotReached(done.stderr.strip()[-300:] or "npm gave no package")
    assert "sha512-" + b64encode(sha512(found[0].read_bytes()).digest()).decode() == INTEGRITY
    return _read(found[0])


def _read(path: Path) -> Examples:
    examples = Examples()
    with tarfile.open(path) as archive:
        for member in archive:
            kind, _, rest = Path(member.name).name.partition("-")
            if kind not in {"MedicationRequest", *BESIDE} or not rest.endswith(".json"):
                continue
            file = archive.extractfile(member)
            assert file is not None
            data = file.read()
            if kind == "MedicationRequest":
                examples.requests[rest.removesuffix(".json")] = data
            else:
                examples.beside[f"{kind}/{rest.removesuffix('.json')}"] = json.loads(data)
    return examples


def _references(value: Any) -> set[str]:
    if isinstance(value, list):
        return {one for item in value for one in _references(item)}
    if not isinstance(value, dict):
        return set()
    inner = {one for item in value.values() for one in _references(item)}
    return inner | ({value["reference"]} if isinstance(value.get("reference"), str) else set())
