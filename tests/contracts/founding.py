"""Fills the home of the environment as far as a plan needs: formulation, resin, printer, verified orders.

`python -m tests.contracts.founding` prints the codes as JSON. A worker must run on the home meanwhile, as in
service. Everything is the demo's and invented.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import django

django.setup()

from django.conf import settings  # noqa: E402

from dosewright.roof import clock  # noqa: E402
from dosewright.roof.demo import house, orders  # noqa: E402
from dosewright.roof.demo.invented import invented_orders  # noqa: E402
from dosewright.roof.demo.medicines import HYDROCORTISONE, set_up_medicines  # noqa: E402
from dosewright.roof.demo.stage import Stage  # noqa: E402
from prescriptions.intake.order_json import read_orders  # noqa: E402

ORDERS, SEED = 4, 11


def found() -> dict[str, object]:
    """Set everything up and return the codes."""
    home = Path(settings.DOSEWRIGHT_HOME)
    stage = Stage(home=home)
    stage.open()
    site = house.found(stage)
    medicines = set_up_medicines(stage, (HYDROCORTISONE,))
    (formulation,) = medicines
    built = house.set_up_house(stage, site, house.register_balance(stage), medicines)
    today = clock.now().date()
    asked = invented_orders(ORDERS, SEED, today)
    requests = [(item["reference"], one) for item, one in zip(asked, read_orders(asked, today=today), strict=True)]
    taken = orders.take_in(stage, requests)
    return {
        "site": site.code,
        "formulation": formulation,
        "resin_lot": built.rooms[formulation].resin_lot,
        "printer": next(iter(built.printers)),
        "orders": [one.code for one in taken if one.refused is None],
    }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(found()))
