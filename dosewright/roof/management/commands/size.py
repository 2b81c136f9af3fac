"""Sizes one dose of a formulation, as the planner would, and writes the unit's mesh where asked."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from dosewright.ground.documents import write_file
from dosewright.ground.pure.errors import BadInput, Refused
from dosewright.ground.pure.quantities import parse_decimal, parse_dose
from dosewright.roof.homes import the_site
from dosewright.roof.json_command import JsonCommand
from printing.core.dose.sizing import DoseNotPossible
from printing.formulary.contracts import size_contract
from printing.formulary.designs import Way, not_checked, size_order_dose
from printing.formulary.queries import formulation_facts
from printing.plates.files.unit_stl import unit_stl

WAYS = {"orientation": ("flat", "upright", "lying", "standing"), "mount": ("sheet", "necks")}


class Command(JsonCommand):
    """python3 manage.py size --formulation CODE --dose "2.5 mg" [...] [--json]"""

    help = "size one dose of a formulation at its nominal strength, or at the unit strength given"

    def add_own_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--formulation", required=True, metavar="CODE")
        parser.add_argument("--dose", required=True, metavar='"2.5 mg"')
        parser.add_argument("--shape", metavar="NAME")
        parser.add_argument("--rule", metavar="NAME")
        parser.add_argument("--orientation", choices=WAYS["orientation"])
        parser.add_argument("--mount", choices=WAYS["mount"])
        parser.add_argument("--unit-strength", metavar="FRAC", help="mg of substance per mg of finished unit")
        parser.add_argument("--layer-um", type=int, metavar="N")
        parser.add_argument("--mesh", type=Path, metavar="OUT.stl", help="write one unit as binary STL")

    def answer(self, **options: Any) -> Any:
        facts = formulation_facts(the_site().pk, options["formulation"])
        way = Way(**{name: options[name] for name in ("shape", "rule", "orientation", "mount", "layer_um")})
        sized = size_order_dose(
            facts,
            dose_mg=parse_dose(options["dose"], field="dose"),
            unit_strength=_fraction(options["unit_strength"]),
            way=way,
        )
        if options["mesh"] is not None:
            _write_mesh(options["mesh"], unit_stl(sized.unit.mesh))
        return size_contract(sized, not_checked=not_checked(facts, None))

    def more_when_refused(self, refused: Refused) -> dict[str, Any]:
        return {"nearest_mg": refused.nearest.as_dict()} if isinstance(refused, DoseNotPossible) else {}

    def tell(self, document: Any) -> None:
        unit = document["unit"]
        lengths = ", ".join(f"{name} {value:.4g} mm" for name, value in unit["finished_mm"].items())
        self.stdout.write(
            f"{document['units_per_dose']} x {unit['content_mg']:.6g} mg: {lengths}, {unit['layers']} layers of "
            f"{unit['layer_um']} um, {unit['mass_mg']:.5g} mg each"
        )
        for check in document["checks"]:
            self.stdout.write(f"    {check['verdict']:6}  {check['name']}: {check['value']} ({check['limit']})")


def _fraction(text: str | None) -> Decimal | None:
    if text is None:
        return None
    value = parse_decimal(text, field="unit_strength")
    if value >= 1:
        raise BadInput.because("unit_strength", "is no strength", value=text[:40], limit="1", accepted="less than 1")
    return value


def _write_mesh(path: Path, data: bytes) -> None:
    if not path.absolute().parent.is_dir():
        raise CommandError(f"--mesh {path}: there is no folder {path.absolute().parent}", returncode=2)
    try:
        write_file(path, data)
    except OSError as trouble:
        raise CommandError(f"--mesh {path}: {trouble.strerror}", returncode=2) from trouble
