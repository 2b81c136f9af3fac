"""Checks an exported audit trail with nothing but Python (3.8 or newer): this one file may be copied anywhere.

    python3 offline_verifier.py FILE [--anchor SITE:LENGTH:DIGEST ...]

It prints one line per fault with its place, then what it read. Exit code 0: no fault; 1: faults; 2: wrong usage or
a file that cannot be read. An anchor is a length and head that were kept outside (`verify_audit` prints them): only
against one can a tail be missed that was cut off together with everything that tells of it.

The export is text, one JSON object a line: who the people are, then each site with its head, entries and looks, then
the rows of every append-only table, then how many lines there were with a digest over them. Every text that is hashed
stands in it as it was hashed. It holds codes in place of patients' names, and everything else that is on record:
keep it as you keep the record.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, NamedTuple

FORMAT = 1
GENESIS = "0" * 64
SEAL = "reads.seal"
COLUMNS = ("seq", "site", "at", "actor", "action", "outcome", "subject")
SIGNATURES, DOCUMENTS = "ground_signature", "ground_document"

if TYPE_CHECKING:
    Anchors = dict[str, list[tuple[int, str]]]


class Fault(NamedTuple):
    """One thing that is not as it was written: where, and what is wrong."""

    where: str
    what: str


class Told(NamedTuple):
    """What an entry says of a row that it added."""

    digest: str
    site: str
    seq: int


class Unreadable(Exception):
    """The file is no export, or not one of this format."""


def digest_of(text: str) -> str:
    """Return the SHA-256 of `text` in UTF-8 (FIPS 180-4)."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def canonical(value: Any) -> str:
    """Return the one text of `value`: sorted keys, no blanks."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


class Seal(NamedTuple):
    """What an entry says of a run of looks: their places counted from 1, the key of the last, the digest of all."""

    seq: int
    first: int
    last: int
    key: int
    digest: str


class Looks:
    """One site's looks at patient data, held against the seals that the chain has for runs of them."""

    def __init__(self, site: str) -> None:
        self.site = site
        self._seals: list[Seal] = []
        self._at = 0
        self._count, self._digest = 0, GENESIS

    def seal(self, seq: int, notes: dict[str, Any]) -> Fault | None:
        """Note a seal; return what is wrong with it."""
        try:
            seal = Seal(seq, int(notes["first"]), int(notes["last"]), int(notes["key"]), str(notes["digest"]))
        except (KeyError, TypeError, ValueError):
            return Fault(f"{self.site} entry {seq}", "its seal cannot be read")
        expected = self._seals[-1].last + 1 if self._seals else 1
        self._seals.append(seal)
        if seal.first != expected:
            return Fault(self._where(seal), f"entry {seq} does not continue the seal before it")
        return None

    def take(self, key: int, text: str) -> list[Fault]:
        """Take the next look in the order of writing; return what is wrong with the runs that end before it."""
        faults: list[Fault] = []
        while self._at < len(self._seals) and self._seals[self._at].key < key:
            faults += self._pass()
        self._count += 1
        self._digest = digest_of(self._digest + "\n" + text)
        return faults

    def end(self) -> list[Fault]:
        """Return what is wrong with the runs that are left; looks behind the last seal have none yet."""
        faults: list[Fault] = []
        while self._at < len(self._seals):
            faults += self._pass()
        return faults

    def _pass(self) -> list[Fault]:
        seal = self._seals[self._at]
        good = (self._count, self._digest) == (seal.last - seal.first + 1, seal.digest)
        self._at, self._count, self._digest = self._at + 1, 0, GENESIS
        return [] if good else [Fault(self._where(seal), f"are not the rows that entry {seal.seq} sealed")]

    def _where(self, seal: Seal) -> str:
        return f"{self.site} reads {seal.first} to {seal.last}"


