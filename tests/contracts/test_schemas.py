"""The contracts themselves: valid schemas, told apart by their names, strict where they are read by programs."""

from __future__ import annotations

from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.contracts.running import schemas, validator

KNOWN = schemas()
COMMANDS = {"formulation", "import_orders", "plan", "seed", "size", "summary", "trace", "verify_audit"}


def test_every_command_that_prints_json_has_a_contract() -> None:
    assert set(KNOWN) == COMMANDS | {"order", "refused"}


@pytest.mark.parametrize("name", sorted(KNOWN))
def test_each_is_a_valid_schema_of_the_2020_draft(name: str) -> None:
    schema = KNOWN[name]
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"] == f"urn:dosewright:contract:{name}"
    assert schema["title"]
    assert schema["description"]
    Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("name", sorted(KNOWN))
def test_every_reference_leads_somewhere(name: str) -> None:
    for reference in references(KNOWN[name]):
        inside = reference if not reference.startswith("#") else f"urn:dosewright:contract:{name}{reference}"
        validator(name)._resolver.lookup(inside)


@pytest.mark.parametrize("name", sorted(KNOWN))
def test_a_contract_refuses_what_is_none(name: str) -> None:
    for wrong in (None, 3, "text", {"unheard of": 1}):
        assert not validator(name).is_valid(wrong), wrong


@pytest.mark.parametrize("name", sorted(KNOWN))
def test_required_names_are_described(name: str) -> None:
    for part in objects(KNOWN[name]):
        if part.get("type") == "object" and "properties" in part:
            assert set(part.get("required", ())) <= set(part["properties"]), part


def objects(value: Any) -> list[dict[str, Any]]:
    """Return every mapping inside a schema."""
    if isinstance(value, list):
        return [one for item in value for one in objects(item)]
    if not isinstance(value, dict):
        return []
    return [value, *(one for item in value.values() for one in objects(item))]


def references(value: Any) -> set[str]:
    """Return every reference inside a schema."""
    return {part["$ref"] for part in objects(value) if isinstance(part.get("$ref"), str)}
