"""The certificate of one pack: composed from what the releaser was shown, drawn on A4, kept under its number."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from dosewright.ground.act import Act, act
from dosewright.ground.documents import Mark, make_document
from dosewright.ground.jurisdictions import READ
from dosewright.ground.jurisdictions import Pack as LawPack
from dosewright.ground.law import law_in_use
from dosewright.ground.models import Chain, Document, Signature, Site
from dosewright.ground.paper.record import render_record
from dosewright.ground.pure.notation import format_mass, format_number
from dosewright.ground.pure.roles import Actor
from labels.certificate import CertificateContent, CertificateSection, Grid, SignatureLine, certificate_content
from labels.models import Pack
from labels.queries import pack_row, release_view, tidy_code
from labels.queries.papers import TestedFacts, signatures_under, tested_facts
from labels.records import LinePart, ReleaseView
from labels.services.paperwork import certificate_page
from labels.services.typed import IN_A_FACT, on_certificate, on_paper
from labels.wording import FormName, Words, date_words
from printing.formulary.content import IngredientFacts, RecipeLine
from printing.runs.queries import RecordLine

CERTIFICATE = "certificate"
NOT_DONE = (
    "Dissolution, residual solvent, monomer and initiator were not tested on this batch; the formulation's studies "
    "are the evidence on them.",
    "Microbial quality was not tested on this batch.",
)
INVENTED = "Invented site, law and figures, for demonstration only: nothing here may be used for a patient."


def draft_certificate(actor: Actor, code: str, *, at: datetime) -> Document:
    """Make a draft of a pack's certificate, marked and unsigned; whoever may draft documents."""
    with act(actor, "document.draft", at=at, subject=tidy_code(code)) as doing:
        pack = pack_row(actor, code)
        shown = release_view(pack, releaser=actor.username, at=at)
        return make_certificate(doing, pack, shown, signature=None)


def make_certificate(doing: Act, pack: Pack, shown: ReleaseView, *, signature: Signature | None) -> Document:
    """Compose and keep the certificate of a pack within `doing`; an original rests on the releaser's signature."""
    law, site = law_in_use(pack.site_id), pack.site
    words = law.wording(site.language)
    facts = tested_facts(pack, at=doing.at)
    state = Document.DRAFT if signature is None else Document.ORIGINAL
    marks = [*signatures_under(pack), *([signature] if signature is not None else [])]

    def compose(mark: Mark) -> CertificateContent:
        return certificate_content(
            number=f"{mark.code} ({mark.number})" if state == Document.DRAFT else mark.code,
            state=state,
            language=site.language,
            law=law,
            basis=shown.law.basis or law.bases[0].id,
            instruments=[one.id for one in law.instruments if one.confirmed == READ],
            pack_code=pack.code,
            head_lines=head_lines(site, law, mark, is_invented=facts.formulation.is_invented),
            sections=_sections(shown, facts, law, words, site),
            not_tested=NOT_DONE,
            signatures=[signature_line(one, site) for one in marks],
            chain_head=chain_head(pack.site_id),
        )

    return make_document(
        doing,
        kind=CERTIFICATE,
        state=state,
        subject_kind="pack",
        subject=pack.code,
        compose=compose,
        draw=lambda content: render_record(certificate_page(content, words=words)),
    )


def head_lines(site: Site, law: LawPack | None, mark: Mark, *, is_invented: bool) -> tuple[str, ...]:
    """Return what stands under a document's title: the site, its number, and that it is invented where it is."""
    lines = [f"{site.name}, {site.address}", f"{mark.state.capitalize()} number {mark.number}"]
    if is_invented or site.is_demo or (law is not None and law.is_invented):
        lines.append(INVENTED)
    return tuple(lines)


def chain_head(site_id: int) -> str:
    """Return the digest of the last entry of the site's audit trail."""
    return Chain.objects.filter(site_id=site_id).values_list("head", flat=True).first() or ""


