"""HAR 1.2 (the text that browsers and tools follow, W3C Web Performance draft of 2012) of two general tools.

`lamps.har` was saved by a browser, Chromium 156 driven by Playwright 1.65.1 (`record_har_path`), from an
invented site on loopback, whose host was renamed afterwards. The other files are written by harfile, a
library of the Python registry that writes HAR.
"""

import base64
import json
import tempfile
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import harfile
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.http.adapter import HttpAdapter
from adapters.port import Call
from adapters.recorded.exchange import Asked, Content, Exchange, Message
from adapters.recorded.http.playing import PlayingLink
from gateway.archives.har import read_har
from gateway.archives.messages import Store
from gateway.archives.outcome import ArchiveFault, LeftOut
from tests.adapters.recorded.exchanges import NOON, loaded, sized

LAMPS = Path(__file__).with_name("lamps.har")
ENTRY: dict[str, Any] = {
    "startedDateTime": "2026-05-17T14:00:00.123+02:00",
    "time": 250,
    "request": {"method": "GET", "url": "https://a.example/x#top", "headers": []},
    "response": {
        "status": 200,
        "headers": [{"name": "Content-Type", "value": "text/plain"}],
        "content": {"size": 1, "mimeType": "text/plain", "text": "x"},
    },
}
FORM = "application/x-www-form-urlencoded"
ODD = "not as HAR 1.2 has it: "
PLAIN = (("Content-Type", "text/plain"),)


def read(path: Path) -> list[Exchange | LeftOut]:
    return [each if isinstance(each, LeftOut) else sized(each) for each in read_har(path, Store(path.parent))]


def changed(path: Path, *changes: tuple[str, Any]) -> Exchange | LeftOut:
    """The one entry, with a value at each path such as "response/status"; None takes it away."""
    entry = json.loads(json.dumps(ENTRY))
    for place, value in changes:
        *folders, last = place.split("/")
        table = entry
        for each in folders:
            table = table[each]
        table.pop(last, None)
        if value is not None:
            table[last] = value
    path.write_text(json.dumps({"log": {"version": "1.2", "entries": [entry]}}))
    (made,) = read(path)
    return made


async def test_what_a_browser_saved_is_played(tmp_path: Path) -> None:
    folder = loaded(tmp_path / "site")
    left_out = []
    for each in read_har(LAMPS, Store(tmp_path)):
        if isinstance(each, LeftOut):
            left_out.append(each.why)
        else:
            folder.add(each)
    assert left_out == ["whose body was not saved"]  # of an image that the browser did not keep
    adapter = HttpAdapter(link=PlayingLink(folder, lambda: NOON))

    async def body(path: str, **changes: Any) -> bytes:
        return (await adapter.fetch(Call(f"http://lamps.example{path}", **changes), 5.0)).body

    lamps = await body("/lamps.json?a=1&b=2")
    assert json.loads(lamps) == {
        "lamps": [{"name": "North mole", "oil": 2.5}, {"name": "Caf\u00e9", "oil": 1}]
    }
    assert await body("/old") == "Caf\u00e9 M\u00f6we".encode(
        "latin-1"
    )  # by a redirect, in the charset it names
    posted = {"method": "POST", "body": b'{"note": "trimmed", "lamp": 3}', "media_type": "application/json"}
    assert await body("/log", **posted, changes=True) == b'{"kept": true}'
    await adapter.aclose()
    everything = b"".join(path.read_bytes() for path in (tmp_path / "site").rglob("*.toml"))
    assert b"window-4711" not in everything  # the cookie
    assert b"cookies of http://lamps.example" in everything


