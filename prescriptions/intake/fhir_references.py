"""Following references between FHIR R4 resources that came along together; nothing is fetched or guessed.

A reference names a contained resource ("#id"), the ``fullUrl`` of an entry, or type and id ("Patient/1"), alone
or at the end of an address of the same server (HL7 FHIR R4, Bundle, Resolving references).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from prescriptions.intake.fhir_elements import Element

SUBJECTS: Final = {"Observation": "subject", "AllergyIntolerance": "patient"}
"""The element by which a resource says whom it is about."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """One resource of the text: where it stands, under which address others name it ("#id" where contained)."""

    path: str
    address: str
    body: dict[str, Any]

    @property
    def kind(self) -> str:
        """The resource's type."""
        return str(self.body.get("resourceType"))

    @property
    def name(self) -> str:
        """Type and id, as in "Patient/1"."""
        return f"{self.kind}/{self.body.get('id')}"


class Index:
    """Resources by the addresses under which they can be named; made once, so that following costs nothing."""

    def __init__(self, resources: Iterable[Resource], beyond: Index | None = None) -> None:
        self._beyond = beyond
        self._by_address: dict[str, list[Resource]] = defaultdict(list)
        self._by_name: dict[str, list[Resource]] = defaultdict(list)
        self._about: dict[tuple[str, str], list[Resource]] = defaultdict(list)
        own = list(resources)
        for one in own:
            self._by_address[one.address].append(one)
            if not one.address.startswith("#"):
                self._by_name[one.name].append(one)
        self.lost = [one for one in own if one.kind in SUBJECTS and not self._settle(one)]

    @property
    def most_about(self) -> int:
        """How many resources of a kind are about one other, at most."""
        return max(map(len, self._about.values()), default=0)

    def follow(self, named: str) -> list[Resource]:
        """Return every resource that ``named`` may mean; exactly one is an answer."""
        found = self._by_address.get(named, []) if named else []
        if not found and not named.startswith(("#", "urn:")):
            found = [one for one in self._by_name.get(_type_and_id(named), []) if _same_server(one, named)]
        return found or ([] if self._beyond is None else self._beyond.follow(named))

    def about(self, kind: str, path: str) -> list[Resource]:
        """Return the resources of a kind that say they are about the resource at ``path``."""
        beyond = [] if self._beyond is None else self._beyond.about(kind, path)
        return [*self._about.get((kind, path), ()), *beyond]

    def _settle(self, one: Resource) -> bool:
        subject = one.body.get(SUBJECTS[one.kind])
        named = subject.get("reference") if isinstance(subject, dict) else None
        found = self.follow(named) if isinstance(named, str) else []
        if len(found) == 1:
            self._about[one.kind, found[0].path].append(one)
        return len(found) == 1


def followed(reference: Element, index: Index) -> Resource | None:
    """Return the resource that a reference names; one that did not come along is refused."""
    named = reference.text("reference")
    reference.pass_over("type", "identifier", "display")
    reference.close()
    if named is None:
        accepted = "a reference to a resource that comes along"
        reference.refuse("reference", "nothing is referred to", accepted=accepted, rule="reference")
        return None
    found: Sequence[Resource] = index.follow(named)
    if len(found) != 1:
        message = "the resource did not come along" if not found else "more than one resource has this address"
        accepted = "a resource contained in the order, or an entry of the same Bundle"
        reference.refuse("reference", message, value=named, accepted=accepted, rule="reference")
        return None
    return found[0]


def _type_and_id(named: str) -> str:
    return "/".join(_without_version(named).rsplit("/", 2)[-2:])


def _same_server(one: Resource, named: str) -> bool:
    """Say whether an absolute address may mean this resource: its own address must not name another server."""
    if "://" not in named or "://" not in one.address:
        return True
    return _without_version(one.address) == _without_version(named)


def _without_version(address: str) -> str:
    return address.split("/_history/", maxsplit=1)[0]
