"""The bytes of a 207 -> its responses (RFC 4918 sections 13 and 14).

XML is read as it arrives, and each response is dropped when it has been looked at, so that memory does not
grow with the document. A document type is refused: an answer has no use for entities.
"""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from lxml import etree

from adapters import limits
from adapters.dav.dates import dav_date
from adapters.errors import BrokenOff, TooLarge, WrongDocument

_DAV: Final = "{DAV:}"
_STATUS: Final = re.compile(r"\s*HTTP/[0-9.]+\s+([1-9][0-9]{2})(?![0-9])", re.ASCII | re.IGNORECASE)
_BLANKS: Final = b" \t\r\n"
_SIZE_DIGITS: Final = 18  # a number of bytes that any disk can hold; longer ones are nonsense
_ETAG: Final = re.compile(r"[!-~\x80-\xff](?:[ -~\x80-\xff]*[!-~\x80-\xff])?")  # what a header can hold
_HEAD_BYTES: Final = 4
_WIDE: Final = (b"\xfe\xff", b"\xff\xfe", b"<\0", b"\0<", b"\0\0\xfe\xff", b"\0\0\0<")
"""How UTF-16 and UTF-32 begin (XML 1.0 appendix F)."""

_NO_MULTISTATUS: Final = "Not a WebDAV answer"


@dataclass(frozen=True, slots=True)
class Properties:
    """What a propstat of status 2xx told. Missing, empty and absurd values are None or empty."""

    collection: bool | None = None
    size: int | None = None
    modified: datetime | None = None
    last_modified: str | None = None  # as sent
    etag: str | None = None  # as sent: perhaps weak or unquoted
    media_type: str = ""  # as sent


@dataclass(frozen=True, slots=True)
class Response:
    """One `response` element. `status` is its own or, where no property was found, the properties'; None
    where neither says anything. `properties` is None where none was found.
    """

    hrefs: tuple[str, ...]
    status: int | None = None
    properties: Properties | None = None

    @property
    def failed(self) -> bool:
        """Whether nothing is known of what it is about: it failed, alone."""
        return self.properties is None


@dataclass(frozen=True, slots=True)
class Multistatus:
    """All responses in their order; `cut` where some were left out by a limit."""

    responses: tuple[Response, ...]
    cut: bool = False