def test_what_another_library_writes(tmp_path: Path) -> None:
    text = StringIO()
    with harfile.HarFile(text) as har:
        har.add_entry(
            startedDateTime=datetime(2026, 5, 17, 12, 0, tzinfo=UTC),
            time=1500,
            request=harfile.Request(
                method="POST",
                url="http://a.example/log",
                httpVersion="HTTP/1.1",
                headers=[harfile.Record(name="Accept", value="*/*")],
                postData=harfile.PostData(mimeType="text/plain", text="a lamp"),
            ),
            response=harfile.Response(
                status=201,
                statusText="Created",
                httpVersion="HTTP/1.1",
                headers=[harfile.Record(name="X-Lamp", value="3")],
                content=harfile.Content(text=base64.b64encode(b"\0\xff").decode(), encoding="base64", size=2),
            ),
            timings=harfile.Timings(send=0, wait=0, receive=0),
        )
    path = tmp_path / "x"
    path.write_text(text.getvalue())
    asked = Asked(
        "POST",
        "http://a.example/log",
        (("Accept", "*/*"), ("Content-Type", "text/plain")),
        Content(b"a lamp"),
    )
    assert read(path) == [Exchange(asked, Message(201, (("X-Lamp", "3"),), Content(b"\0\xff")), NOON, 1.5)]


def test_times_and_urls(tmp_path: Path) -> None:
    at = NOON.replace(microsecond=123_000)
    expected = Exchange(Asked("GET", "https://a.example/x"), Message(200, PLAIN, Content(b"x")), at, 0.25)
    assert changed(tmp_path / "x") == expected
    assert changed(tmp_path / "x", ("time", None), ("time", "long")) == Exchange(
        expected.asked, expected.reply, at
    )


@pytest.mark.parametrize("took", [-1, 1e400, float("nan"), 10**400, True, None, "9"])
def test_a_time_that_is_none(took: Any, tmp_path: Path) -> None:
    made = changed(tmp_path / "x", ("time", took))
    assert isinstance(made, Exchange)
    assert made.took == 0.0


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("2026-05-17T12:00:00Z", NOON),
        ("2026-05-17T12:00:00.1239999Z", NOON.replace(microsecond=123_000)),  # more than six decimals
        ("2026-05-17T12:00:00", NOON),  # without a zone: UTC
        ("2026-05-17T06:30:00-05:30", NOON),
    ],
)
def test_when(text: str, at: datetime, tmp_path: Path) -> None:
    made = changed(tmp_path / "x", ("startedDateTime", text))
    assert isinstance(made, Exchange)
    assert made.at == at


@pytest.mark.parametrize(
    ("headers", "location"),
    [([], "/new%20page"), ([{"name": "location", "value": "/other"}], "/other")],
)
def test_where_a_redirect_leads(headers: list[dict[str, str]], location: str, tmp_path: Path) -> None:
    changes = (("response/status", 302), ("response/redirectURL", "/new page"), ("response/headers", headers))
    made = changed(tmp_path / "x", *changes)
    assert isinstance(made, Exchange)
    assert isinstance(made.reply, Message)
    assert [value for name, value in made.reply.headers if name.lower() == "location"] == [location]
    page = changed(tmp_path / "x", ("response/redirectURL", "/new"))
    assert isinstance(page, Exchange)
    assert isinstance(page.reply, Message)
    assert page.reply.headers == PLAIN


@pytest.mark.parametrize(
    ("changes", "body"),
    [
        ([("response/content/text", "Caf\u00e9")], "Caf\u00e9".encode()),
        (
            [
                ("response/content/text", "Caf\u00e9"),
                ("response/headers", [{"name": "content-type", "value": 'text/plain; Charset="ISO-8859-1"'}]),
            ],
            b"Caf\xe9",
        ),
        (
            [
                ("response/content/text", "Caf\u00e9"),
                ("response/headers", [{"name": "content-type", "value": "text/plain; charset=none-such"}]),
            ],
            "Caf\u00e9".encode(),
        ),
        (
            [
                ("response/content/text", "\u2603"),
                ("response/headers", [{"name": "content-type", "value": "text/plain; charset=latin-1"}]),
            ],
            "\u2603".encode(),
        ),
        (
            [
                ("response/content/text", "a..\u2603"),
                ("response/headers", [{"name": "content-type", "value": "text/plain; charset=idna"}]),
            ],
            "a..\u2603".encode(),
        ),
        ([("response/content/text", "\ud800")], b"\xed\xa0\x80"),
        ([("response/content", {"size": 0})], b""),
    ],
)
def test_bodies(changes: list[tuple[str, Any]], body: bytes, tmp_path: Path) -> None:
    made = changed(tmp_path / "x", *changes)
    assert isinstance(made, Exchange)
    assert isinstance(made.reply, Message)
    assert made.reply.content == Content(body)


