"""Labels: drafts to look at, originals under count, and what became of each.

Nothing here makes an original before a pharmacist approved the zone for packing.
"""

from __future__ import annotations

from datetime import date, datetime

from dosewright.ground.act import Act, act
from dosewright.ground.documents import Mark, document_of, issue, make_document, next_number
from dosewright.ground.jurisdictions import Pack as LawPack
from dosewright.ground.law import law_in_use
from dosewright.ground.models import Document, DocumentIssue
from dosewright.ground.paper.label import ROLL_100X80, SIZES, LabelSize, render_label
from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal, refuse_if_any
from dosewright.ground.pure.gs1 import check_digit
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import record_read
from labels.content import LabelContent
from labels.models import Pack, ProductNumber
from labels.queries import pack_row, tidy_code
from labels.queries.on_label import (
    NG_PER_MG,
    gtin_of,
    in_words,
    kept_label,
    label_facts,
    legal_basis_of,
    local_day,
    units_per_dose,
)
from labels.queries.release import LABEL
from labels.services.answers import PackAnswer, answer_of, reason_of, refuse_unverified
from labels.services.guards import held, not_approved, other_label, refuse_unless
from labels.services.paperwork import label_page
from labels.states import PACKING
from labels.wording import unit_strength_mg
from prescriptions.queries import line_facts, order_facts

GTIN_DIGITS = 12
"""Company prefix and item reference of a GTIN-13 without its check digit."""

FATES = (DocumentIssue.APPLIED, DocumentIssue.SPOILED, DocumentIssue.RETURNED)


def draft_label(actor: Actor, code: str, *, stock: str = ROLL_100X80.name, at: datetime) -> Document:
    """Make a draft of a pack's label, marked and without its symbol; anybody who may draft documents.

    Raises BadInput for an unknown stock or particulars that are missing, DoesNotFit for too much text.
    """
    with act(actor, "document.draft", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        return _make_label(doing, pack, Document.DRAFT, stock=stock, law=law_in_use(actor.site_id))


def issue_label(actor: Actor, code: str, *, stock: str = ROLL_100X80.name, at: datetime) -> PackAnswer:
    """Print one numbered label original of a filled pack and issue it under count; technicians.

    Raises Blocked when the zone is not approved to pack or the order is not verified, Conflict when the pack is
    not being packed; BadInput when an original is still to be accounted for or the pack is empty.
    """
    with act(actor, "label.issue", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        refuse_if_any(Blocked, [*not_approved(pack.zone), *held(pack.zone)])
        refuse_unless(pack, PACKING)
        refuse_unverified(pack.order.code, line_facts(pack.line.code).order_version)
        refuse_if_any(BadInput, _not_labelled_yet(pack))
        law = law_in_use(actor.site_id)
        legal_basis_of(order_facts(pack.order.code).legal_basis, law)
        _number_product(doing, pack)
        document = _make_label(doing, pack, Document.ORIGINAL, stock=stock, law=law)
        issue(doing, document, DocumentIssue.ISSUED)
    return answer_of(pack, document=document.code)


def account_label(actor: Actor, code: str, *, label: str, became: str, reason: str = "", at: datetime) -> PackAnswer:
    """Record what became of a label original of a pack: applied, spoiled or returned; technicians.

    Raises BadInput for a label of another pack, another word, or a spoiled or returned one without a reason;
    Conflict when it is accounted for or another one is applied; an applied one can still be spoiled.
    """
    with act(actor, "label.account", at=at, subject=tidy_code(code), reason=reason[:200]) as doing:
        pack = pack_row(actor, code)
        refuse_unless(pack, PACKING)
        document = label_of_pack(pack, label)
        if became not in FATES:
            raise BadInput.because("became", "is nothing that becomes of a label", value=became[:20], accepted=_FATES)
        said = reason.strip() if became == DocumentIssue.APPLIED else reason_of(reason)
        issue(doing, document, became, reason=said)
    return answer_of(pack, document=document.code)


_FATES = ", ".join(FATES)


def label_of_pack(pack: Pack, label: str) -> Document:
    """Return the row of a label original of this pack; raises BadInput for any other, NotThere for none."""
    tidy = parse(label, field="label", kind="document")[1]
    document = document_of(pack.site_id, tidy, kind=LABEL)
    if document.subject != pack.code or document.state != Document.ORIGINAL:
        raise BadInput(*other_label(pack, tidy))
    return document


def _make_label(doing: Act, pack: Pack, state: str, *, stock: str, law: LawPack) -> Document:
    size, patient = _size(stock), order_facts(pack.order.code).patient
    today = local_day(doing.at, pack.site)
    record_read(doing.actor, patient=patient, view=f"label {state}", at=doing.at)
    words = law.wording(pack.site.language)

    def compose(mark: Mark) -> LabelContent:
        return _content(pack, mark, law=law, on=today)

    def draw(content: LabelContent) -> bytes:
        return render_label(label_page(content, words=words, size=size))

    return make_document(
        doing,
        kind=LABEL,
        state=state,
        subject_kind="pack",
        subject=pack.code,
        compose=compose,
        draw=draw,
        kept=lambda content: kept_label(content, patient=patient),
    )


def _content(pack: Pack, mark: Mark, *, law: LawPack, on: date) -> LabelContent:
    count = pack.contents.count() or pack.wanted
    facts = label_facts(pack, code=mark.code, number=mark.number, count=count, on=on, law=law)
    return in_words(facts, law=law, site=pack.site, state=mark.state)


def _size(stock: str) -> LabelSize:
    if stock not in SIZES:
        raise BadInput.because("stock", "is no label stock", value=stock[:40], accepted=", ".join(SIZES))
    return SIZES[stock]


def _not_labelled_yet(pack: Pack) -> list[Refusal]:
    found = []
    if not pack.contents.exists():
        found.append(Refusal(field="pack", value=pack.code, message="is empty", accepted="a filled pack", rule="empty"))
    labels = Document.objects.filter(site_id=pack.site_id, kind=LABEL, subject=pack.code, state=Document.ORIGINAL)
    for one in labels.order_by("pk"):
        last = one.issues.order_by("pk").values_list("what", flat=True).last()
        if last in {DocumentIssue.ISSUED, DocumentIssue.APPLIED}:
            found.append(
                Refusal(
                    field="label",
                    value=one.code,
                    message=f"this original is {last}",
                    accepted="a spoiled or returned one before the next is printed",
                    rule="label-count",
                )
            )
    return found


def _number_product(doing: Act, pack: Pack) -> None:
    """Give the product in a pack its GS1 number, where the site has a company prefix and there is none yet."""
    prefix = pack.site.gs1_prefix
    strength_mg = unit_strength_mg(line_facts(pack.line.code).dose_mg, units_per_dose(pack))
    if not prefix or gtin_of(pack, strength_mg):
        return
    room = GTIN_DIGITS - len(prefix)
    item = next_number(pack.site_id, f"product number {prefix}")
    if room < 1 or item >= 10**room:
        raise Blocked.because("gs1_prefix", "every product number of this prefix is given", value=prefix, rule="gs1")
    body = f"0{prefix}{item:0{room}d}"
    ProductNumber.objects.create(
        site_id=pack.site_id,
        formulation=pack.batch.formulation.code,
        unit_ng=int(strength_mg * NG_PER_MG),
        prefix=prefix,
        gtin=f"{body}{check_digit(body)}",
        at=doing.at,
    )
    doing.note(product_number=f"{body}{check_digit(body)}")
