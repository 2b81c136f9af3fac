"""Takes some records of the seeded home further than its seed does, by the services as its people would.

`python -m tests.browser.further URL` prints one JSON document: what each record is for, and its code.
"""

from __future__ import annotations

import json
import random
import sys
from decimal import Decimal
from pathlib import Path

import django

django.setup()

from django.conf import settings  # noqa: E402

from dosewright.ground.models import Site  # noqa: E402
from dosewright.roof.clock import demo_offset  # noqa: E402
from dosewright.roof.demo import finish, house, packs, plates  # noqa: E402
from dosewright.roof.demo.medicines import HYDROCORTISONE  # noqa: E402
from dosewright.roof.demo.stage import Stage  # noqa: E402
from prescriptions import services as prescribing  # noqa: E402
from prescriptions.queries.orders import orders_page  # noqa: E402
from printing.formulary.queries import formulations  # noqa: E402
from printing.plates.queries import plan_facts  # noqa: E402
from printing.plates.services import request_plan  # noqa: E402
from printing.runs import services as runs  # noqa: E402
from printing.stock import services as stock  # noqa: E402
from printing.stock.queries import resin_lot_record  # noqa: E402

VERIFIED = 2
REASON = "read and weighed against the benefit (invented)"


def open_stage() -> Stage:
    """Return the stage on which the seed's people act, with their passwords, at the home's own time."""
    home = Path(settings.DOSEWRIGHT_HOME)
    logins = (home / "keys" / "invented_logins.json").read_text(encoding="utf-8")
    return Stage(home=home, passwords=json.loads(logins), offset=demo_offset(home))


def verify(stage: Stage, code: str) -> None:
    """Open an order's alerts, give reasons, and verify it."""
    rosa = stage.person("rosa.keller")
    for alert in prescribing.open_alerts(rosa, code, at=stage.now()):
        if alert.severity == "reason" and alert.standing:
            prescribing.give_reason(rosa, alert.code, reason=REASON, at=stage.now())
    pen = stage.pen("rosa.keller", prescribing.verify_shown(rosa, code))
    prescribing.verify_order(rosa, code, pen=pen, at=stage.now())


def move_orders(stage: Stage) -> dict[str, str]:
    """Leave orders in every state that a person meets; return one code for each."""
    rosa, mira, at = stage.person("rosa.keller"), stage.person("mira.voss"), stage.now()
    codes = [one.code for one in orders_page(rosa, limit=50, state="received", at=at).items]
    for code in codes[:VERIFIED]:
        verify(stage, code)
    later, queried, returned, stopped, to_check = codes[VERIFIED : VERIFIED + 5]
    prescribing.query_order(rosa, queried, question="Is the evening dose right (invented)?", at=at)
    prescribing.return_order(rosa, returned, reason="the weight is missing a date (invented)", at=at)
    prescribing.stop_order(mira, stopped, reason="therapy ended (invented)", at=at)
    return {
        "verified": codes[0],
        "later": later,
        "queried": queried,
        "returned": returned,
        "stopped": stopped,
        "to check": to_check,
    }


def make_packs(stage: Stage, room: house.House, url: str) -> dict[str, str]:
    """Print, finish, judge and pack what is planned; leave packs in several states."""
    waiting, printed = plates.plan_all(stage), []
    printers = plates.start_printers(stage, room, url, plates.Fault())
    try:
        while waiting:
            done = plates.print_batches(stage, room, plates.next_batches(stage, room, waiting))
            assert all(done.values())
            for code in done:
                waiting.remove(code)
                finish.take_off(stage, code)
                printed.append(code)
    finally:
        for printer in printers:
            printer.stop()
    made = []
    for code in printed:
        finish.finish_and_judge(stage, room, code, random.Random(1), reject_one=code == printed[0])
        made += packs.pack_batch(stage, code)
    packed, *others = made
    packs.release_and_supply(stage, others[:1])
    return {"batch": printed[0], "packed": packed.code, "supplied": others[0].code, "zone": packed.zone}


def planned(stage: Stage, order: str) -> str:
    """Verify one more order, have it planned, and leave its batch to be approved."""
    verify(stage, order)
    tomas = stage.person("tomas.lind")
    code = request_plan(tomas, at=stage.now())
    stage.wait(lambda: plan_facts(tomas, code).state in {"done", "failed"}, f"plan {code}")
    return plan_facts(tomas, code).batches[0]


def main(url: str) -> dict[str, str]:
    """Take the records further and return their codes."""
    stage = open_stage()
    site = Site.objects.get()
    formulation = formulations(stage.person("nora.stein")).items[0].code
    made = move_orders(stage)
    packs.sign_law_into_use(stage)
    room = house.set_up_house(stage, site, house.register_balance(stage), {formulation: HYDROCORTISONE})
    lot = room.rooms[formulation].resin_lot
    made |= make_packs(stage, room, url)
    to_weigh = stock.start_resin_lot(
        stage.person("tomas.lind"), formulation=formulation, target_g=Decimal(900), at=stage.now()
    ).code
    deviation = runs.open_deviation(
        stage.person("ada.brandt"),
        kind="other",
        text="label of the flask torn (invented)",
        effect="none: the code is still read",
        resin_lot=to_weigh,
        at=stage.now(),
    ).code
    return made | {
        "deviation": deviation,
        "planned batch": planned(stage, made["later"]),
        "formulation": formulation,
        "resin lot": lot,
        "lot to weigh": to_weigh,
        "ingredient lot": resin_lot_record(lot, at=stage.now()).sheet[0].ingredient_lot,
        "balance": room.balance,
        "printer": next(iter(room.printers)),
    }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1])) + "\n")
