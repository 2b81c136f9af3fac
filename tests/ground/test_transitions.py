"""States move by the tables alone: every (machine, state, event) of every table, and nothing else."""

import ast
from pathlib import Path

import pytest
from django.apps import apps

from dosewright.ground.pure.roles import ACTIONS, Role
from dosewright.ground.transitions import MACHINES

ROOT = Path(__file__).parents[2]
OWN = ("dosewright", "prescriptions", "printing", "labels")


def test_every_model_with_a_state_has_a_machine_and_the_other_way_round() -> None:
    own = {config.name for config in apps.get_app_configs() if config.name.split(".")[0] in OWN}
    stateful = {
        model._meta.label
        for model in apps.get_models()
        if model._meta.app_config.name in own and any(field.name == "state" for field in model._meta.fields)
    }
    assert stateful - {"ground.Work", "ground.Document"} == {machine.model for machine in MACHINES.values()}


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_every_state_can_be_reached_and_every_event_has_an_action(name: str) -> None:
    machine = MACHINES[name]
    reached, grown = {machine.initial}, True
    while grown:
        more = {following for (state, _), following in machine.table.items() if state in reached}
        grown = not more <= reached
        reached |= more
    assert {state for state, _ in machine.table} <= reached
    fired = {event for rule in ACTIONS.values() for of, event in rule.events if of == name}
    assert {event for _, event in machine.table} == fired


def test_events_in_the_roles_table_exist() -> None:
    known = {(machine.name, event) for machine in MACHINES.values() for _, event in machine.table}
    named = {pair for rule in ACTIONS.values() for pair in rule.events}
    assert named <= known, sorted(named - known)


def test_no_code_writes_a_state_column_but_advance() -> None:
    """Looks at every assignment ``x.state = ...`` and every ``update(state=...)`` of our own code."""
    allowed = {"dosewright/ground/work.py"}
    found = []
    for top in OWN:
        for path in sorted((ROOT / top).rglob("*.py")):
            place = str(path.relative_to(ROOT))
            if "migrations" in place or place in allowed:
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Assign | ast.AugAssign):
                    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                    found += [place for one in targets if isinstance(one, ast.Attribute) and one.attr == "state"]
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                    names = {word.arg for word in node.keywords}
                    if node.func.attr in {"update", "bulk_update"} and "state" in names:
                        found.append(f"{place}:{node.lineno}")
    assert found == []


def test_superusers_do_not_exist_and_machines_hold_machine_roles_only() -> None:
    user = apps.get_model("ground.User")
    assert not any(field.name in {"is_superuser", "is_staff"} for field in user._meta.fields)
    people = {role for rule in ACTIONS.values() for role in rule.roles} - {Role.SYSTEM, Role.PRINTER}
    assert people == set(Role) - {Role.SYSTEM, Role.PRINTER}