def signature_line(one: Signature, site: Site) -> SignatureLine:
    """Return a signature as printed."""
    profession = one.signer.profession
    registered = f"registration {one.registration}" if one.registration else ""
    return SignatureLine(
        printed_name=one.printed_name,
        profession=", ".join(part for part in (profession, registered) if part),
        meaning=one.meaning,
        signed_at=one.at.astimezone(site.zone),
        digest=one.digest,
    )


def local_time(at: datetime | None, site: Site, words: Words) -> str:
    """Return a time at the site with its day, empty for none."""
    if at is None:
        return ""
    local = at.astimezone(site.zone)
    return f"{date_words(local.date(), words)} {local:%H:%M}"


def _sections(
    shown: ReleaseView, facts: TestedFacts, law: LawPack, words: Words, site: Site
) -> Sequence[CertificateSection]:
    return (
        _pack(shown, facts, words),
        _order(shown, facts, words, law),
        _composition(facts),
        _lots(shown, facts, words),
        _plan(shown, words),
        CertificateSection(
            id="steps", title="Steps against their ranges", grid=_lines(shown.run, law, words, site, timed=True)
        ),
        CertificateSection(
            id="tests", title="Tests against their limits", grid=_lines(facts.tests, law, words, site, timed=False)
        ),
        _deviations(shown),
    )


def _pack(shown: ReleaseView, facts: TestedFacts, words: Words) -> CertificateSection:
    pack, count, scan = shown.pack, shown.label_count, shown.second_scan
    applied = ", ".join(f"{one.code} ({one.number})" for one in shown.labels if one.became == "applied")
    rows = (
        ("Pack", f"{pack.code}: {_forms(len(shown.units), facts)} in container lot {on_paper(pack.container_lot)}"),
        ("Last day of use", f"{date_words(pack.use_by_date, words)}, set by {pack.use_by_limit}"),
        ("Label applied", applied or "none"),
        (
            "Label originals",
            f"{count.issued} issued = {count.applied} applied + {count.spoiled} spoiled + {count.returned} returned",
        ),
        ("Second scan", f"zone {scan.zone}, container, label {scan.label}, by {scan.by}" if scan else "none"),
        ("Packed and scanned by", ", ".join(shown.people.packers)),
    )
    return CertificateSection(id="pack", title="Pack", facts=rows)


def _order(shown: ReleaseView, facts: TestedFacts, words: Words, law: LawPack) -> CertificateSection:
    order, line = shown.order, shown.line
    rows = (
        ("Order", f"{order.code}, version {order.version}, for patient {order.patient}"),
        ("Substance", order.substance),
        (
            "Dose line",
            f"{line.code}: {format_mass(line.dose_mg, law.micro_word)} in {_forms(line.units_per_dose, facts)}, "
            f"{line.taken}, {line.administrations} doses",
        ),
        ("Course", _course(line, words)),
        ("Prescriber", order.prescriber),
        ("Alerts", "; ".join(f"{one.rule}: {one.severity}" for one in order.alerts) or "none"),
    )
    return CertificateSection(id="order", title="Order", facts=rows)


def _course(line: LinePart, words: Words) -> str:
    days = f"{date_words(line.starts_on, words)} to {date_words(line.ends_on, words)}"
    return f"{days}, supply {line.supply} of {line.supplies}" if line.supplies > 1 else days


def _composition(facts: TestedFacts) -> CertificateSection:
    one = facts.formulation
    grid = Grid(
        heads=("Ingredient", "Grade", "Role", "Part by mass"),
        rows=tuple(
            (
                on_paper(ingredient.name),
                on_paper(ingredient.grade),
                ingredient.role,
                f"{format_number(100 * share)} %",
            )
            for line in one.recipe
            for ingredient, share in _parts(line)
        ),
    )
    title = f"{one.code}, version {one.number}: {one.name}"
    rows = (("Formulation", on_paper(title, IN_A_FACT)), ("Storage", one.storage), ("Container", one.container))
    return CertificateSection(id="composition", title="Composition", facts=rows, grid=grid)


