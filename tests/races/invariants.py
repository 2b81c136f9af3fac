"""What must be true of a site after every step, whoever did what: read from its tables, past the services.

The design's section on data names them; each function returns what is broken, in words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from django.db.models import Count, F, Sum

from dosewright.ground.act import GENESIS
from dosewright.ground.models import AuditEntry, Chain, Document, DocumentIssue, Idempotency, Signature
from dosewright.ground.pure.canonical import digest_of
from dosewright.ground.triggers import missing_triggers
from dosewright.ground.verify import verify
from labels.models import Pack, PackUnit, ReleaseRecord, Supply, TakenBack
from prescriptions.models import DoseLine, Order
from printing.plates.models import PlacedUnit, PrintBatch, Zone
from printing.plates.states import UNIT
from printing.runs.models import Verdict
from printing.stock.models import Balance, StockMovement, TankFill

STATES = {state for state, _ in UNIT} | set(UNIT.values())
DEAD = ("cancelled", "faulted")
IN_A_PACK = ("packed", "supplied", "returned", "destroyed")


@dataclass(slots=True)
class Book:
    """What was so after the last step, to tell what came and went in this one."""

    units: dict[str, str] = field(default_factory=dict)
    batches: dict[str, str] = field(default_factory=dict)
    resin_ug: dict[str, int] = field(default_factory=dict)
    length: int = 0
    head: str = GENESIS


def units_are_conserved(book: Book) -> Iterator[str]:
    """No unit comes or goes but with a plan, each is in one state, and each change is one that the table leads to."""
    now = dict(PlacedUnit.objects.values_list("code", "state"))
    gone = book.units.keys() - now.keys()
    yield from (f"unit {code} is gone" for code in sorted(gone))
    yield from (f"unit {code} is {state}" for code, state in now.items() if state not in STATES)
    for code, state in now.items():
        old = book.units.get(code)
        if old is not None and old != state and not may_become(old, state):
            yield f"unit {code} went from {old} to {state}"
    laid_out = sum(Zone.objects.annotate(count=Count("units")).values_list("count", flat=True))
    if laid_out != len(now):
        yield f"{laid_out} units lie in zones, {len(now)} stand"
    book.units = now


def may_become(old: str, new: str) -> bool:
    """Say whether the table leads from one state to the other in one step or several."""
    seen, front = {old}, {old}
    while front:
        front = {after for (state, _), after in UNIT.items() if state in front} - seen
        seen |= front
    return new in seen


def stock_is_conserved(book: Book) -> Iterator[str]:
    """Every balance is the sum of its movements and never negative; no resin comes or goes once it is mixed."""
    rows = StockMovement.objects.values_list("lot", "account").annotate(total=Sum("amount_ug"))
    moved = {(lot, account): total for lot, account, total in rows}
    for lot, account, amount in Balance.objects.values_list("lot", "account", "amount_ug"):
        if amount < 0:
            yield f"{amount} ug of {lot} on {account}"
        if moved.get((lot, account), 0) != amount:
            yield f"{amount} ug of {lot} on {account}, but {moved.get((lot, account), 0)} ug were moved"
    totals: Counter[str] = Counter()
    for (lot, _), total in moved.items():
        totals[lot] += total
    for lot, total in totals.items():
        if book.resin_ug.setdefault(lot, total) != total:
            yield f"{lot}: {book.resin_ug[lot]} ug became {total} ug"


def one_batch_runs_on_a_printer(book: Book) -> Iterator[str]:
    """One running batch per printer; a batch number stays, and one that ended for good stays ended."""
    running = Counter(PrintBatch.objects.filter(state="printing").values_list("printer__code", flat=True))
    yield from (f"{count} batches run on {printer}" for printer, count in running.items() if count > 1)
    codes = list(PrintBatch.objects.values_list("code", "state"))
    now = dict(codes)
    if len(now) != len(codes):
        yield "a batch number was used twice"
    for code, old in book.batches.items():
        if code not in now:
            yield f"batch {code} is gone"
        elif old in DEAD and now[code] != old:
            yield f"batch {code} was {old} and is {now[code]}"
    book.batches = now


def one_formulation_in_a_tank(book: Book) -> Iterator[str]:
    """One fill in a tank, of the formulation that the tank is dedicated to."""
    open_fills = TankFill.objects.filter(emptied_at=None)
    for tank, count in Counter(open_fills.values_list("tank__code", flat=True)).items():
        if count > 1:
            yield f"{count} fills in {tank}"
    other = open_fills.exclude(tank__formulation_code=F("resin_lot__formulation__code"))
    yield from (f"{fill} is of another formulation than its tank" for fill in other.values_list("code", flat=True))


def a_reference_is_one_order(book: Book) -> Iterator[str]:
    """An outside reference of a source names one order, and its kept answer is that order."""
    for source, reference, count in (
        Order.objects.values_list("source", "reference").annotate(count=Count("pk")).filter(count__gt=1)
    ):
        yield f"{count} orders for {source} {reference}"
    answers = set(Idempotency.objects.values_list("source", "reference", "answer"))
    orders = set(Order.objects.values_list("source", "reference", "code"))
    yield from (f"{answer} answers {source} {reference}" for source, reference, answer in answers - orders)


def a_line_is_made_once(book: Book) -> Iterator[str]:
    """A line is held by the plan of the batches that are alive on it, never by two."""
    alive = Zone.objects.exclude(batch__state__in=DEAD).exclude(state="failed").exclude(line=None)
    gone = set(Pack.objects.filter(state="destroyed").values_list("zone_id", flat=True))
    plans: dict[str, set[str]] = {}
    for zone, line, plan in alive.values_list("pk", "line__code", "batch__plan"):
        if zone not in gone:
            plans.setdefault(line, set()).add(plan)
    held = dict(DoseLine.objects.values_list("code", "committed_to"))
    for line, those in plans.items():
        if len(those) > 1:
            yield f"{line} is made by {sorted(those)}"
        elif held[line] not in those:
            yield f"{line} is made by {sorted(those)} and held by {held[line] or 'nobody'}"


def packs_are_not_mixed(book: Book) -> Iterator[str]:
    """What is in a pack is of its one zone, line and batch; a unit is in one pack and says so."""
    for unit, zone, batch, line, of_pack in PackUnit.objects.values_list(
        "unit__code", "unit__zone_id", "unit__zone__batch_id", "unit__zone__line_id", "pack_id"
    ):
        pack = Pack.objects.values_list("zone_id", "batch_id", "line_id").get(pk=of_pack)
        if (zone, batch, line) != pack:
            yield f"unit {unit} is in a pack of another zone"
    loose = PlacedUnit.objects.filter(state__in=("packed", "supplied", "returned"), packed_in=None)
    yield from (f"unit {code} is {state} and in no pack" for code, state in loose.values_list("code", "state"))
    wrong = PackUnit.objects.exclude(unit__state__in=IN_A_PACK)
    yield from (f"unit {code} is {state} in a pack" for code, state in wrong.values_list("unit__code", "unit__state"))
    for code, wanted, count in Pack.objects.annotate(count=Count("contents")).values_list("code", "wanted", "count"):
        if count not in {0, wanted}:
            yield f"pack {code} holds {count} of {wanted}"
    doses = PackUnit.objects.exclude(unit__zone__line_id=F("pack__line_id"))
    yield from (f"unit {code} is of another line" for code in doses.values_list("unit__code", flat=True))


def nothing_leaves_unreleased(book: Book) -> Iterator[str]:
    """Supplied once, after a release that is signed for that pack; what is returned was supplied."""
    released = dict(ReleaseRecord.objects.filter(outcome="released").values_list("pack__code", "signature__subject"))
    yield from (
        f"{pack} is released by a signature on {subject}" for pack, subject in released.items() if pack != subject
    )
    for pack, state in Pack.objects.values_list("code", "state"):
        if state in {"released", "supplied", "returned"} and pack not in released:
            yield f"pack {pack} is {state} without a release"
    handed = Counter(Supply.objects.values_list("pack__code", flat=True))
    yield from (f"pack {pack} was handed over {count} times" for pack, count in handed.items() if count > 1)
    yield from (f"pack {pack} left unreleased" for pack in handed if pack not in released)
    back = set(TakenBack.objects.values_list("pack__code", flat=True))
    yield from (f"pack {pack} came back and never left" for pack in back - set(handed))


def signatures_are_bound(book: Book) -> Iterator[str]:
    """What was verified, approved or released was signed, by the people it takes, for the version at hand."""
    signed = set(Signature.objects.values_list("action", "subject"))
    versions = set(Signature.objects.filter(action="order.verify").values_list("subject", "subject_version"))
    for code, current in Order.objects.filter(state="verified").values_list("code", "current"):
        if (code, current) not in versions:
            yield f"order {code} is verified and version {current} is not signed"
    for code in Zone.objects.filter(state="approved to pack").values_list("code", flat=True):
        if ("zone.approve_to_pack", code) not in signed:
            yield f"zone {code} is approved and not signed"
    judged = set(Verdict.objects.values_list("zone__code", flat=True))
    for code in Zone.objects.filter(state__in=("passed", "approved to pack")).values_list("code", flat=True):
        if code not in judged:
            yield f"zone {code} passed without a verdict"
    yield from (
        f"signature {one.pk} is not under what was shown"
        for one in Signature.objects.all()
        if digest_of(one.shown_text) != one.shown_digest
    )


def labels_are_counted(book: Book) -> Iterator[str]:
    """Numbers of originals have no gap, and one pack carries one applied label at most."""
    numbers = sorted(
        int(one) for one in Document.objects.filter(kind="label", state="original").values_list("number", flat=True)
    )
    if numbers != list(range(1, len(numbers) + 1)):
        yield f"label originals are numbered {numbers}"
    spoiled = DocumentIssue.objects.filter(what="spoiled").values("document_id")
    applied = DocumentIssue.objects.filter(what="applied").exclude(document_id__in=spoiled)
    for pack, count in Counter(applied.values_list("document__subject", flat=True)).items():
        if count > 1:
            yield f"{count} labels are applied to {pack}"


def the_chain_goes_on(book: Book) -> Iterator[str]:
    """Every new entry continues the one before it, and the head is the last one's."""
    for entry in AuditEntry.objects.filter(seq__gt=book.length).order_by("seq"):
        if (entry.seq, entry.previous) != (book.length + 1, book.head):
            yield f"entry {entry.seq} does not continue entry {book.length}"
        if digest_of(entry.previous + "\n" + entry.text) != entry.digest:
            yield f"entry {entry.seq} is not what was hashed"
        book.length, book.head = entry.seq, entry.digest
    if list(Chain.objects.values_list("length", "head")) != [(book.length, book.head)]:
        yield "the head is not the last entry's"


INVARIANTS: tuple[Callable[[Book], Iterator[str]], ...] = (
    units_are_conserved,
    stock_is_conserved,
    one_batch_runs_on_a_printer,
    one_formulation_in_a_tank,
    a_reference_is_one_order,
    a_line_is_made_once,
    packs_are_not_mixed,
    nothing_leaves_unreleased,
    signatures_are_bound,
    labels_are_counted,
    the_chain_goes_on,
)


def broken(book: Book) -> list[str]:
    """Return everything that is broken now, by invariant."""
    return [f"{check.__name__}: {what}" for check in INVARIANTS for what in check(book)]


def broken_record() -> list[str]:
    """Return what the whole verification finds: for the end of a history, since it reads every row."""
    return [f"{one.where}: {one.what}" for one in verify().faults] + sorted(missing_triggers())
