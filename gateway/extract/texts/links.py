"""href -> number: the links of one document, in its order, as absolute URLs (RFC 3986 section 5).

A number is given to what a gateway could follow: HTTP, FTP and WebDAV, and the document's own scheme. Links
within the document, `mailto:`, `javascript:`, `data:` and the like keep their text and get none. A fragment
is left out, since nothing is fetched by it. Two links to one URL have two numbers: each is where it stands.
"""

import re
from typing import Final
from urllib.parse import quote, urldefrag, urljoin, urlsplit

from adapters import limits

_SCHEMES: Final = frozenset(("http", "https", "ftp", "ftps", "dav", "davs"))
_SCHEME: Final = re.compile(r"([A-Za-z][A-Za-z0-9+.-]*):")
_BLANKS_AND_CONTROLS: Final = "".join(map(chr, range(0x21)))
_DROPPED: Final = str.maketrans("", "", "\t\r\n")
_KEPT: Final = "".join(chr(code) for code in range(0x21, 0x7F) if chr(code) not in '"<>\\^`{|}')


class Links:
    """The links of the document at `url`. `full`: some were left out by `limits.TEXT_LINKS`."""

    def __init__(self, url: str, base: str | None = None) -> None:
        self.found: list[str] = []
        self.full = False
        self._document = urldefrag(url)[0]
        self._base = self._document
        if base is not None:
            self._base = self._resolved(base) or self._document

    def number(self, href: str) -> int | None:
        """The number, from 1, of a link that stands in the text now; None where it gets none."""
        if len(self.found) >= limits.TEXT_LINKS:
            self.full = True
            return None
        url = self._resolved(href)
        if url is None or url == self._document:
            return None
        self.found.append(url)
        return len(self.found)

    def _resolved(self, href: str) -> str | None:
        if len(href) > limits.TEXT_LINK_CHARACTERS:
            return None
        # How browsers read an attribute (WHATWG URL Standard, "basic URL parser", from memory).
        href = href.strip(_BLANKS_AND_CONTROLS).translate(_DROPPED)
        if not href or href.startswith("#"):
            return None
        try:
            joined = urldefrag(_joined(self._base, href))[0]
            parts = urlsplit(joined)
            if parts.scheme not in _SCHEMES and parts.scheme != _scheme(self._document):
                return None
            if not parts.netloc and parts.scheme != "file":
                return None
            written = parts._replace(path=quote(parts.path, _KEPT), query=quote(parts.query, _KEPT))
        except ValueError:  # such as brackets that hold no address
            return None
        url = written.geturl()
        return url if url.isprintable() and len(url) <= limits.TEXT_LINK_CHARACTERS else None


def _joined(base: str, href: str) -> str:
    """`urljoin`, which resolves for the schemes that it knows only: another one is lent a known name."""
    scheme = _scheme(base)
    if not scheme or _scheme(href) not in {"", scheme}:
        return urljoin(base, href)
    lent = "http:" + base[len(scheme) + 1 :]
    reference = href[len(scheme) + 1 :] if _scheme(href) else href
    return scheme + urljoin(lent, reference)[len("http") :]


def _scheme(url: str) -> str:
    found = _SCHEME.match(url)
    return found[1].lower() if found else ""
