"""Draws the state diagrams of the developers' guide from the tables that run."""

from __future__ import annotations

from dosewright.ground.transitions import MACHINES, Machine

START = "<!-- diagrams: drawn from the tables by `python3 manage.py diagrams`, do not edit -->"
END = "<!-- end of diagrams -->"


def diagram(machine: Machine) -> str:
    """Return one machine as a Mermaid state diagram."""
    names = {state: state.replace(" ", "_") for pair in machine.table.items() for state in (pair[0][0], pair[1])}
    ends = sorted(set(machine.table.values()) - {state for state, _ in machine.table})
    lines = ["```mermaid", "stateDiagram-v2", f"    [*] --> {names[machine.initial]}"]
    lines += [
        f"    {names[state]} --> {names[following]}: {event}"
        for (state, event), following in sorted(machine.table.items())
    ]
    lines += [f"    {names[state]} --> [*]" for state in ends]
    return "\n".join([*lines, "```"])


def section() -> str:
    """Return the whole section, with its markers."""
    parts = [START]
    for name in sorted(MACHINES):
        parts += [f"### {name.capitalize()}", diagram(MACHINES[name])]
    return "\n\n".join([*parts, END])


def replaced(guide: str) -> str:
    """Return the guide's text with the section drawn anew; ValueError when the markers are missing."""
    before, start, rest = guide.partition(START)
    _, end, after = rest.partition(END)
    if not start or not end:
        raise ValueError("the guide has no place for the diagrams")
    return before + section() + after
