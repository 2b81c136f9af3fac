"""Deviations: opened by whoever sees one, closed by a pharmacist whom it does not concern, with a signature."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dosewright.ground.act import act
from dosewright.ground.pure.errors import BadInput, NotThere, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.signing import Pen, sign
from printing.plates.queries import batch_row, zone_row
from printing.runs.content import DECISIONS, DeviationFacts
from printing.runs.models import Deviation
from printing.runs.queries.deviations import deviation_of, resin_lot_id
from printing.runs.queries.people import person_by_name
from printing.runs.services.record import add_deviation

LEAST_TEXT, MOST_TEXT = 10, 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviationAnswer:
    """A deviation after an action."""

    code: str
    state: str
    version: int


def open_deviation(
    actor: Actor,
    *,
    kind: str,
    text: str,
    effect: str,
    batch: str = "",
    zones: Sequence[str] = (),
    resin_lot: str = "",
    concerns: Sequence[str] = (),
    holds: bool = True,
    at: datetime,
) -> DeviationAnswer:
    """Open a deviation of a batch, of zones of one batch, or of a resin lot; `concerns` are user names.

    For technicians, pharmacists, scientists and the system. Raises NotAllowed, NotThere, BadInput.
    """
    with act(actor, "deviation.open", at=at, subject=batch or resin_lot or (zones[0] if zones else "")) as doing:
        rows = [zone_row(actor, one) for one in zones]
        refuse_if_any(BadInput, _faults(kind, text, bool(batch or rows or resin_lot)))
        batches = {one.batch_id for one in rows} | ({batch_row(actor, batch).pk} if batch else set())
        if len(batches) > 1:
            raise BadInput.because("zones", "are of another batch", accepted="zones of one batch")
        people = [person_by_name(actor.site_id, one) for one in concerns]
        if None in people:
            raise NotThere.because("concerns", "no such person at this site", accepted="user names")
        row = add_deviation(
            doing,
            kind=kind.strip(),
            text=text.strip(),
            effect=effect.strip(),
            batch_id=next(iter(batches), None),
            zone_ids=[one.pk for one in rows],
            resin_lot_id=resin_lot_id(actor.site_id, resin_lot) if resin_lot else None,
            concerns=[one.pk for one in people if one is not None],
            holds=holds,
        )
        doing.subject = row.code
    return _answer(row)


def shown_for_close(actor: Actor, code: str) -> DeviationFacts:
    """Return what the closer of a deviation is shown. Raises NotThere."""
    return deviation_of(find(actor, Deviation, code))


def close_deviation(
    actor: Actor, code: str, *, investigation: str, action_taken: str, decision: str, pen: Pen, at: datetime
) -> DeviationAnswer:
    """Close a deviation with what was found, what was done, and whether the goods may be used.

    For pharmacists whom it does not concern. "Must not be used" fails the zones it is of. Raises NotAllowed,
    NotThere, BadInput, Conflict.
    """
    row = find(actor, Deviation, code)
    concerned = frozenset(row.concerns.values_list("pk", flat=True))
    with act(actor, "deviation.close", at=at, subject=code, parties={"concerned": concerned}) as doing:
        refuse_if_any(BadInput, _closing_faults(investigation, action_taken, decision))
        version = row.version
        sign(
            doing,
            pen,
            meaning=f"deviation investigated and closed: {decision}",
            subject_kind="deviation",
            subject=code,
            subject_version=version,
            shown=deviation_of(row),
        )
        doing.advance(row, "close")
        doing.change(
            row,
            investigation=investigation.strip(),
            action_taken=action_taken.strip(),
            decision=decision,
            closed_by_id=actor.user_id,
            closed_at=at,
        )
        doing.emit("deviation closed", deviation=code)
    return _answer(row)


def _faults(kind: str, text: str, has_subject: bool) -> list[Refusal]:
    found = []
    if not 3 <= len(kind.strip()) <= 40:
        found.append(Refusal(field="kind", value=kind[:40], message="is no kind", accepted="3 to 40 characters"))
    found += _text_faults("text", text)
    if not has_subject:
        found.append(
            Refusal(field="batch", message="it must be of something", accepted="a batch, zones or a resin lot")
        )
    return found


def _closing_faults(investigation: str, action_taken: str, decision: str) -> list[Refusal]:
    found = _text_faults("investigation", investigation) + _text_faults("action_taken", action_taken)
    if decision not in DECISIONS:
        found.append(
            Refusal(field="decision", value=decision[:40], message="is no decision", accepted=", ".join(DECISIONS))
        )
    return found


def _text_faults(field: str, text: str) -> list[Refusal]:
    if LEAST_TEXT <= len(text.strip()) <= MOST_TEXT:
        return []
    accepted = f"{LEAST_TEXT} to {MOST_TEXT} characters"
    return [Refusal(field=field, value=f"{len(text.strip())} characters", message="must be said", accepted=accepted)]


def _answer(row: Deviation) -> DeviationAnswer:
    return DeviationAnswer(code=row.code, state=row.state, version=row.version)
