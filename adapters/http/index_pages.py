"""An index page's bytes and URL -> the entries of the folder that it shows.

There is no standard for such pages, so only what they have in common counts (common practice of Apache's
mod_autoindex, nginx, lighttpd, Python's http.server and pages like theirs): a link to each entry, relative or
absolute, with a slash at the end for folders. A link counts if it leads to a direct child of the folder, in
the same origin. So the parent, links that only sort (`?C=N`), and the site's other links fall out by
themselves; in a server's root, where everything is a child, links of `nav`, `header` and `footer` do not
count.

Names are bytes: the page is read as ISO 8859-1, a character for each byte, so that a name that was not
percent-encoded comes out as the bytes that were sent, whatever encoding the page has.
"""

import re
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import SplitResult, quote_from_bytes, unquote_to_bytes, urlsplit

from lxml import etree

from adapters import limits
from adapters.errors import WrongDocument
from adapters.files import Entry, Kind
from adapters.http.index_cells import Beside, Tables
from adapters.http.urls import resolved

_TITLE: Final = re.compile(
    r"\b(?:index of|directory listing|listing of|contents of|file listing|parent directory)\b", re.IGNORECASE
)
_TITLES: Final = ("title", "h1", "h2")
_SORTS: Final = re.compile(r"(?:\?|&|;)(?:C|O|N|M|S|D|sort|order)=", re.IGNORECASE)
_ASIDE: Final = ("nav", "header", "footer")
_SEGMENT_SAFE: Final = "!$&'()*+,;=:@~%-._"
_QUERY_SAFE: Final = _SEGMENT_SAFE + "/?"
_PORTS: Final = {"http": 80, "https": 443}
_DOTS: Final = frozenset({b"", b".", b".."})
_NO_INDEX: Final = "Not an index page"


@dataclass(frozen=True, slots=True)
class Found:
    """The entries in the page's order; `partial` where some were left out or could not be read."""

    entries: tuple[Entry, ...]
    partial: bool


@dataclass(frozen=True, slots=True)
class _Child:
    """A link to a direct child. `url` where that is not its name in the folder that was asked for."""

    name: bytes
    kind: Kind
    url: str | None
    plain: bool


def index_entries(page: bytes, url: str, asked: str) -> Found:
    """The entries that the page at `url` shows; `asked` is the folder's URL as it was asked for.

    WrongDocument for a page that shows none and does not look like an index. Beyond limits.HTML_CHARACTERS
    and limits.LIST_ENTRIES it is partial.
    """
    root = _parsed(page[: limits.HTML_CHARACTERS])
    if root is None:
        raise WrongDocument(_NO_INDEX)
    folder = _Folder(url, _base(root, url), asked)
    tables = Tables()
    entries: dict[bytes, Entry] = {}
    chosen: dict[bytes, _Child] = {}
    partial = len(page) > limits.HTML_CHARACTERS
    looks_like_one = False
    for link in root.iter("a"):
        href = link.get("href")
        if href is None:
            continue
        if not entries and not looks_like_one:
            looks_like_one = folder.is_usual(href)
        child = folder.child(href)
        if child is None or next(link.iterancestors(_ASIDE), None) is not None:
            continue
        if child.name in _DOTS:
            continue
        if b"/" in child.name or b"\0" in child.name or len(child.name) > limits.ENTRY_BYTES:
            partial = True
            continue
        known = entries.get(child.name)
        if known is None and len(entries) >= limits.LIST_ENTRIES:
            partial = True
            break
        if known is not None and (chosen[child.name].plain or not child.plain):
            if known.size is None and known.modified is None:
                entries[child.name] = _with(known, tables.beside(link))
            continue
        chosen[child.name] = child
        entries[child.name] = _with(Entry(child.name, child.kind, url=child.url), tables.beside(link))
    if not entries and not partial and not looks_like_one and not _titled(root):
        raise WrongDocument(_NO_INDEX)
    return Found(tuple(entries.values()), partial)