@pytest.mark.parametrize(
    ("posted", "body"),
    [
        (
            {"mimeType": "application/x-www-form-urlencoded", "params": [{"name": "a b", "value": "\u00e9"}]},
            b"a+b=%C3%A9",
        ),
        ({"mimeType": "text/plain; charset=latin-1", "text": "\u00e9"}, b"\xe9"),
        ({"mimeType": "text/plain; charset=latin-1", "text": "\u2603"}, b"\xe2\x98\x83"),
        ({"mimeType": "application/x-www-form-urlencoded", "params": [{"name": "a", "value": None}]}, b"a="),
        ({"mimeType": "text/plain", "text": ""}, None),
    ],
)
def test_what_was_posted(posted: dict[str, Any], body: bytes | None, tmp_path: Path) -> None:
    made = changed(tmp_path / "x", ("request/postData", posted))
    assert isinstance(made, Exchange)
    assert made.asked.body == (None if body is None else Content(body))
    assert dict(made.asked.headers)["Content-Type"] == posted["mimeType"]


def test_headers(tmp_path: Path) -> None:
    headers = [
        {"name": ":status", "value": "200"},
        {"name": "Set-Cookie", "value": "a=1\nb=2"},
        {"name": "Content-Encoding", "value": "br"},
        {"name": "Content-Length", "value": "999"},
        {"name": "X-Town", "value": "\u2603"},
        {"name": "X-Count", "value": 0},
        {"name": "X-None", "value": None},
    ]
    made = changed(tmp_path / "x", ("response/headers", headers))
    assert isinstance(made, Exchange)
    assert isinstance(made.reply, Message)
    kept = (
        *(("Set-Cookie", "a=1"), ("Set-Cookie", "b=2"), ("X-Town", "\xe2\x98\x83")),
        *(("X-Count", "0"), ("X-None", "")),
    )
    assert (made.reply.headers, made.reply.failure, made.reply.length) == (kept, None, None)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (("response/status", 0), "without an answer"),
        (("response/status", None), "without an answer"),
        (("request/url", "data:text/plain,x"), "not over HTTP"),
        (("request/url", "wss://a.example/"), "not over HTTP"),
        (("response/content/text", None), "whose body was not saved"),
        (
            ("response/content/encoding", "zip"),
            "not as HAR 1.2 has it: a body in an encoding that is not base64",
        ),
        (("response/content/encoding", "base64"), "not as HAR 1.2 has it: a body that is not base64"),
        (("request", None), "not as HAR 1.2 has it: request"),
        (("request/url", 5), "not as HAR 1.2 has it: url"),
        (("request/method", "G T"), "not as HAR 1.2 has it: the request's method"),
        (("startedDateTime", "today"), "not as HAR 1.2 has it: startedDateTime"),
        (("startedDateTime", "9999-12-31T23:59:59-05:00"), "not as HAR 1.2 has it: startedDateTime"),
        (("request/headers", [{"value": "x"}]), "not as HAR 1.2 has it: a header without a name"),
        (
            ("request/postData", {"mimeType": "multipart/form-data", "params": [{"name": "a"}]}),
            "not as HAR 1.2 has it: a body of parts without its text",
        ),
    ],
)
def test_what_is_left_out(change: tuple[str, Any], why: str, tmp_path: Path) -> None:
    assert changed(tmp_path / "x", change) == LeftOut(why)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b'{"log": {"entries": [}}', "line 1, column 22"),
        (b'{"log":\n {"x": 1}}', "no log with entries"),
        (b"[]", "no log with entries"),
        (b'{"log": "\xff"}', "not UTF-8 .byte 10"),
        (b"[" * 100_000, "too deep"),
        (b'{"log": {"entries": [%s]}}' % (b"1" * 5000), "a number too long"),
    ],
)
def test_what_is_no_har_file(data: bytes, why: str, tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(data)
    with pytest.raises(ArchiveFault, match=why):
        read(tmp_path / "x")


PLACES = (
    *("startedDateTime", "time", "request", "response", "request/method", "request/url", "request/headers"),
    *("request/headers/0", "request/headers/0/name", "request/headers/0/value", "request/postData"),
    *("request/postData/mimeType", "request/postData/text", "request/postData/params"),
    *("request/postData/params/0", "request/postData/params/0/name", "request/postData/params/0/value"),
    *("response/status", "response/headers", "response/headers/0", "response/headers/0/name"),
    *("response/headers/0/value", "response/redirectURL", "response/content", "response/content/size"),
    *("response/content/mimeType", "response/content/text", "response/content/encoding"),
)
values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(
        ["\ud800", "base64", "http://[::1", "text/x; charset=rot13", "eHg=", "POST", "a\r\nb", FORM]
    ),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=4), inner, max_size=2),
    max_leaves=4,
)