class SiteChain:
    """One site's chain while its entries go by."""

    def __init__(self, record: dict[str, Any], anchors: Iterable[tuple[int, str]]) -> None:
        self.code = str(record["code"])
        self.kept = (int(record["length"]), str(record["head"]))
        self.anchors = list(anchors)
        self.seq, self.digest = 0, GENESIS
        self.anchored = {0: GENESIS}
        self.looks = Looks(self.code)

    def take(self, entry: dict[str, Any]) -> tuple[Fault | None, dict[str, Any]]:
        """Take the next entry; return its first fault and what its text says (nothing when it cannot be read)."""
        said = _read(entry["text"])
        fault = self._fault(entry, said)
        self.seq, self.digest = (entry["seq"] if isinstance(entry["seq"], int) else self.seq + 1), entry["digest"]
        if any(self.seq == length for length, _ in self.anchors):
            self.anchored[self.seq] = self.digest
        return fault, said or {}

    def _fault(self, entry: dict[str, Any], said: dict[str, Any] | None) -> Fault | None:
        where = f"{self.code} entry {entry['seq']}"
        if entry["seq"] != self.seq + 1:
            return Fault(where, f"entry {self.seq + 1} is missing before it")
        if entry["previous"] != self.digest:
            return Fault(where, "does not continue the entry before it")
        if digest_of(entry["previous"] + "\n" + entry["text"]) != entry["digest"]:
            return Fault(where, "its text is not the text that was hashed")
        if said is None:
            return Fault(where, "its text cannot be read")
        for name in COLUMNS:
            if said.get(name) != entry[name]:
                return Fault(where, f"its column {name} differs from its text")
        return None

    def end(self) -> list[Fault]:
        """Say whether head and anchors fit what went by."""
        faults = []
        if self.kept != (self.seq, self.digest):
            what = f"says {self.kept[0]} entries where {self.seq} stand, or another digest"
            faults.append(Fault(f"{self.code} head", what))
        for length, digest in self.anchors:
            if self.anchored.get(length) != digest:
                faults.append(Fault(f"{self.code} entry {length}", "is not the entry that was anchored outside"))
        return faults + self.looks.end()


class Verifier:
    """Takes the records of an export one by one and says at the end what is wrong with them."""

    def __init__(self, anchors: Anchors | None = None) -> None:
        self.faults: list[Fault] = []
        self.entries = self.signatures = self.rows = 0
        self.chains: list[dict[str, Any]] = []
        self._anchors = dict(anchors or {})
        self._people: dict[int, str] = {}
        self._site: SiteChain | None = None
        self._told: dict[tuple[str, str], Told] = {}
        self._signed: set[str] = set()

    def take(self, record: dict[str, Any]) -> None:
        """Take the next record."""
        kind = record["is"]
        if kind == "entry":
            self._entry(record)
        elif kind == "row":
            self._row(record)
        elif kind == "read":
            self.faults += self._open().looks.take(record["id"], record["text"])
        elif kind == "site":
            self._end_site()
            self._site = SiteChain(record, self._anchors.pop(str(record["code"]), []))
        elif kind == "person":
            self._people[record["id"]] = record["code"]
        elif kind == "export":
            self._begin(record)
        else:
            raise Unreadable(f"a record of an unknown kind: {kind!r}")

    def end(self) -> list[Fault]:
        """Say what the last records left open, and return every fault."""
        self._end_site()
        for (table, key), told in sorted(self._told.items()):
            what = f"the row that entry {told.seq} of {told.site} added is gone"
            self.faults.append(Fault(f"{table} row {key}", what))
        for site, anchors in sorted(self._anchors.items()):
            for length, _ in anchors:
                self.faults.append(Fault(f"{site} entry {length}", "is not the entry that was anchored outside"))
        self._told, self._anchors = {}, {}
        return self.faults

    def _begin(self, record: dict[str, Any]) -> None:
        if record["format"] != FORMAT:
            raise Unreadable(f"format {record['format']} is not known here, accepted is {FORMAT}")
        self.faults += [Fault(str(name), "append-only trigger is missing") for name in record["missing_triggers"]]

    def _open(self) -> SiteChain:
        if self._site is None:
            raise Unreadable("an entry or a look stands before its site")
        return self._site

    def _end_site(self) -> None:
        if self._site is None:
            return
        self.faults += self._site.end()
        self.chains.append({"site": self._site.code, "length": self._site.seq, "head": self._site.digest})
        self._site = None

    def _entry(self, record: dict[str, Any]) -> None:
        site = self._open()
        fault, said = site.take(record)
        self.entries += 1
        if fault is not None:
            self.faults.append(fault)
        notes = _mapping(said.get("notes"))
        if "signature" in notes:
            self._signed.add(str(notes["signature"]))
        if record["action"] == SEAL and record["outcome"] == "done":
            wrong = site.looks.seal(record["seq"], notes)
            self.faults += [wrong] if wrong else []
        for table, rows in _mapping(said.get("added")).items():
            for key, digest in _mapping(rows).items():
                self._tell(table, key, Told(str(digest), site.code, record["seq"]))

    def _tell(self, table: str, key: str, told: Told) -> None:
        earlier = self._told.setdefault((table, key), told)
        if earlier is not told:
            what = f"entries {earlier.seq} of {earlier.site} and {told.seq} of {told.site} both say that they added it"
            self.faults.append(Fault(f"{table} row {key}", what))

    def _row(self, record: dict[str, Any]) -> None:
        table, key, text = record["table"], str(record["id"]), record["text"]
        self._end_site()
        self.rows += 1
        told = self._told.pop((table, key), None)
        if told is None:
            self.faults.append(Fault(f"{table} row {key}", "no audit entry tells of it"))
        elif told.digest != digest_of(text):
            what = f"is not the row that entry {told.seq} of {told.site} added"
            self.faults.append(Fault(f"{table} row {key}", what))
        if table == SIGNATURES:
            self.signatures += 1
            self._signature(key, _read(text) or {})
        elif table == DOCUMENTS:
            self._document(_read(text) or {})

    def _signature(self, key: str, said: dict[str, Any]) -> None:
        where = f"signature {key} on {said.get('subject')}"
        shown = digest_of(said.get("shown_text", ""))
        sealed = {
            "signer": self._people.get(said.get("signer_id", 0)),
            "printed_name": said.get("printed_name"),
            "action": said.get("action"),
            "meaning": said.get("meaning"),
            "subject": said.get("subject"),
            "subject_version": said.get("subject_version"),
            "at": said.get("at"),
            "shown": shown,
        }
        if digest_of(canonical(sealed)) != said.get("digest") or shown != said.get("shown_digest"):
            self.faults.append(Fault(where, "is not what was signed"))
        elif said["digest"] not in self._signed:
            self.faults.append(Fault(where, "no audit entry tells of it"))

    def _document(self, said: dict[str, Any]) -> None:
        if digest_of(said.get("content_text", "")) != said.get("content_digest"):
            self.faults.append(Fault(f"document {said.get('code')}", "its content is not the content that was hashed"))