def _with(entry: Entry, beside: Beside) -> Entry:
    size = None if entry.kind is Kind.FOLDER else beside.size
    return replace(entry, size=size, modified=beside.modified)


def _parsed(page: bytes) -> etree._Element | None:
    parser = etree.HTMLParser(encoding="iso-8859-1", no_network=True, remove_comments=True, remove_pis=True)
    try:
        return etree.fromstring(page.replace(b"\0", b" "), parser)
    except (etree.XMLSyntaxError, ValueError):  # pragma: no cover — lxml 6 gives None for what is no page
        return None


def _base(root: etree._Element, url: str) -> str:
    for each in root.iter("base"):
        href = each.get("href")
        if href:
            return _joined(url, href)
    return url


def _titled(root: etree._Element) -> bool:
    heads = (" ".join(str(part) for part in each.itertext()) for each in root.iter(*_TITLES))
    return any(_TITLE.search(" ".join(head.split())) for head in heads)


def _joined(base: str, href: str) -> str:
    """Resolved, without what browsers strip: blanks around it and line ends within (WHATWG URL standard)."""
    return resolved(base, re.sub(r"[\t\r\n]", "", href.strip(" \t\r\n\f")))


def _split(url: str) -> SplitResult | None:
    try:
        split = urlsplit(url)
        _ = split.port  # ValueError where it is none
    except ValueError:
        return None
    return split


def _origin(split: SplitResult) -> tuple[str, str, int | None]:
    return split.scheme, split.hostname or "", split.port or _PORTS.get(split.scheme)


def _sent(text: str) -> bytes:
    """The bytes that the page had: one for each character, and UTF-8 for what only an entity can say."""
    try:
        return text.encode("latin-1")
    except UnicodeEncodeError:
        return b"".join(each.encode("latin-1" if each < "\u0100" else "utf-8", "replace") for each in text)


def _names(path: str) -> list[bytes]:
    return [unquote_to_bytes(_sent(each)) for each in path.split("/") if each]


class _Folder:
    """Where the page is, where its links start from, and where the folder was expected."""

    def __init__(self, url: str, base: str, asked: str) -> None:
        self._base = base
        split = urlsplit(url)
        expected = urlsplit(asked)
        self._origin = _origin(split)
        self._site = f"{split.scheme}://{split.netloc}"
        self._names = _names(split.path.rpartition("/")[0])
        moved = _origin(expected) != self._origin or _names(expected.path) != self._names
        self._expected = "" if moved else asked.partition("?")[0].rstrip("/") + "/"

    def is_usual(self, href: str) -> bool:
        """Whether indexes usually have this link: to the parent, or to sort."""
        split = self._resolved(href)
        if split is None:
            return False
        names = _names(split.path)
        return (bool(self._names) and names == self._names[:-1]) or (
            names == self._names and _SORTS.search("?" + split.query) is not None
        )

    def child(self, href: str) -> _Child | None:
        """The direct child that a link leads to."""
        split = self._resolved(href)
        if split is None:
            return None
        segments = [each for each in split.path.split("/") if each]
        if len(segments) != len(self._names) + 1 or _names("/".join(segments[:-1])) != self._names:
            return None
        is_folder = split.path.endswith("/")
        name = unquote_to_bytes(_sent(segments[-1]))
        plain = not split.query and (";" in segments[-1]) == (b";" in name)
        url = None
        if not plain or not self._expected:
            query = quote_from_bytes(_sent(split.query), _QUERY_SAFE)
            path = "/".join(quote_from_bytes(_sent(each), _SEGMENT_SAFE) for each in segments)
            url = f"{self._site}/{path}{'/' * is_folder}{'?' * bool(query)}{query}"
        return _Child(name, Kind.FOLDER if is_folder else Kind.FILE, url, plain)

    def _resolved(self, href: str) -> SplitResult | None:
        split = _split(_joined(self._base, href))
        return split if split is not None and _origin(split) == self._origin else None
