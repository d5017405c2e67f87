"""Multistatus bodies: the examples of RFC 4918 sections 9.1.3 to 9.1.6 and 9.6.2 (written from memory, so
their prose may differ from the RFC's; names, elements and statuses are its own), and what servers do.
"""

import resource
from contextlib import suppress
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.dav.multistatus import Multistatus, MultistatusReader, Properties, Response, read_multistatus
from adapters.errors import BrokenOff, TooLarge, WrongDocument

NOW = datetime(2026, 11, 26, tzinfo=UTC)

# RFC 4918 section 9.1.3: two properties told, one forbidden, one not there
NAMED_PROPERTIES = b"""<?xml version="1.0" encoding="utf-8" ?>
<D:multistatus xmlns:D="DAV:">
  <D:response xmlns:R="http://ns.example.com/boxschema/">
    <D:href>http://www.example.com/file</D:href>
    <D:propstat>
      <D:prop>
        <R:bigbox><R:BoxType>Box type A</R:BoxType></R:bigbox>
        <R:author><R:Name>J.J. Johnson</R:Name></R:author>
      </D:prop>
      <D:status>HTTP/1.1 200 OK</D:status>
    </D:propstat>
    <D:propstat>
      <D:prop><R:DingALing/><R:Random/></D:prop>
      <D:status>HTTP/1.1 403 Forbidden</D:status>
      <D:responsedescription>The user does not have access to the DingALing property.</D:responsedescription>
    </D:propstat>
  </D:response>
  <D:responsedescription>There has been an access violation error.</D:responsedescription>
</D:multistatus>
"""

# Section 9.1.4: names only
PROPERTY_NAMES = b"""<?xml version="1.0" encoding="utf-8" ?>
<multistatus xmlns="DAV:">
  <response>
    <href>http://www.example.com/container/</href>
    <propstat>
      <prop xmlns:R="http://ns.example.com/boxschema/">
        <R:bigbox/><R:author/><creationdate/><displayname/><resourcetype/><supportedlock/>
      </prop>
      <status>HTTP/1.1 200 OK</status>
    </propstat>
  </response>
  <response>
    <href>http://www.example.com/container/front.html</href>
    <propstat>
      <prop xmlns:R="http://ns.example.com/boxschema/">
        <R:bigbox/><creationdate/><displayname/><getcontentlength/><getcontenttype/><getetag/>
        <getlastmodified/><resourcetype/><supportedlock/>
      </prop>
      <status>HTTP/1.1 200 OK</status>
    </propstat>
  </response>
</multistatus>
"""

# Section 9.1.5: allprop, of depth 1
ALL_PROPERTIES = b"""<?xml version="1.0" encoding="utf-8" ?>
<D:multistatus xmlns:D="DAV:">
  <D:response>
    <D:href>/container/</D:href>
    <D:propstat>
      <D:prop xmlns:R="http://ns.example.com/boxschema/">
        <R:bigbox><R:BoxType>Box type A</R:BoxType></R:bigbox>
        <R:author><R:Name>Hadrian</R:Name></R:author>
        <D:creationdate>1997-12-01T17:42:21-08:00</D:creationdate>
        <D:displayname>Example collection</D:displayname>
        <D:resourcetype><D:collection/></D:resourcetype>
        <D:supportedlock>
          <D:lockentry>
            <D:lockscope><D:exclusive/></D:lockscope>
            <D:locktype><D:write/></D:locktype>
          </D:lockentry>
        </D:supportedlock>
      </D:prop>
      <D:status>HTTP/1.1 200 OK</D:status>
    </D:propstat>
  </D:response>
  <D:response>
    <D:href>/container/front.html</D:href>
    <D:propstat>
      <D:prop xmlns:R="http://ns.example.com/boxschema/">
        <R:bigbox><R:BoxType>Box type B</R:BoxType></R:bigbox>
        <D:creationdate>1997-12-01T18:27:21-08:00</D:creationdate>
        <D:displayname>Example HTML resource</D:displayname>
        <D:getcontentlength>4525</D:getcontentlength>
        <D:getcontenttype>text/html</D:getcontenttype>
        <D:getetag>"zzyzx"</D:getetag>
        <D:getlastmodified>Mon, 12 Jan 1998 09:25:56 GMT</D:getlastmodified>
        <D:resourcetype/>
      </D:prop>
      <D:status>HTTP/1.1 200 OK</D:status>
    </D:propstat>
  </D:response>
</D:multistatus>
"""