def _mapping(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _read(text: str) -> dict[str, Any] | None:
    try:
        said = json.loads(text)
    except ValueError:
        return None
    return said if isinstance(said, dict) else None


def verify_lines(lines: Iterable[str], anchors: Anchors | None = None) -> Verifier:
    """Verify the lines of an export; raises Unreadable for what is none."""
    verifier, over, count = Verifier(anchors), hashlib.sha256(), 0
    end: dict[str, Any] | None = None
    for line in lines:
        record = _record(line, count + 1)
        if end is not None:
            verifier.faults.append(Fault("export", f"line {count + 2} stands behind its end"))
            break
        if record["is"] == "end":
            end = record
            continue
        if (count == 0) != (record["is"] == "export"):
            raise Unreadable("an export begins with its one line that says so")
        over.update(line.encode("utf-8"))
        count += 1
        _take(verifier, record, count)
    if end is None:
        verifier.faults.append(Fault("export", f"was cut after line {count}"))
    elif (end.get("lines"), end.get("digest")) != (count, over.hexdigest()):
        verifier.faults.append(Fault("export", "is not the file that was written: its lines do not fit its end"))
    verifier.end()
    return verifier


def _record(line: str, number: int) -> dict[str, Any]:
    record = _read(line)
    if record is None or "is" not in record:
        raise Unreadable(f"line {number} is no record of an export")
    return record


def _take(verifier: Verifier, record: dict[str, Any], number: int) -> None:
    try:
        verifier.take(record)
    except (KeyError, TypeError, ValueError, AttributeError) as trouble:
        raise Unreadable(f"line {number} is no record of an export: {type(trouble).__name__} {trouble}") from trouble


def read_anchors(texts: Iterable[str]) -> Anchors:
    """Return anchors given as SITE:LENGTH:DIGEST; raises ValueError naming the one that is none."""
    anchors: Anchors = {}
    for text in texts:
        site, _, rest = text.partition(":")
        length, _, digest = rest.partition(":")
        if not site or not (length.isascii() and length.isdigit()) or len(digest) != 64:
            raise ValueError(f"--anchor {text!r}: accepted is SITE:LENGTH:DIGEST")
        anchors.setdefault(site, []).append((int(length), digest))
    return anchors


def main(arguments: list[str]) -> int:
    """Verify the export that the arguments name."""
    parser = argparse.ArgumentParser(description="checks an exported audit trail")
    parser.add_argument("file")
    parser.add_argument("--anchor", action="append", default=[], metavar="SITE:LENGTH:DIGEST")
    asked = parser.parse_args(arguments)
    try:
        anchors = read_anchors(asked.anchor)
        with open(asked.file, encoding="utf-8", newline="\n") as lines:
            found = verify_lines(lines, anchors)
    except (OSError, ValueError, Unreadable) as trouble:
        print(f"cannot be checked: {trouble}", file=sys.stderr)
        return 2
    for fault in found.faults:
        print(f"FAULT {fault.where}: {fault.what}")
    print(
        f"{found.entries} entries, {found.signatures} signatures and {found.rows} rows read, {len(found.faults)} faults"
    )
    for chain in found.chains:
        print(f"{chain['site']}:{chain['length']}:{chain['head']}")
    return 1 if found.faults else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
