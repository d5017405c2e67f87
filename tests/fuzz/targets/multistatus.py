"""WebDAV multistatus bodies: any bytes, cut in any way.

Invariant: WrongDocument, TooLarge and BrokenOff are all that is raised, the same one however the bytes are
cut; limits hold; what may be sent back in a header can be; every href leads to a path of names; and what was
told reads the same when it is written again.
"""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Final
from xml.sax.saxutils import escape

from adapters import limits
from adapters.dav.hrefs import path_of
from adapters.dav.multistatus import Multistatus, MultistatusReader, Properties, Response
from adapters.errors import BrokenOff, TooLarge, WrongDocument
from tests.fuzz.inputs import behind, case_files, literals, parted, pieces

_NOW: Final = datetime(2026, 11, 26, tzinfo=UTC)


def _read(parts: Iterable[bytes]) -> Multistatus | type[Exception]:
    reader = MultistatusReader(_NOW)
    try:
        for part in parts:
            reader.feed(part)
        return reader.finish()
    except (WrongDocument, TooLarge, BrokenOff) as error:
        return type(error)


def _text(text: str) -> str:
    return escape(text, {"\r": "&#13;"})


def _written(response: Response) -> str:
    inside = "".join(f"<href>{_text(each)}</href>" for each in response.hrefs)
    told = response.properties
    if told is None:
        status = "" if response.status is None else f"<status>HTTP/1.1 {response.status} x</status>"
        return f"<response>{inside}{status}</response>"
    kind = {None: "", True: "<resourcetype><collection/></resourcetype>", False: "<resourcetype/>"}
    prop = kind[told.collection]
    if told.size is not None:
        prop += f"<getcontentlength>{told.size}</getcontentlength>"
    if told.last_modified is not None:
        prop += f"<getlastmodified>{_text(told.last_modified)}</getlastmodified>"
    if told.etag is not None:
        prop += f"<getetag>{_text(told.etag)}</getetag>"
    prop += f"<getcontenttype>{_text(told.media_type)}</getcontenttype>"
    return f"<response>{inside}<propstat><prop>{prop}</prop></propstat></response>"


def _check_properties(told: Properties) -> None:
    assert told.size is None or 0 <= told.size < 10**18
    assert told.modified is None or told.modified.utcoffset() is not None
    for value in (told.etag, told.last_modified):
        assert value is None or (value == value.strip() and value.encode("latin-1"))
        assert value is None or all(" " <= each <= "~" or each >= "\x80" for each in value)


def check(data: bytes) -> None:
    """See the module's text."""
    options, body = parted(data, 1)
    whole = _read([body])
    assert whole == _read(pieces(body, options[0]))
    if len(body) <= 1_000:
        assert whole == _read(body[at : at + 1] for at in range(len(body)))
    if not isinstance(whole, Multistatus):
        return
    assert len(whole.responses) <= limits.LIST_ENTRIES + 1
    for response in whole.responses:
        assert response.status is None or 100 <= response.status <= 999
        if response.properties is not None:
            _check_properties(response.properties)
        for href in response.hrefs:
            path = path_of(href, "/folder/")
            assert path.sent.startswith("/")
            assert path.sent.isascii() and path.sent.isprintable() and " " not in path.sent
            assert not {b"", b".", b".."} & set(path.segments)
    written = "".join(map(_written, whole.responses))
    again = _read([f'<multistatus xmlns="DAV:">{written}</multistatus>'.encode()])
    assert isinstance(again, Multistatus)
    told = [
        (
            each.hrefs,
            each.status,
            each.properties
            and (
                each.properties.collection,
                each.properties.size,
                each.properties.etag,
                each.properties.last_modified,
                each.properties.media_type,
            ),
        )
        for each in (*whole.responses, *again.responses)
    ]
    assert told[: len(told) // 2] == told[len(told) // 2 :]


def seeds() -> Iterator[bytes]:
    """The bodies of the tests and cases."""
    options = [bytes((number,)) for number in range(9)]
    tests = literals(
        "adapters/dav/test_multistatus.py", "adapters/dav/test_dates.py", "adapters/dav/test_hrefs.py"
    )
    yield from behind(options, tests)
    yield from behind(options, case_files("dav-*/*.xml"))
    wrapped = (
        b'<D:multistatus xmlns:D="DAV:"><D:response><D:href>%s</D:href><D:propstat><D:prop>'
        b"<D:getlastmodified>"
        b"%s</D:getlastmodified></D:prop></D:propstat></D:response></D:multistatus>"
    )
    small = [
        each
        for each in literals("adapters/dav/test_dates.py", "adapters/dav/test_hrefs.py")
        if b"<" not in each
    ]
    yield from behind(options, (wrapped % (each, each) for each in small if b"&" not in each))
