"""A pharmacist signs a law pack into use at a site; nothing prints as an original without one.

What was signed is kept as a digest of the whole pack: a pack whose text changed since counts as not signed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from dosewright.ground.act import act
from dosewright.ground.jurisdictions import Pack, known_packs, load_pack, signable
from dosewright.ground.models import PackInUse, Site
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, Refusal, Refused, SetupMissing, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.signing import Pen, sign

MEANING = "I read this law pack and put it into use at this site."


@dataclass(frozen=True, slots=True, kw_only=True)
class LawShown:
    """What a pharmacist signs: the pack, its digest, what it rests on, and whether it is invented."""

    pack: str
    name: str
    is_invented: bool
    valid_from: date
    digest: str
    instruments: tuple[str, ...]
    bases: tuple[str, ...]
    label_particulars: tuple[str, ...]
    unconfirmed: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LawAnswer:
    """A law pack that is in use since a time."""

    code: str
    pack: str
    digest: str
    at: datetime


def law_digest(pack: Pack) -> str:
    """Return the digest of everything that a law pack says."""
    return digest_of(canonical_text(pack))


def shown_for_sign_law(actor: Actor, code: str) -> LawShown:
    """Return what the signer of a law pack is shown; `code` is the pack's name, such as "demo 2026.1"."""
    pack = _named(code)
    return LawShown(
        pack=pack.id,
        name=pack.name,
        is_invented=pack.is_invented,
        valid_from=pack.valid_from,
        digest=law_digest(pack),
        instruments=tuple(f"{one.title}, {one.number}, {one.section}: {one.confirmed}" for one in pack.instruments),
        bases=tuple(f"{one.id}: {one.name}" for one in pack.bases),
        label_particulars=tuple(one.id for one in pack.label_particulars),
        unconfirmed=tuple(f"{one.item}: {one.message}" for one in signable(pack)),
    )


def sign_law(actor: Actor, code: str, *, pen: Pen, at: datetime) -> LawAnswer:
    """Sign a law pack into use at the actor's site; pharmacists.

    Raises NotThere for an unknown pack, BadInput for one of another jurisdiction than the site's, Blocked for
    one with an unconfirmed mandatory item or that is not valid yet, Conflict for the one that is in use as it stands.
    """
    pack = _named(code)
    with act(actor, "jurisdiction.sign", at=at, subject=pack.id) as doing:
        # Two who sign at once meet here: the second one finds the pack in use.
        site = Site.objects.select_for_update(no_key=True).get(pk=actor.site_id)
        refuse_if_any(BadInput, _other_country(pack, site))
        refuse_if_any(Conflict, _in_use_already(pack, site))
        refuse_if_any(Blocked, _unsignable(pack, at.astimezone(site.zone).date()))
        signature = sign(
            doing,
            pen,
            meaning=MEANING,
            subject_kind="law pack",
            subject=pack.id,
            subject_version=1,
            shown=shown_for_sign_law(actor, code),
        )
        used = PackInUse.objects.create(
            site=site,
            pack=pack.code,
            pack_version=pack.version,
            pack_digest=law_digest(pack),
            signature=signature,
            at=at,
        )
        doing.note(law_pack=pack.id, law_digest=used.pack_digest)
    return LawAnswer(code=pack.id, pack=pack.id, digest=used.pack_digest, at=at)


def law_in_use(site_id: int) -> Pack:
    """Return the law pack that was signed into use last at a site.

    Raises SetupMissing when none was, Conflict-free Blocked when the pack's text is no longer what was signed.
    """
    used = PackInUse.objects.filter(site_id=site_id).order_by("pk").last()
    if used is None:
        raise SetupMissing(
            Refusal(
                field="law pack",
                message="no law pack is in use at this site",
                accepted="a law pack that a pharmacist signed into use",
                rule="law",
            )
        )
    pack = load_pack(used.pack, used.pack_version)
    if law_digest(pack) != used.pack_digest:
        raise Blocked(
            Refusal(
                field="law pack",
                value=pack.id,
                message="its text is no longer what was signed into use",
                accepted="a law pack that a pharmacist signed as it stands",
                rule="law",
            )
        )
    return pack


def why_no_law(site_id: int) -> str:
    """Return why no law pack is in use at a site, or nothing when one is."""
    try:
        law_in_use(site_id)
    except Refused as refused:
        return refused.refusals[0].message
    return ""


def _named(code: str) -> Pack:
    name, _, version = code.strip().partition(" ")
    return load_pack(name, version)


def _in_use_already(pack: Pack, site: Site) -> list[Refusal]:
    used = PackInUse.objects.filter(site=site).order_by("pk").last()
    if used is None or (used.pack, used.pack_version, used.pack_digest) != (pack.code, pack.version, law_digest(pack)):
        return []
    return [
        Refusal(
            field="law pack",
            value=pack.id,
            message="is in use at this site as it stands",
            accepted="another law pack, or this one once its text has changed",
            rule="law-in-use",
        )
    ]


def _other_country(pack: Pack, site: Site) -> list[Refusal]:
    if pack.code == site.jurisdiction:
        return []
    here = ", ".join(" ".join(one) for one in known_packs() if one[0] == site.jurisdiction)
    return [
        Refusal(
            field="law pack",
            value=pack.id,
            limit=site.jurisdiction,
            message="is of another jurisdiction than this site",
            accepted=here or "a law pack of the site's jurisdiction",
            rule="jurisdiction",
        )
    ]


def _unsignable(pack: Pack, today: date) -> list[Refusal]:
    found = [
        Refusal(field=one.item, message=one.message, accepted="read", rule="unconfirmed-law") for one in signable(pack)
    ]
    if today < pack.valid_from:
        found.append(
            Refusal(
                field="law pack",
                value=pack.id,
                limit=pack.valid_from.isoformat(),
                message="is not valid yet",
                rule="law-date",
            )
        )
    return found