# Section 9.1.6: allprop with include
INCLUDED_PROPERTIES = b"""<?xml version="1.0" encoding="utf-8" ?>
<D:multistatus xmlns:D="DAV:">
  <D:response>
    <D:href>/mycol</D:href>
    <D:propstat>
      <D:prop>
        <D:supported-live-property-set/>
        <D:resourcetype><D:collection/></D:resourcetype>
        <D:getlastmodified>Mon, 12 Jan 1998 09:25:56 GMT</D:getlastmodified>
      </D:prop>
      <D:status>HTTP/1.1 200 OK</D:status>
    </D:propstat>
  </D:response>
</D:multistatus>
"""

# Section 9.6.2: DELETE that failed for one member
DELETE_FAILED = b"""<?xml version="1.0" encoding="utf-8" ?>
<d:multistatus xmlns:d="DAV:">
  <d:response>
    <d:href>http://www.example.com/container/resource3</d:href>
    <d:status>HTTP/1.1 423 Locked</d:status>
    <d:error><d:lock-token-submitted/></d:error>
  </d:response>
</d:multistatus>
"""

EXAMPLES = [NAMED_PROPERTIES, PROPERTY_NAMES, ALL_PROPERTIES, INCLUDED_PROPERTIES, DELETE_FAILED]


def one(inside: str, href: str = "/x") -> Response:
    """The only response of a body."""
    body = f'<D:multistatus xmlns:D="DAV:"><D:response><D:href>{href}</D:href>{inside}</D:response>'
    told = read_multistatus((body + "</D:multistatus>").encode(), NOW)
    assert len(told.responses) == 1
    return told.responses[0]


def properties(inside: str) -> Properties:
    told = one(f"<D:propstat><D:prop>{inside}</D:prop><D:status>HTTP/1.1 200 OK</D:status></D:propstat>")
    assert told.properties is not None
    return told.properties


# RFC 4918


def test_named_properties() -> None:
    """Section 9.1.3: none of ours among them, but the document is there."""
    assert read_multistatus(NAMED_PROPERTIES, NOW) == Multistatus(
        (Response(("http://www.example.com/file",), 200, Properties()),)
    )


def test_property_names() -> None:
    """Section 9.1.4: empty values tell nothing."""
    told = read_multistatus(PROPERTY_NAMES, NOW).responses
    assert [each.hrefs[0].rpartition("/")[2] for each in told] == ["", "front.html"]
    assert [each.properties for each in told] == [Properties(collection=False)] * 2


def test_all_properties() -> None:
    """Section 9.1.5."""
    folder, page = read_multistatus(ALL_PROPERTIES, NOW).responses
    assert folder == Response(("/container/",), 200, Properties(collection=True))
    assert page.properties == Properties(
        collection=False,
        size=4525,
        modified=datetime(1998, 1, 12, 9, 25, 56, tzinfo=UTC),
        last_modified="Mon, 12 Jan 1998 09:25:56 GMT",
        etag='"zzyzx"',
        media_type="text/html",
    )


def test_included_properties() -> None:
    """Section 9.1.6."""
    (told,) = read_multistatus(INCLUDED_PROPERTIES, NOW).responses
    assert told.hrefs == ("/mycol",)
    assert told.properties is not None
    assert told.properties.collection is True


def test_a_member_that_cannot_be_deleted() -> None:
    """Section 9.6.2."""
    (told,) = read_multistatus(DELETE_FAILED, NOW).responses
    assert (told.failed, told.status) == (True, 423)