def _parts(line: RecipeLine) -> list[tuple[IngredientFacts, Decimal]]:
    """Return an ingredient with its share of the resin, or the parts of a premix with theirs."""
    if not line.ingredient.premix:
        return [(line.ingredient, line.mass_frac)]
    return [(part.ingredient, part.mass_frac * line.mass_frac) for part in line.ingredient.premix]


def _lots(shown: ReleaseView, facts: TestedFacts, words: Words) -> CertificateSection:
    lot = shown.resin_lot
    strength = "not known" if lot.strength_mg_g is None else f"{_places(lot.strength_mg_g)} mg/g"
    nominal = "" if lot.fraction_of_nominal is None else f", {_places(100 * lot.fraction_of_nominal)} % of nominal"
    rows = (
        ("Resin lot", f"{lot.code}, {lot.state}"),
        ("Strength", f"{strength}{nominal}: {lot.verdict}"),
        ("Resin lot in date until", date_words(lot.expires_on, words) if lot.expires_on else "not mixed"),
    )
    grid = Grid(
        heads=("Ingredient lot", "Ingredient", "Supplier's lot", "In date until"),
        rows=tuple(
            (one.code, on_paper(one.ingredient_name), on_paper(one.supplier_lot), date_words(one.expires_on, words))
            for one in facts.ingredient_lots
        ),
    )
    return CertificateSection(id="lots", title="Lots", facts=rows, grid=grid)


def _plan(shown: ReleaseView, words: Words) -> CertificateSection:
    batch, zone = shown.batch, shown.zone
    masses = sorted({(unit.predicted_mass_mg, unit.predicted_content_mg) for unit in shown.units})
    predicted = "; ".join(
        f"{_places(mass)} mg, {_places(content)} mg of {shown.order.substance}" for mass, content in masses
    )
    rows = (
        ("Print batch", f"{batch.code} of plan {batch.plan}, printed {date_words(batch.printed_on, words)}"),
        ("Printer and profile", f"{batch.printer}, {batch.profile}"),
        ("Layers", f"{batch.layers} of {batch.layer_um} um"),
        ("Zone", f"{zone.code}: {zone.wanted} wanted, {zone.spares} spares"),
        ("Predicted for each unit", predicted or "none"),
        ("Plate file (SHA-256)", on_paper(batch.plate_file_sha256)),
        ("Plan (SHA-256)", on_paper(batch.plan_digest)),
    )
    return CertificateSection(id="plan", title="Plan and prediction", facts=rows)


def _lines(lines: Sequence[RecordLine], law: LawPack, words: Words, site: Site, *, timed: bool) -> Grid:
    heads = ("What", "Range or limit", "Found", "Verdict", *(("By", "Time") if timed else ()))
    return Grid(
        heads=heads,
        rows=tuple(
            (
                on_certificate(one.what, law),
                on_certificate(one.limit, law),
                on_certificate(one.found, law),
                one.verdict,
                *((on_paper(one.by), local_time(one.at, site, words)) if timed else ()),
            )
            for one in lines
        ),
    )


def _deviations(shown: ReleaseView) -> CertificateSection:
    if not shown.deviations:
        return CertificateSection(id="deviations", title="Deviations", remarks=("None.",))
    grid = Grid(
        heads=("Deviation", "Kind", "State", "Decision", "Closed by"),
        rows=tuple((one.code, on_paper(one.kind), one.state, one.decision, one.closed_by) for one in shown.deviations),
    )
    remark = "What happened, its effect and the investigation stand in the batch record under the deviation's code."
    return CertificateSection(id="deviations", title="Deviations", grid=grid, remarks=(remark,))


def _forms(count: int, facts: TestedFacts) -> str:
    one = facts.formulation
    return f"{count} {FormName(one=one.form_name, many=one.form_name_plural).of(count)}"


def _places(value: Decimal) -> str:
    """Return a figure with four significant digits, for people; the record keeps it whole."""
    return format_number(Decimal(f"{value:.4g}"))
