"""Lists the formulations, or shows one with recipe, model and validated ranges."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from dosewright.roof.homes import the_site
from dosewright.roof.json_command import JsonCommand
from printing.formulary.contracts import formulation_contract
from printing.formulary.queries import all_formulations, formulation_facts


class Command(JsonCommand):
    """python3 manage.py formulation [CODE] [--json]"""

    help = "list the formulations, or show one"

    def add_own_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("code", nargs="?", metavar="CODE")

    def answer(self, **options: Any) -> Any:
        site = the_site()
        if options["code"]:
            return formulation_contract(formulation_facts(site.pk, options["code"]))
        return [formulation_contract(facts) for facts in all_formulations(site.pk)]

    def tell(self, document: Any) -> None:
        for one in document if isinstance(document, list) else [document]:
            self.stdout.write(f"{one['code']}/{one['number']}  {one['state']}  {one['name']} ({one['substance']})")
            for row in one["ranges"]:
                doses = row["dose_mg"]
                self.stdout.write(
                    f"    {row['shape']}, {row['rule']}, {row['orientation']} on {row['mount']}: "
                    f"{doses['min']} to {doses['max']} mg per unit"
                )
