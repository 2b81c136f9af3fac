"""After release: supplied once, taken back into quarantine, destroyed before a witness."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.contrib.auth.hashers import check_password

from dosewright.ground.act import Act, act
from dosewright.ground.models import User
from dosewright.ground.pure.errors import BadInput, Blocked, NotAllowed, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from labels.models import Pack, PackRemark, Supply, TakenBack
from labels.queries import pack_row, tidy_code, units_in
from labels.queries.making import lot_part
from labels.queries.on_label import local_day
from labels.services.answers import PackAnswer, answer_of, reason_of, refuse_unverified, screened_pack
from labels.services.guards import held, refuse_unless
from labels.services.release import other_pack
from labels.states import RELEASED, SUPPLIED
from prescriptions.queries import line_facts
from prescriptions.services import free_line
from printing.plates.queries import is_alive
from printing.plates.services import move_units, move_zone

MOST_TO_WHOM = 40


def supply_pack(actor: Actor, code: str, *, scanned: str, to_whom: str, at: datetime) -> PackAnswer:
    """Hand a released pack over, once; pharmacists and technicians scan the pack and say to whom, by role.

    The order is screened again first. Raises BadInput when another pack was scanned, Conflict before release,
    after a return or a second time; Blocked when the order was stopped or is no longer verified, the last day of
    use has passed, or the lot or a deviation now holds it.
    """
    screened_pack(actor, "pack.supply", code, occasion="supply", at=at)
    with act(actor, "pack.supply", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        refuse_if_any(BadInput, [*other_pack(pack, scanned), *_nobody(to_whom)])
        refuse_unless(pack, RELEASED)
        refuse_unverified(pack.order.code, line_facts(pack.line.code).order_version)
        refuse_if_any(Blocked, [*_past_use(pack, at), *_recalled(pack, at), *held(pack.zone)])
        doing.advance(pack, "supply")
        Supply.objects.create(pack=pack, to_whom=to_whom.strip(), by_id=actor.user_id, at=at)
        move_units(doing, units_in(pack), "supply")
        doing.note(to_whom=to_whom.strip())
        doing.emit("pack supplied", pack=pack.code, order=pack.order.code)
    return answer_of(pack)


def take_back_pack(actor: Actor, code: str, *, units: int, reason: str, at: datetime) -> PackAnswer:
    """Take a supplied pack back with the units that are left in it; it is held apart and can only be destroyed.

    Pharmacists and technicians. ``units`` [0 to those supplied]: those that come back are the last by number, for
    within one container nobody can tell which were taken. Raises BadInput, Conflict when it was not supplied.
    """
    with act(actor, "pack.take_back", at=at, subject=tidy_code(code), reason=reason[:200]) as doing:
        said = reason_of(reason)
        pack = pack_row(actor, code)
        refuse_unless(pack, SUPPLIED)
        supplied = units_in(pack)
        if not 0 <= units <= len(supplied):
            raise BadInput.because(
                "units", "more cannot come back than was supplied", value=str(units), accepted=f"0 to {len(supplied)}"
            )
        doing.advance(pack, "take_back")
        TakenBack.objects.create(pack=pack, units=units, reason=said, by_id=actor.user_id, at=at)
        move_units(doing, supplied[len(supplied) - units :], "return")
        doing.note(units=units)
        doing.emit("pack taken back", pack=pack.code, order=pack.order.code)
    return answer_of(pack)


def destroy_pack(
    actor: Actor, code: str, *, witness: str, witness_password: str, reason: str, at: datetime
) -> PackAnswer:
    """Destroy a pack with its units before a witness, who gives their own password; pharmacists.

    ``witness`` is the user name of another person of the site. A line whose pack was never supplied is free to be
    planned anew. Raises NotAllowed when the witness is the actor, nobody of the site or the password is not theirs;
    BadInput without a reason, Conflict for a pack that is with the patient or destroyed.
    """
    seen_by = _witness(actor, witness)
    parties = {"witness": frozenset({seen_by.pk} if seen_by else ())}
    with act(actor, "pack.destroy", at=at, subject=tidy_code(code), reason=reason[:200], parties=parties) as doing:
        said = reason_of(reason)
        if seen_by is None or not check_password(witness_password, seen_by.password):
            raise NotAllowed.because(
                "witness", "is not known, or the password is not theirs", accepted="a second person of this site"
            )
        pack = pack_row(actor, code)
        units = [one for one in units_in(pack) if one.state in {"packed", "returned"}]
        PackRemark.objects.create(pack=pack, what="destroyed", text=said, witness=seen_by, by_id=actor.user_id, at=at)
        doing.advance(pack, "destroy")
        move_units(doing, units, "destroy")
        _let_line_go(doing, pack)
        doing.note(witness=seen_by.username, units=len(units))
    return answer_of(pack)


def _nobody(to_whom: str) -> list[Refusal]:
    if 2 <= len(to_whom.strip()) <= MOST_TO_WHOM:
        return []
    return [
        Refusal(
            field="to_whom",
            value=str(len(to_whom.strip())),
            message="says to whom the pack goes, by role",
            accepted='2 to 40 characters, such as "ward 3" or "patient"',
            rule="to-whom",
        )
    ]


def _past_use(pack: Pack, at: datetime) -> Sequence[Refusal]:
    today = local_day(at, pack.site)
    if today <= pack.use_by_date:
        return ()
    return (
        Refusal(
            field="use_by_date",
            value=pack.use_by_date.isoformat(),
            limit=today.isoformat(),
            message="the last day of use has passed",
            rule="use-by-passed",
        ),
    )


def _recalled(pack: Pack, at: datetime) -> list[Refusal]:
    return [
        Refusal(field="resin_lot", value=pack.batch.resin_lot.code, message=text, rule="resin-lot")
        for text in lot_part(pack.zone, at=at).blockers
    ]


def _witness(actor: Actor, username: str) -> User | None:
    people = User.objects.filter(site_id=actor.site_id, kind=User.PERSON, is_active=True)
    return people.filter(username=username.strip()).first()


def _let_line_go(doing: Act, pack: Pack) -> None:
    """Free the line of a pack that never reached the patient, unless another part of it goes on elsewhere.

    The zone then fails: its units are gone, and what the line lacks can be planned again.
    """
    line = line_facts(pack.line.code)
    if hasattr(pack, "supply") or line.committed_to != pack.zone.held_by:
        return
    move_zone(doing, pack.zone, "fail")
    if not is_alive(line.code, pack.zone.held_by):
        free_line(doing, line.code, plan=pack.zone.held_by)
