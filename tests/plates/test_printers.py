"""Printers: set up with their tank, checked until a day, spoken for by one token."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dosewright.ground.models import Token, User
from dosewright.ground.people import actor_of
from dosewright.ground.pure.errors import BadInput, NotAllowed, NotThere
from dosewright.ground.pure.roles import Channel, Role
from printing.plates import services
from printing.plates.queries import printer_facts, printer_of_user
from tests.batches import DUE, Bench
from tests.cast import NOW, Cast

pytestmark = pytest.mark.django_db


def spec(tank: str, **changes: object) -> services.PrinterSpec:
    values = {
        "name": "Bench two", "kind": "training printer", "mode": "link", "plate_um": (100_000, 90_000),
        "build_height_um": 100_000, "tank_minimum_ul": 1000, "loss_ul": 500, "tank": tank,
    }  # fmt: skip
    return services.PrinterSpec(**(values | changes))  # type: ignore[arg-type]


def test_a_linked_printer_is_a_machine_of_its_own(cast: Cast, at_bench: Bench) -> None:
    user = User.objects.get(kind=User.PRINTER)
    assert printer_of_user(user.pk) == at_bench.printer
    assert actor_of(user, channel=Channel.PRINTER).roles == {Role.PRINTER}
    assert [one.kind for one in printer_facts(at_bench.printer, site_id=cast.site.pk).checks] == [
        "calibration",
        "laser check",
    ]


def test_a_printer_run_by_hand_has_no_user_and_no_token(cast: Cast, at_bench: Bench) -> None:
    code = services.register_printer(cast.paul, spec=spec(at_bench.tank, mode="manual"), at=NOW)
    with pytest.raises(BadInput, match="run by hand"):
        services.issue_printer_token(cast.paul, code, at=NOW)


def test_a_new_token_ends_the_old_one(cast: Cast, at_bench: Bench) -> None:
    services.issue_printer_token(cast.paul, at_bench.printer, at=NOW)
    first = Token.objects.get().digest
    services.issue_printer_token(cast.paul, at_bench.printer, at=NOW)
    assert Token.objects.get().digest != first


@pytest.mark.parametrize("who", ["tomas", "rosa", "nora", "mira", "otto"])
def test_only_the_site_manager_sets_printers_up(cast: Cast, at_bench: Bench, who: str) -> None:
    actor = getattr(cast, who)
    with pytest.raises(NotAllowed):
        services.register_printer(actor, spec=spec(at_bench.tank), at=NOW)
    with pytest.raises(NotAllowed):
        services.issue_printer_token(actor, at_bench.printer, at=NOW)


def test_bad_facts_of_a_printer_are_refused(cast: Cast, at_bench: Bench) -> None:
    with pytest.raises(BadInput, match="no way to run"):
        services.register_printer(cast.paul, spec=spec(at_bench.tank, mode="remote"), at=NOW)
    with pytest.raises(BadInput, match="is a balance"):
        services.register_printer(cast.paul, spec=spec(at_bench.balance), at=NOW)
    with pytest.raises(NotThere):
        services.register_printer(cast.paul, spec=spec("EQ-AAAAA"), at=NOW)


def test_a_check_names_a_known_kind_and_a_day_to_come(cast: Cast, at_bench: Bench) -> None:
    with pytest.raises(BadInput, match="no check"):
        services.check_printer(cast.tomas, at_bench.printer, kind="polish", due_on=DUE, result="x", passed=True, at=NOW)
    with pytest.raises(BadInput, match="lies in the past"):
        services.check_printer(
            cast.tomas,
            at_bench.printer,
            kind="calibration",
            due_on=NOW.date() - timedelta(days=1),
            result="x",
            passed=True,
            at=NOW,
        )