@given(st.lists(st.tuples(st.sampled_from(PLACES), values), min_size=1, max_size=3))
def test_whatever_is_in_an_entry_it_is_taken_or_left_out(changes: list[tuple[str, Any]]) -> None:
    entry = json.loads(json.dumps(ENTRY))
    entry["request"]["postData"] = {"mimeType": FORM, "params": [{"name": "a", "value": "b"}]}
    entry["request"]["headers"] = [{"name": "Accept", "value": "*/*"}]
    for place, value in changes:
        steps: list[Any] = [int(each) if each.isdigit() else each for each in place.split("/")]
        *folders, last = steps
        table = entry
        for each in folders:
            inner = isinstance(table, dict) and each in table
            table = table[each] if inner or (isinstance(table, list) and table and each == 0) else {}
        if isinstance(table, dict) or (isinstance(table, list) and table and last == 0):
            table[last] = value
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x"
        path.write_text(json.dumps({"log": {"entries": [entry]}}))
        assert len(read(path)) == 1


@pytest.mark.parametrize("params", [5, {"a": 1}, "a=b"])
def test_what_was_posted_in_no_form_of_a_form(params: Any, tmp_path: Path) -> None:
    made = changed(tmp_path / "x", ("request/postData", {"mimeType": FORM, "params": params}))
    assert made == LeftOut(f"{ODD}what was posted")


@pytest.mark.parametrize(("encoding", "text"), [("base64", "AP\r\n8=\n"), ("BASE64", "AP8=")])
def test_base64_as_mail_has_it(encoding: str, text: str, tmp_path: Path) -> None:
    """In lines (RFC 2045 section 6.8), and its name in capitals."""
    made = changed(tmp_path / "x", ("response/content/text", text), ("response/content/encoding", encoding))
    assert isinstance(made, Exchange)
    assert isinstance(made.reply, Message)
    assert made.reply.content == Content(b"\0\xff")


def test_limits_and_a_mark_at_the_beginning(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x"
    changed(path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert len(read(path)) == 1
    monkeypatch.setattr(limits, "ARCHIVE_BODY_BYTES", 0)
    assert read(path) == [LeftOut("larger than a recording may be")]
    monkeypatch.setattr(limits, "ARCHIVE_HAR_BYTES", 10)
    with pytest.raises(ArchiveFault, match="larger than 10"):
        read(path)