def test_one_status_for_several_hrefs() -> None:
    """Section 14.24: (href*, status)."""
    told = one("<D:href>/y</D:href><D:status>HTTP/1.1 404 Not Found</D:status>")
    assert (told.hrefs, told.status, told.failed) == (("/x", "/y"), 404, True)


@given(example=st.sampled_from(EXAMPLES), data=st.data())
def test_pieces_do_not_matter(example: bytes, data: st.DataObject) -> None:
    reader, rest = MultistatusReader(NOW), example
    while rest:
        size = data.draw(st.integers(1, 200))
        reader.feed(rest[:size])
        rest = rest[size:]
    assert reader.finish() == read_multistatus(example, NOW)


@pytest.mark.parametrize("example", EXAMPLES, ids=["9.1.3", "9.1.4", "9.1.5", "9.1.6", "9.6.2"])
def test_byte_by_byte(example: bytes) -> None:
    reader = MultistatusReader(NOW)
    for byte in example:
        reader.feed(bytes([byte]))
    assert reader.finish() == read_multistatus(example, NOW)


# What servers do


def test_values_in_pieces_and_entities() -> None:
    told = one("<D:status>HTTP/1.1 404 x</D:status>", href="/R&amp;<!-- -->D<![CDATA[&]]>&#65;")
    assert told.hrefs == ("/R&D&A",)


@pytest.mark.parametrize("text", ["", "-1", "1.5", "1e3", "many", "9" * 19, "\N{SUPERSCRIPT TWO}"])
def test_a_size_that_is_none(text: str) -> None:
    assert properties(f"<D:getcontentlength>{text}</D:getcontentlength>").size is None


@pytest.mark.parametrize(
    ("text", "etag"),
    [
        ('"a"', '"a"'),
        ('W/"a"', 'W/"a"'),
        ("a-1", "a-1"),
        ("", None),
        (" ", None),
        ("a\nb", None),
        ("\u20ac", None),
    ],
)
def test_an_etag_that_can_be_sent_back(text: str, etag: str | None) -> None:
    assert properties(f"<D:getetag>{text}</D:getetag>").etag == etag


def test_a_refused_property_beside_others() -> None:
    told = one(
        "<D:propstat><D:prop><D:getetag/></D:prop><D:status>HTTP/1.1 404 Not Found</D:status></D:propstat>"
        "<D:propstat><D:prop><D:resourcetype><D:collection/></D:resourcetype></D:prop>"
        "<D:status>HTTP/1.1 200 OK</D:status></D:propstat>"
    )
    assert told == Response(("/x",), 200, Properties(collection=True))


@pytest.mark.parametrize(
    ("statuses", "status"),
    [([404], 404), ([403], 403), ([404, 500], 500), ([401, 404], 401), ([500, 403], 500)],
)
def test_an_entry_without_any_property_failed(statuses: list[int], status: int) -> None:
    """Section 15.9: every resource has a type, so one that tells none is not well."""
    told = one(
        "".join(
            f"<D:propstat><D:prop><D:getetag/></D:prop><D:status>HTTP/1.1 {each} x</D:status></D:propstat>"
            for each in statuses
        )
    )
    assert (told.failed, told.status) == (True, status)


@pytest.mark.parametrize(
    "line", ["HTTP/1.1 200 OK", "HTTP/1.0 200", " http/2 200 fine", "HTTP/1.1  207 x", ""]
)
def test_status_lines(line: str) -> None:
    told = one(
        f"<D:propstat><D:prop><D:getcontentlength>1</D:getcontentlength></D:prop>"
        f"<D:status>{line}</D:status></D:propstat>"
    )
    assert told.properties == Properties(size=1)


