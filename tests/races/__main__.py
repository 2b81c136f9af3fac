"""`python -m tests.races`: runs every race on the home of the environment and prints what everybody was told."""

from __future__ import annotations

import json
import sys

import django

django.setup()

from django.db import connection  # noqa: E402

from tests.races.walk import run_races  # noqa: E402

if __name__ == "__main__":
    found = [race.plain() for race in run_races()]
    sys.stdout.write(json.dumps({"vendor": connection.vendor, "races": found}, ensure_ascii=False, indent=1))