class MultistatusReader:
    """Feed it what arrives, in pieces of any size, until `full`, then finish it.

    WrongDocument for what is no multistatus, TooLarge for one out of all proportion, BrokenOff where it ends
    in the middle. `now` is for dates.
    """

    def __init__(self, now: datetime) -> None:
        self._now = now
        self._parser = etree.XMLPullParser(
            events=("start", "end"),
            resolve_entities=False,
            no_network=True,
            huge_tree=False,
            load_dtd=False,
            recover=False,
            remove_comments=True,
            remove_pis=True,
        )
        self._responses: list[Response] = []
        self._room = limits.LIST_BYTES
        self._silent = 0  # bytes since an element began or ended
        self._elements = 0  # since the last response ended
        self._begun = False  # a first byte has been fed
        self._head = b""
        self._nul = False
        self._rooted = False
        self.full = False

    def feed(self, data: bytes) -> None:
        """The next bytes."""
        if self.full:
            return
        if not self._begun:  # blanks before the XML declaration are an error to libxml2, and common
            data = data.lstrip(_BLANKS)
        self._room -= len(data)
        if self._room < 0:
            self.full = True
            return
        try:
            self._check_nuls(data)
            if data and not self._begun:  # up to four bytes that come first and together are not looked at
                self._begun = True
                self._parser.feed(data[:1])
                data = data[1:]
            for start in range(0, len(data), limits.CHUNK_BYTES):
                piece = data[start : start + limits.CHUNK_BYTES]
                self._silent += len(piece)
                self._parser.feed(piece)
                self._look()
                # An undeclared entity is only noted, and until the next piece.
                if not self.full and self._parser.feed_error_log.filter_from_fatals():
                    raise WrongDocument(_NO_MULTISTATUS)
                if self._silent > limits.DAV_VALUE_BYTES or self._elements > limits.DAV_ELEMENTS:
                    raise TooLarge("The far server's answer is too large")
        except etree.XMLSyntaxError as error:
            raise WrongDocument(_NO_MULTISTATUS) from error

    def finish(self) -> Multistatus:
        """Everything that was told."""
        if not self.full:
            if not self._begun:
                raise WrongDocument(_NO_MULTISTATUS)
            try:
                self._parser.close()
            except etree.XMLSyntaxError as error:
                raise BrokenOff("The far server's answer is cut short") from error
            self._look()
        return Multistatus(tuple(self._responses), cut=self.full)

    def _check_nuls(self, data: bytes) -> None:
        """No XML holds NUL, and libxml2, looking for the end of a string, sees nothing behind one. UTF-16 and
        UTF-32 do, and say so by how they begin.
        """
        self._head += data[: _HEAD_BYTES - len(self._head)]
        self._nul = self._nul or b"\0" in data
        if self._nul and not any(self._head.startswith(each[: len(self._head)]) for each in _WIDE):
            raise WrongDocument(_NO_MULTISTATUS)

    def _look(self) -> None:
        for event, element in self._parser.read_events():
            self._silent = 0
            if not isinstance(element, etree._Element) or self.full:
                continue
            if event == "start":
                self._elements += 1
                if not self._rooted:
                    self._check_root(element)
                continue
            parent = element.getparent()
            if parent is not None and parent.getparent() is None:
                self._take(element)
                parent.remove(element)

    def _take(self, element: etree._Element) -> None:
        """One child of the root, complete."""
        if element.tag != _DAV + "response":
            return
        if len(self._responses) > limits.LIST_ENTRIES:  # one more than entries: the folder itself
            self.full = True
            return
        self._responses.append(_response(element, self._now))
        self._elements = 0

    def _check_root(self, element: etree._Element) -> None:
        self._rooted = True
        if element.getroottree().docinfo.internalDTD is not None or element.tag != _DAV + "multistatus":
            raise WrongDocument(_NO_MULTISTATUS)


def read_multistatus(data: bytes, now: datetime) -> Multistatus:
    """A whole body at once."""
    reader = MultistatusReader(now)
    reader.feed(data)
    return reader.finish()


def _response(element: etree._Element, now: datetime) -> Response:
    hrefs = tuple(_text(each) for each in element.findall(_DAV + "href"))
    status = _status(element.find(_DAV + "status"))
    if status is not None and status // 100 != 2:
        return Response(hrefs, status)
    found: list[etree._Element] = []
    for propstat in element.findall(_DAV + "propstat"):
        of_these = _status(propstat.find(_DAV + "status"))
        if of_these is None or of_these // 100 == 2:
            found += propstat.findall(_DAV + "prop")
        elif status is None or status == 404:  # "no such property" says less than any other refusal
            status = of_these
    if not found:
        return Response(hrefs, status)
    return Response(hrefs, 200, _properties(found, now))


def _properties(found: list[etree._Element], now: datetime) -> Properties:
    values = {each.tag: each for prop in found for each in prop}
    kind = values.get(_DAV + "resourcetype")
    size = _value(values, "getcontentlength")
    date = _value(values, "getlastmodified")
    return Properties(
        collection=None if kind is None else kind.find(_DAV + "collection") is not None,
        size=int(size) if size.isascii() and size.isdecimal() and len(size) <= _SIZE_DIGITS else None,
        modified=dav_date(date, now),
        last_modified=date if _ETAG.fullmatch(date) else None,
        etag=_sendable(_value(values, "getetag")),
        media_type=_value(values, "getcontenttype"),
    )


def _value(values: dict[str, etree._Element], name: str) -> str:
    element = values.get(_DAV + name)
    return "" if element is None else _text(element)


def _text(element: etree._Element) -> str:
    """All text inside, whatever pieces it comes in."""
    return str(element.xpath("string()")).strip(_BLANKS.decode())


def _sendable(text: str) -> str | None:
    """A value that can be sent back in a header field, or None."""
    return text if _ETAG.fullmatch(text) else None


def _status(element: etree._Element | None) -> int | None:
    """The number of a status line (RFC 4918 section 14.28), or None."""
    found = None if element is None else _STATUS.match(_text(element))
    return None if found is None else int(found[1])
