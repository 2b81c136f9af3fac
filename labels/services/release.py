"""Release: one function behind every door, on everything that was shown, refused by any blocker.

The blockers are worked out from the records inside the transaction that signs. A role alone releases nothing.
"""

from __future__ import annotations

from datetime import datetime

from dosewright.ground.act import Act, act
from dosewright.ground.models import Signature
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.codes import KINDS, parse
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal, refuse_if_any
from dosewright.ground.pure.gs1 import SEPARATOR, read_element_string
from dosewright.ground.pure.roles import Actor
from dosewright.ground.signing import Pen, sign
from labels.models import Pack, PackRemark, ReleaseRecord
from labels.queries import pack_row, people_of_pack, release_view, tidy_code
from labels.records import Blocker, ReleaseView
from labels.services.answers import PackAnswer, answer_of, reason_of, screened_pack
from labels.services.certifying import make_certificate

RELEASE_MEANING = "I examined all that is shown of this pack and release it for supply."
REJECT_MEANING = "I reject this pack; it is not supplied."
GTIN, SERIAL, DATA_MATRIX = "01", "21", "]d2"
"""GS1 identifiers of product and serial, and how a scanner announces a GS1 DataMatrix (AIM, from memory)."""


OUTCOMES = {"release": ReleaseRecord.RELEASED, "reject": ReleaseRecord.REJECTED}


def release_record(actor: Actor, code: str, *, at: datetime) -> ReleaseView:
    """Return everything that the releasing pharmacist is shown and signs, every blocker included; raises NotThere."""
    return release_view(pack_row(actor, code), releaser=actor.username, at=at)


def release_pack(actor: Actor, code: str, *, scanned: str, pen: Pen, at: datetime) -> PackAnswer:
    """Release a packed pack for supply and write its certificate; a pharmacist who took no part in it.

    The order is screened again first. Raises NotAllowed for who made, tested, packed or closed a deviation of it;
    BadInput when another pack was scanned; Blocked naming every blocker; Conflict when what was shown has changed.
    """
    screened_pack(actor, "pack.release", code, occasion="release", at=at)
    with act(actor, "pack.release", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        doing.authorise(_parties(pack))
        refuse_if_any(BadInput, other_pack(pack, scanned))
        shown = release_view(pack, releaser=actor.username, at=at)
        refuse_if_any(Blocked, [_refusal(one) for one in shown.blockers])
        signature = _decide(doing, pack, pen, shown, meaning=RELEASE_MEANING, event="release")
        certificate = make_certificate(doing, pack, shown, signature=signature)
        doing.emit("pack released", pack=pack.code, order=pack.order.code)
    return answer_of(pack, document=certificate.code)


def reject_pack(actor: Actor, code: str, *, reason: str, pen: Pen, at: datetime) -> PackAnswer:
    """Reject a packed pack: it is quarantined and can only be destroyed; pharmacists sign what was shown.

    Raises BadInput without a reason, Conflict when the pack is not packed or what was shown has changed.
    """
    with act(actor, "pack.reject", at=at, subject=tidy_code(code), reason=reason[:200]) as doing:
        said = reason_of(reason)
        pack = pack_row(actor, code)
        shown = release_view(pack, releaser=actor.username, at=at)
        _decide(doing, pack, pen, shown, meaning=REJECT_MEANING, event="reject")
        PackRemark.objects.create(pack=pack, what="rejected", text=said, by_id=actor.user_id, at=at)
    return answer_of(pack)


def quarantine_pack(actor: Actor, code: str, *, reason: str, at: datetime) -> PackAnswer:
    """Hold a released pack that was not supplied; pharmacists and technicians. It can only be destroyed.

    Raises BadInput without a reason, Conflict when the pack is not released.
    """
    with act(actor, "pack.quarantine", at=at, subject=tidy_code(code), reason=reason[:200]) as doing:
        said = reason_of(reason)
        pack = pack_row(actor, code)
        PackRemark.objects.create(pack=pack, what="quarantined", text=said, by_id=actor.user_id, at=at)
        doing.advance(pack, "quarantine")
    return answer_of(pack)


def other_pack(pack: Pack, scanned: str) -> list[Refusal]:
    """Return a refusal unless what was scanned, a pack's code or a label's GS1 symbol, is this pack."""
    found = scanned_pack(scanned)
    if found == pack.code:
        return []
    return [
        Refusal(
            field="scanned",
            value=found[:40],
            limit=pack.code,
            message="another pack was scanned",
            accepted=pack.code,
            rule="other-pack",
        )
    ]


def scanned_pack(scanned: str) -> str:
    """Return the pack's code that a scanner sent: the code itself, or the serial in a label's GS1 element string.

    Scanners that type swallow the separator between elements; the serial is then what our labels end with.
    """
    text = scanned.strip().removeprefix(DATA_MATRIX)
    if SEPARATOR in text:
        text = dict(read_element_string(text)).get(SERIAL, "")
    elif text.startswith(GTIN):
        text = text.rpartition(f"{SERIAL}{KINDS['pack'].prefix}-")[2]
        text = f"{KINDS['pack'].prefix}-{text}"
    return parse(text, field="scanned", kind="pack")[1]


def _decide(doing: Act, pack: Pack, pen: Pen, shown: ReleaseView, *, meaning: str, event: str) -> Signature:
    """Sign what was shown of a pack, move it and keep the decision, once for releasing and for rejecting.

    The pack moves before its record is added: of two pharmacists who sign at once the second then meets a state.
    """
    signature = sign(
        doing,
        pen,
        meaning=meaning,
        subject_kind="pack",
        subject=pack.code,
        subject_version=pack.version,
        shown=shown,
    )
    doing.advance(pack, event)
    text = canonical_text(shown)
    ReleaseRecord.objects.create(
        pack=pack,
        outcome=OUTCOMES[event],
        text=text,
        digest=digest_of(text),
        signature=signature,
        by_id=doing.actor.user_id,
        at=doing.at,
    )
    return signature


def _parties(pack: Pack) -> dict[str, frozenset[int]]:
    making, packers = people_of_pack(pack)
    return {"maker": making.makers, "tester": making.testers, "packer": packers, "closer": making.closers}


def _refusal(one: Blocker) -> Refusal:
    return Refusal(
        field="pack", value=one.value or None, message=one.text, accepted=one.accepted or None, rule=one.code
    )
