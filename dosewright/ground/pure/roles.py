"""Who may do what: per action the roles, whom the actor must differ from, and which state events it may fire.

One table for pages, REST, commands and workers alike. A relation named in ``differs`` is filled by the
service with the people concerned; ``is_one_of`` names the only people who may act.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from zoneinfo import ZoneInfo

from dosewright.ground.pure.errors import NotAllowed, Refusal


class Role(StrEnum):
    """What a person is at a site; SYSTEM and PRINTER are machines with rows of their own."""

    PRESCRIBER = "prescriber"
    TECHNICIAN = "technician"
    PHARMACIST = "pharmacist"
    AUDITOR = "auditor"
    SCIENTIST = "formulation scientist"
    MANAGER = "site manager"
    SYSTEM = "system"
    PRINTER = "printer"


class Channel(StrEnum):
    """The door by which an action came in; a signature is never given by token."""

    PAGE = "page"
    SESSION = "session"
    TOKEN = "token"
    COMMAND = "command"
    WORKER = "worker"
    PRINTER = "printer"


@dataclass(frozen=True, slots=True, kw_only=True)
class Actor:
    """Who acts, where, with which roles and by which door; ``zone`` is the site's, in which its days are counted."""

    user_id: int
    username: str
    printed_name: str
    registration: str
    site_id: int
    site_code: str
    zone: ZoneInfo
    roles: frozenset[Role]
    channel: Channel

    def has(self, *roles: Role) -> bool:
        """Say whether the actor holds one of `roles`."""
        return not self.roles.isdisjoint(roles)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What one action asks of its actor."""

    roles: frozenset[Role]
    differs: tuple[str, ...] = ()
    is_one_of: str | None = None
    events: tuple[tuple[str, str], ...] = ()
    signed: bool = False


def _rule(
    *roles: Role,
    differs: tuple[str, ...] = (),
    is_one_of: str | None = None,
    events: tuple[tuple[str, str], ...] = (),
    signed: bool = False,
) -> Rule:
    return Rule(roles=frozenset(roles), differs=differs, is_one_of=is_one_of, events=events, signed=signed)


P, T, RX, AU, SC, SM, SY, PR = (
    Role.PRESCRIBER,
    Role.TECHNICIAN,
    Role.PHARMACIST,
    Role.AUDITOR,
    Role.SCIENTIST,
    Role.MANAGER,
    Role.SYSTEM,
    Role.PRINTER,
)

ACTIONS: dict[str, Rule] = {
    # prescriptions
    "substance.set_up": _rule(RX),
    "patient.register": _rule(P, RX),
    "patient.correct": _rule(P, RX),
    "patient.measure": _rule(P, RX),
    "patient.reveal": _rule(AU),
    "order.enter": _rule(P, RX, T, events=(("order", "sign"),), signed=True),
    "order.import": _rule(P, RX, T),
    "order.sign": _rule(P, is_one_of="prescriber", events=(("order", "sign"),), signed=True),
    "order.attest": _rule(RX, differs=("prescriber",), events=(("order", "attest"),), signed=True),
    "order.screen": _rule(SY, events=(("order", "recheck"),)),
    "alert.open": _rule(RX),
    "alert.reason": _rule(RX),
    "order.verify": _rule(RX, differs=("prescriber", "attester"), events=(("order", "verify"),), signed=True),
    "order.query": _rule(RX, events=(("order", "query"),)),
    "order.answer": _rule(P, events=(("order", "answer"),)),
    "order.return": _rule(RX, events=(("order", "return"),)),
    "order.resubmit": _rule(P, is_one_of="prescriber", events=(("order", "resubmit"),), signed=True),
    "order.amend": _rule(P, is_one_of="prescriber", events=(("order", "amend"),), signed=True),
    "order.stop": _rule(P, RX, events=(("order", "stop"),)),
    # formulary
    "formulation.draft": _rule(SC),
    "formulation.submit": _rule(SC, events=(("formulation", "submit"),)),
    "formulation.validate": _rule(
        SC, RX, differs=("first signer",), events=(("formulation", "validate"),), signed=True
    ),
    "formulation.suspend": _rule(RX, SC, events=(("formulation", "suspend"),)),
    "formulation.retire": _rule(SC, events=(("formulation", "retire"),)),
    # stock
    "ingredient_lot.receive": _rule(T, RX),
    "ingredient_lot.approve": _rule(RX, differs=("receiver",), events=(("ingredient lot", "approve"),)),
    "ingredient_lot.reject": _rule(RX, events=(("ingredient lot", "reject"),)),
    "ingredient_lot.block": _rule(RX, T, events=(("ingredient lot", "block"),)),
    "ingredient_lot.unblock": _rule(
        RX, differs=("first signer",), events=(("ingredient lot", "unblock"),), signed=True
    ),
    "premix.start": _rule(T),
    "premix.weigh": _rule(T, RX),
    "premix.check_weighing": _rule(T, RX, differs=("weigher",)),
    "premix.mix": _rule(T),
    "premix.assay": _rule(T, RX),
    "resin_lot.start": _rule(T),
    "resin_lot.weigh": _rule(T, RX),
    "resin_lot.check_weighing": _rule(T, RX, differs=("weigher",)),
    "resin_lot.mix": _rule(T, events=(("resin lot", "mix"),)),
    "resin_lot.test": _rule(T, RX),
    "resin_lot.end_tests": _rule(T, RX, events=(("resin lot", "test"),)),
    "resin_lot.approve": _rule(RX, differs=("maker",), events=(("resin lot", "approve"),), signed=True),
    "resin_lot.reject": _rule(RX, events=(("resin lot", "reject"),)),
    "resin_lot.block": _rule(RX, T, events=(("resin lot", "block"),)),
    "resin_lot.unblock": _rule(RX, differs=("first signer",), events=(("resin lot", "unblock"),), signed=True),
    "equipment.register": _rule(SM),
    "equipment.check": _rule(SM, T),
    "equipment.clean": _rule(T),
    "tank.fill": _rule(T),
    "ingredient_lot.close": _rule(T, RX, events=(("ingredient lot", "exhaust"),)),
    "resin_lot.close": _rule(T, RX, events=(("resin lot", "exhaust"),)),
    "tank.empty": _rule(T),
    # plates
    "printer.register": _rule(SM),
    "printer.check": _rule(T, SM),
    "printer.tank": _rule(T, SM),
    "printer.token": _rule(SM),
    "plan.request": _rule(T, RX),
    "plan.make": _rule(SY),
    "batch.approve": _rule(T, events=(("print batch", "approve"),)),
    "batch.deliver": _rule(SY, events=(("print batch", "deliver"),)),
    "batch.cancel": _rule(T, RX, SY, events=(("print batch", "cancel"), ("unit", "drop"))),
    # runs
    "run.gate": _rule(T),
    "run.start": _rule(T, events=(("print batch", "start"),)),
    "run.seen": _rule(PR),
    "run.layer": _rule(PR, T),
    "run.end": _rule(PR, T, events=(("print batch", "end"),)),
    "run.fault": _rule(PR, T, events=(("print batch", "fault"), ("unit", "destroy"))),
    "run.remove": _rule(T, events=(("print batch", "remove"), ("unit", "print"), ("unit", "drop"), ("unit", "lose"))),
    "run.find_unit": _rule(T, events=(("unit", "find"),)),
    "run.step": _rule(T),
    "run.finish": _rule(T, events=(("print batch", "finish"),)),
    "run.break_off": _rule(T, events=(("unit", "lose"),)),
    "run.mass": _rule(T),
    "run.appearance": _rule(T, events=(("unit", "reject"),)),
    "run.content": _rule(T, RX, events=(("unit", "test"),)),
    "run.reject_unit": _rule(T, RX, events=(("unit", "reject"),)),
    "run.verdict": _rule(T, RX, events=(("zone", "pass"), ("zone", "fail"), ("unit", "reject"))),
    "run.close": _rule(RX, events=(("print batch", "close"), ("unit", "leave over"), ("unit", "retain"))),
    "unit.destroy": _rule(T, RX, differs=("witness",), events=(("unit", "destroy"),)),
    "deviation.open": _rule(T, RX, SC, SY),
    "deviation.close": _rule(RX, differs=("concerned",), events=(("deviation", "close"),), signed=True),
    # labels
    "zone.approve_to_pack": _rule(RX, events=(("zone", "approve to pack"),), signed=True),
    "pack.start": _rule(T),
    "pack.fill": _rule(T, events=(("unit", "pack"),)),
    "label.issue": _rule(T),
    "label.account": _rule(T),
    "pack.second_scan": _rule(T, RX, differs=("packer",)),
    "pack.close": _rule(T, events=(("pack", "pack"),)),
    "pack.release": _rule(
        RX, differs=("maker", "tester", "packer", "closer"), events=(("pack", "release"),), signed=True
    ),
    "pack.reject": _rule(RX, events=(("pack", "reject"),), signed=True),
    "pack.quarantine": _rule(RX, T, events=(("pack", "quarantine"),)),
    "pack.supply": _rule(RX, T, events=(("pack", "supply"), ("unit", "supply"))),
    "pack.take_back": _rule(RX, T, events=(("pack", "take_back"), ("unit", "return"))),
    "pack.destroy": _rule(
        RX, differs=("witness",), events=(("pack", "destroy"), ("unit", "destroy"), ("zone", "fail"))
    ),
    "document.draft": _rule(T, RX),
    "document.make": _rule(T, RX, AU, SC, SM, SY),
    # the house
    "jurisdiction.sign": _rule(RX, signed=True),
    "person.grant": _rule(SM),
    "token.create": _rule(P, T, RX, AU, SC, SM),
    "token.revoke": _rule(P, T, RX, AU, SC, SM),
    "audit.verify": _rule(AU, RX, SM, SY),
    "reads.seal": _rule(SY),
}

READS: dict[str, frozenset[Role]] = {
    "patient": frozenset({P, RX, AU}),
    "order": frozenset({P, T, RX, AU}),
    "formulation": frozenset({P, T, RX, AU, SC, SM}),
    "stock": frozenset({T, RX, AU, SC, SM}),
    "batch": frozenset({T, RX, AU, SC}),
    "pack": frozenset({T, RX, AU}),
    "trace": frozenset({RX, AU}),
    "audit": frozenset({AU, RX, SM}),
    "document": frozenset({T, RX, AU}),
    "document with a name": frozenset({T, RX}),
    "people": frozenset({SM, AU}),
    "token": frozenset({P, T, RX, AU, SC, SM}),
}


def rule_for(action: str) -> Rule:
    """Return the rule of `action`; a name that is not in the table is a programming error (KeyError)."""
    return ACTIONS[action]


def authorise(actor: Actor, action: str, *, parties: Mapping[str, frozenset[int]]) -> None:
    """Raise NotAllowed unless `actor` may do `action` among `parties` (relation -> user ids)."""
    rule = authorise_role(actor, action)
    for relation in rule.differs:
        if actor.user_id in parties[relation]:
            raise NotAllowed(
                Refusal(
                    field="actor",
                    value=actor.username,
                    message=f"{action} must be done by another person than the {relation}",
                    accepted=f"{_names(rule)} other than the {relation}",
                    rule="must differ",
                )
            )
    if rule.is_one_of is not None and actor.user_id not in parties[rule.is_one_of]:
        raise NotAllowed(
            Refusal(
                field="actor",
                value=actor.username,
                message=f"{action} is for the {rule.is_one_of} named in the record alone",
                accepted=f"the {rule.is_one_of}",
                rule="must be",
            )
        )


def authorise_role(actor: Actor, action: str) -> Rule:
    """Return the rule of `action`, or raise NotAllowed when the actor holds none of its roles."""
    rule = rule_for(action)
    if not actor.has(*rule.roles):
        raise NotAllowed(_no_role(actor, action, rule))
    return rule


def authorise_read(actor: Actor, view: str) -> None:
    """Raise NotAllowed unless `actor` may look at records of `view`."""
    allowed = READS[view]
    if not actor.has(*allowed):
        names = ", ".join(sorted(allowed))
        raise NotAllowed(
            Refusal(
                field="actor",
                value=actor.username,
                message=f"may not see {view} records",
                accepted=names,
                rule="role",
            )
        )


def _no_role(actor: Actor, action: str, rule: Rule) -> Refusal:
    held = ", ".join(sorted(actor.roles)) or "no role"
    return Refusal(
        field="actor",
        value=f"{actor.username} ({held})",
        message=f"may not do {action}",
        accepted=_names(rule),
        rule="role",
    )


def _names(rule: Rule) -> str:
    return " or ".join(sorted(rule.roles))
