"""The site as one person finds it: every page that links lead to from home, read without a browser."""

from __future__ import annotations

import http.client
from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import parse_qsl, urldefrag, urljoin, urlsplit

from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.errors import BadInput

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Reader(HTMLParser):
    """Reads what a page must have and must not have."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.links: list[str] = []
        self.ids: list[str] = []
        self.lang = ""
        self.text_of: dict[str, list[str]] = {"h1": [], "title": []}
        self.inline: list[str] = []
        self.elsewhere: list[str] = []
        self.state = ""
        self.open: list[tuple[str, bool]] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        given = {name: value or "" for name, value in attrs}
        if tag == "html":
            self.lang = given.get("lang", "")
        if "id" in given:
            self.ids.append(given["id"])
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        if tag in self.text_of and "svg" not in [name for name, _ in self.open]:
            self.text_of[tag].append("")
        self._inline(tag, given)
        if tag not in VOID:
            in_state = "state" in given.get("class", "").split() and ("h1", False) in self.open
            self.open.append((tag, in_state))

    def _inline(self, tag: str, given: dict[str, str]) -> None:
        if tag in {"style", "base", "iframe", "object", "embed"} or (tag == "script" and "src" not in given):
            self.inline.append(tag)
        self.inline += [f"{tag} {name}" for name in given if name == "style" or name.startswith("on")]
        for name in ("href", "src", "action", "formaction", "xlink:href"):
            parts = urlsplit(given.get(name, ""))
            if parts.scheme or parts.netloc:
                self.elsewhere.append(f"{tag} {name}={given[name]}")

    def handle_endtag(self, tag: str) -> None:
        """Close a tag and whatever was left open inside it."""
        while self.open and tag in [name for name, _ in self.open]:
            if self.open.pop()[0] == tag:
                break

    def handle_data(self, data: str) -> None:
        """Collect the text of headings, titles and the state beside a heading."""
        inside = [name for name, _ in self.open]
        for tag, texts in self.text_of.items():
            if tag in inside and texts and "svg" not in inside:
                texts[-1] += data
        if any(in_state for _, in_state in self.open):
            self.state += data.strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One page of the map."""

    path: str
    status: int
    kind: str
    text: str

    @property
    def read(self) -> Reader:
        """The page as read."""
        return Reader(self.text)

    @property
    def shape(self) -> tuple[str, str, int]:
        """What pages of one making have in common: the address without codes, the state of the record, the status."""
        return shape_of(self.path), self.read.state, self.status


def faults_of(page: Found) -> list[str]:
    """Return what is wrong with a page as it is written."""
    read = page.read
    titles = [" ".join(text.split()) for text in read.text_of["title"]]
    heads = [" ".join(text.split()) for text in read.text_of["h1"]]
    twice = sorted({one for one in read.ids if read.ids.count(one) > 1})
    faults = [
        (len(heads) != 1 or not all(heads), f"headings of the first level: {heads}"),
        (len(titles) != 1 or not titles[0] or titles[0].startswith("·"), f"titles: {titles}"),
        (read.lang != "en-gb", f"language: {read.lang!r}"),
        (bool(read.inline), f"inline: {read.inline}"),
        (bool(read.elsewhere), f"leads elsewhere: {read.elsewhere}"),
        (bool(twice), f"ids used twice: {twice}"),
        (page.status not in {200, 403, 409}, f"status {page.status}"),
    ]
    return [f"{page.path}: {text}" for wrong, text in faults if wrong]


def shape_of(path: str) -> str:
    """Return an address without its codes and numbers, and with the names of what it asks."""
    parts = urlsplit(path)
    words = [_kind_of(word) for word in parts.path.split("/")]
    asked = ",".join(sorted({name for name, _ in parse_qsl(parts.query)} - {"back"}))
    return "/".join(words) + (f"?{asked}" if asked else "")


@dataclass(slots=True, kw_only=True)
class Walker:
    """Follows links from home with one person's session, to `of_a_shape` addresses of every shape."""

    base_url: str
    cookie: str
    of_a_shape: int = 1
    others: dict[str, tuple[int, str]] = field(default_factory=dict)

    def walk(self, *starts: str) -> Iterator[Found]:
        """Yield pages within reach, each once; what is no page is asked for and noted in `others`.

        Of all addresses of one shape, `of_a_shape` are followed, and every one of `starts`.
        """
        address = urlsplit(self.base_url)
        line = http.client.HTTPConnection(address.hostname or "", address.port, timeout=60)
        known, waiting, of_shape = set(starts), deque(starts), Counter(map(shape_of, starts))
        while waiting:
            page = self._get(line, waiting.popleft())
            if page.kind != "text/html":
                self.others[page.path] = (page.status, page.kind)
                continue
            yield page
            for link in page.read.links:
                path = urldefrag(urljoin(page.path, link)).url
                if path.startswith("/") and path not in known and of_shape[shape_of(path)] < self.of_a_shape:
                    known.add(path)
                    of_shape[shape_of(path)] += 1
                    waiting.append(path)
        line.close()

    def _get(self, line: http.client.HTTPConnection, path: str) -> Found:
        line.request("GET", path, headers={"Cookie": self.cookie, "Accept": "text/html,*/*;q=0.8"})
        answer = line.getresponse()
        body = answer.read()
        kind = answer.headers.get_content_type()
        text = body.decode("utf-8") if kind == "text/html" else ""
        return Found(path=path, status=answer.status, kind=kind, text=text)


def _kind_of(word: str) -> str:
    if word.isdigit():
        return "{number}"
    try:
        return f"{{{parse(word)[0].name}}}" if word[:1].isupper() else word
    except BadInput:
        return word
