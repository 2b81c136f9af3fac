"""From draft to validated and out of use: submit, two signatures, suspend, retire."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dosewright.ground.act import act
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor, Role
from dosewright.ground.signing import Pen, sign
from dosewright.ground.two_signatures import earlier_signatures, first_signer
from printing.formulary import queries
from printing.formulary.models import Formulation
from printing.formulary.services.drafting import FormulationAnswer
from printing.formulary.spec_rules import listed, missing_for_validation
from printing.formulary.states import FORMULATION

MEANINGS = {
    Role.SCIENTIST: "validated as formulation scientist: the studies support what is stated",
    Role.PHARMACIST: "validated as pharmacist: suitable for patients within what is stated",
}


def submit_formulation(actor: Actor, code: str, *, at: datetime, number: int | None = None) -> FormulationAnswer:
    """Hand a draft in for review. For formulation scientists. Raises NotAllowed, NotThere, Conflict."""
    row = _find(actor, code, number, "submit")
    with act(actor, "formulation.submit", at=at, subject=queries.subject_of(row)) as doing:
        doing.advance(row, "submit")
        return _answer(row)


def validate_formulation(
    actor: Actor, code: str, *, pen: Pen, at: datetime, number: int | None = None
) -> FormulationAnswer:
    """Sign a version in review (or suspended); the second signature validates it.

    One signature is a formulation scientist's, the other a pharmacist's, never the same person's. Raises
    NotAllowed, NotThere, Conflict, and Blocked naming everything that is missing.
    """
    row = _find(actor, code, number, "validate")
    with act(actor, "formulation.validate", at=at, subject=queries.subject_of(row)) as doing:
        # Two first signatures at once would both wait for a second one for ever: the row is held meanwhile.
        row = Formulation.objects.select_for_update().select_related("substance").get(pk=row.pk)
        earlier = earlier_signatures(doing.action, subject=doing.subject, subject_version=row.version)
        doing.authorise(first_signer(earlier))
        _must_be_open(row)
        refuse_if_any(Blocked, missing_for_validation(queries.facts_of(row)))
        meaning = _meaning(actor, frozenset(one.meaning for one in earlier))
        sign(
            doing,
            pen,
            meaning=meaning,
            subject_kind="formulation",
            subject=doing.subject,
            subject_version=row.version,
            shown=_shown(row),
        )
        if earlier:
            doing.advance(row, "validate")
            doing.emit("formulation validated", formulation=row.code, number=row.number)
        return _answer(row, signatures=len(earlier) + 1)


def shown_for_validate(actor: Actor, code: str, *, number: int | None = None) -> dict[str, Any]:
    """Return what a signer of `validate_formulation` is shown. Raises NotThere."""
    return _shown(_find(actor, code, number, "validate"))


def suspend_formulation(
    actor: Actor, code: str, *, reason: str, at: datetime, number: int | None = None
) -> FormulationAnswer:
    """Take a validated version out of use until two signatures reinstate it. For pharmacists and scientists.

    Raises NotAllowed, NotThere, Conflict.
    """
    return _move(actor, code, "suspend", reason=reason, at=at, number=number)


def retire_formulation(
    actor: Actor, code: str, *, reason: str, at: datetime, number: int | None = None
) -> FormulationAnswer:
    """Take a version out of use for good. For formulation scientists. Raises NotAllowed, NotThere, Conflict."""
    return _move(actor, code, "retire", reason=reason, at=at, number=number)


def _move(actor: Actor, code: str, event: str, *, reason: str, at: datetime, number: int | None) -> FormulationAnswer:
    row = _find(actor, code, number, event)
    with act(actor, f"formulation.{event}", at=at, subject=queries.subject_of(row), reason=reason) as doing:
        _need_reason(reason)
        doing.advance(row, event)
        doing.emit(f"formulation {row.state}", formulation=row.code, number=row.number)
        return _answer(row)


def _find(actor: Actor, code: str, number: int | None, event: str) -> Formulation:
    states = tuple(state for state, name in FORMULATION if name == event)
    return queries.find_formulation(actor.site_id, code, number, states=states)


def _must_be_open(row: Formulation) -> None:
    if (row.state, "validate") not in FORMULATION:
        raise Conflict(
            Refusal(
                field=queries.subject_of(row),
                value=row.state,
                rule="state",
                message="is not up for validation",
                accepted="in review or suspended",
            )
        )


def _meaning(actor: Actor, given: frozenset[str]) -> str:
    """The meaning that this actor's signature has beside those already given."""
    for role, meaning in MEANINGS.items():
        if actor.has(role) and meaning not in given:
            return meaning
    wanted = next(role for role, meaning in MEANINGS.items() if meaning not in given)
    raise NotAllowed(
        Refusal(
            field="actor",
            value=actor.username,
            rule="second signature",
            message="that part has already signed",
            accepted=f"a {wanted}",
        )
    )


def _shown(row: Formulation) -> dict[str, Any]:
    facts = queries.facts_of(row)
    return {"formulation": facts, "still_missing": listed(missing_for_validation(facts))}


def _need_reason(reason: str) -> None:
    if not reason.strip():
        raise BadInput.because("reason", "this needs a reason", accepted="one sentence")


def _answer(row: Formulation, *, signatures: int = 0) -> FormulationAnswer:
    return FormulationAnswer(code=row.code, number=row.number, state=row.state, signatures=signatures)
