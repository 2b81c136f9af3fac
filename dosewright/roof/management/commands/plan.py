"""Asks for a plan, or shows the plans that stand."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandError, CommandParser

from dosewright.ground import work
from dosewright.ground.models import Work
from dosewright.ground.pure.errors import Blocked, Refusal
from dosewright.roof import clock
from dosewright.roof.homes import acting, the_site
from dosewright.roof.json_command import JsonCommand
from printing.plates.queries import plan_facts, shown_plan
from printing.plates.services import request_plan


class Command(JsonCommand):
    """python3 manage.py plan --as USER [--resin-lot CODE] [--printer CODE] [--json], or plan --show [BATCH] [--json]"""

    help = "plan the verified lines, or show what is planned"

    def add_own_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--show", nargs="?", const="", metavar="BATCH", help="show one batch, or all that stand")
        parser.add_argument("--resin-lot", metavar="CODE", default="", help="plan with this lot only")
        parser.add_argument("--printer", metavar="CODE", default="", help="plan on this printer only")
        parser.add_argument("--as", dest="username", metavar="USER")

    def answer(self, **options: Any) -> Any:
        if options["show"] is not None:
            return shown_plan(the_site().pk, options["show"])
        if not options["username"]:
            raise CommandError("to plan, give --as; to look, give --show", returncode=2)
        actor = acting(options["username"])
        plan = request_plan(actor, resin_lot=options["resin_lot"], printer=options["printer"], at=clock.now())
        row = Work.objects.get(key=f"plan:{plan}")
        work.run(row.pk, clock=clock.now)
        facts = plan_facts(actor, plan)
        if facts.state == Work.FAILED:
            raise Blocked(*_refusals(plan, facts.failure))
        return facts

    def tell(self, document: Any) -> None:
        if not isinstance(document, dict):
            self.stdout.write(f"plan {document.code}: {document.state}; batches {', '.join(document.batches)}")
            return
        for plate in document["plates"]:
            units = sum(len(zone["units"]) for zone in plate["zones"])
            self.stdout.write(
                f"{plate['batch']}  {plate['printer']}  {plate['lot']}  {len(plate['zones'])} zones, {units} units, "
                f"{plate['layers']} layers, {sum(plate['seconds'].values()) // 60} min"
            )


def _refusals(plan: str, failure: str) -> list[Refusal]:
    """Return why a plan was not made: the refusals that its work kept, else its failure as it stands."""
    try:
        return [Refusal(**one) for one in json.loads(failure)]
    except (ValueError, TypeError):
        return [Refusal(field="plan", value=plan, message=failure, rule="plan")]