@pytest.mark.parametrize("before", [b"", b"\n", b" \r\n\t ", b"\xef\xbb\xbf"])
def test_what_comes_before_the_declaration(before: bytes) -> None:
    assert len(read_multistatus(before + ALL_PROPERTIES, NOW).responses) == 2


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b" \n",
        b"no XML",
        b"<html><body>It works</body></html>",
        b'<multistatus xmlns="other"/>',
        b"<multistatus/>",
        b'<D:multistatus xmlns:D="DAV:">&undeclared;</D:multistatus>',
        b'<D:multistatus xmlns:D="DAV:"><D:response></D:multistatus>',
        b'<D:multistatus xmlns:D="DAV:"/><more/>',
        b'<D:multistatus xmlns:D="DAV:">\xff</D:multistatus>',
        b'<D:multistatus xmlns:D="DAV:">' + b"<x>" * 300 + b"</x>" * 300 + b"</D:multistatus>",
    ],
)
def test_what_is_no_multistatus(body: bytes) -> None:
    with pytest.raises(WrongDocument):
        read_multistatus(body, NOW)


@pytest.mark.parametrize(
    "doctype",
    [
        b"<!DOCTYPE x>",
        b'<!DOCTYPE x SYSTEM "file:///etc/hostname">',
        b'<!DOCTYPE x [<!ENTITY a "b">]>',
        b'<!DOCTYPE x [<!ENTITY a "bb"><!ENTITY b "&a;&a;&a;&a;">]>',
        b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
    ],
)
def test_a_document_type_is_refused(doctype: bytes) -> None:
    body = doctype + b'<D:multistatus xmlns:D="DAV:"></D:multistatus>'
    with pytest.raises(WrongDocument):
        read_multistatus(body, NOW)
    with pytest.raises(WrongDocument):
        reader = MultistatusReader(NOW)
        for byte in body:
            reader.feed(bytes([byte]))
        reader.finish()


def test_cut_short_anywhere() -> None:
    for size in range(1, len(ALL_PROPERTIES.rstrip())):
        with pytest.raises((BrokenOff, WrongDocument)):
            read_multistatus(ALL_PROPERTIES[:size], NOW)
    with pytest.raises(BrokenOff):
        read_multistatus(ALL_PROPERTIES[: len(ALL_PROPERTIES) // 2], NOW)


def test_too_many_responses_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "LIST_ENTRIES", 5)
    entry = b"<D:response><D:href>/x</D:href><D:status>HTTP/1.1 404 x</D:status></D:response>"
    for number, cut in ((6, False), (7, True), (50, True)):
        told = read_multistatus(b'<D:multistatus xmlns:D="DAV:">' + entry * number + b"</D:multistatus>", NOW)
        assert (len(told.responses), told.cut) == (6, cut)


def test_too_many_bytes_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "LIST_BYTES", len(ALL_PROPERTIES))
    assert not read_multistatus(ALL_PROPERTIES, NOW).cut
    reader = MultistatusReader(NOW)
    reader.feed(ALL_PROPERTIES[:-1])
    reader.feed(b"  ")
    reader.feed(b"what still comes is not looked at")
    told = reader.finish()
    assert (len(told.responses), told.cut, reader.full) == (2, True, True)


@pytest.mark.parametrize(
    "inside",
    [
        b"<x/>" * 3_000_000,
        b"<D:response>" + b"<x/>" * 3_000_000,
        b"<D:response>" + b"<x>" * 100 + b"<y/>" * 3_000_000,
        b"<x " + b"".join(b'a%d="" ' % number for number in range(800_000)) + b"/>",
        b"<D:response><D:href>" + b"x" * 12_000_000,
        b"<!--" + b"x" * 12_000_000 + b"-->",
    ],
    ids=["elements", "in a response", "deep", "attributes", "text", "comment"],
)
def test_memory_does_not_grow_with_nonsense(inside: bytes) -> None:
    """Whatever 16 MiB can hold, little of it is kept: asked of the process, in KiB (getrusage(2))."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    reader = MultistatusReader(NOW)
    with suppress(TooLarge):
        reader.feed(b'<D:multistatus xmlns:D="DAV:">' + inside)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 64 << 10


@given(st.binary(max_size=300))
def test_any_bytes_are_a_multistatus_or_an_error_of_ours(data: bytes) -> None:
    for body in (data, ALL_PROPERTIES[:100] + data + ALL_PROPERTIES[100:]):
        try:
            read_multistatus(body, NOW)
        except (WrongDocument, BrokenOff):
            continue
