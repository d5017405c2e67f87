"""Cases that recordings go wrong with: codings, redirects, cookies, conditions, parts, and odd names."""

import gzip
import re
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from adapters.recorded.exchange import Message
from tests.recorded.contract import folder as recordings
from tests.recorded.places import PASSWORD, PLACES, Place
from tests.recorded.twice import Twice, codes

_SOURCE = """
[source.{name}]
url = "{url}"
rows = "$[*]"
[[source.{name}.field]]
name = "N"
at = "$.n"
kind = "int"
width = 4
"""
ROWS = b'[{"n": 1}, {"n": 22}]'
TEXT = "".join(f"Line {number} of a long text, packed.\n" for number in range(40)).encode()


class Far:
    """What a web server does beside plain answers."""

    def __init__(self) -> None:
        self.asked = 0

    def packed(self, _: Request) -> Response:
        return Response(
            gzip.compress(ROWS), headers={"Content-Encoding": "gzip"}, content_type="application/json"
        )

    def packed_text(self, _: Request) -> Response:
        return Response(gzip.compress(TEXT), headers={"Content-Encoding": "gzip"}, content_type="text/plain")

    def door(self, request: Request) -> Response:
        """Three doors, each with a cookie; the last one wants all of them, with their newest values."""
        number = int(request.args.get("door", "0"))
        if number < 3:
            answer = Response(
                status=302, headers={"Location": f"/doors?door={number + 1}&pier=s3cret-{number}"}
            )
            answer.set_cookie("visit", f"value-{number}")
            answer.set_cookie(f"door{number}", f"key-{number}")
            return answer
        wanted = {"visit": "value-2", "door0": "key-0", "door1": "key-1", "door2": "key-2"}
        return Response(ROWS if request.cookies == wanted else b"[]", content_type="application/json")

    def moved(self, _: Request) -> Response:
        return Response(status=308, headers={"Location": "tagged"})

    def tagged(self, request: Request) -> Response:
        """Asked for the fourth time it is another document."""
        self.asked += 1
        version = self.asked // 4
        answer = Response(b'[{"n": %d}]' % version, content_type="application/json")
        answer.set_etag(f"v{version}")
        answer.headers["Cache-Control"] = "no-cache"
        answer.make_conditional(request)
        return answer

    def parts(self, request: Request) -> Response:
        answer = Response(bytes(range(256)) * 40, content_type="application/octet-stream")
        answer.set_etag("parts")
        answer.make_conditional(request, accept_ranges=True, complete_length=10_240)
        return answer


@pytest.fixture(scope="module")
def server() -> Iterator[HTTPServer]:
    with HTTPServer() as running:
        yield running


@pytest.fixture
def twice(server: HTTPServer, tmp_path: Path) -> Twice:
    server.clear()
    far = Far()
    for path, handler in (
        ("/packed", far.packed),
        ("/packed.txt", far.packed_text),
        ("/doors", far.door),
        ("/moved", far.moved),
        ("/tagged", far.tagged),
        ("/parts", far.parts),
    ):
        server.expect_request(path).respond_with_handler(handler)
    url = server.url_for("").rstrip("/")
    text = f'[place.site]\nbase = "{url}/"\n'
    for name in ("packed", "doors", "moved", "tagged"):
        text += _SOURCE.format(name=name, url=f"{url}/{name}")
    (tmp_path / "headrace.toml").write_text(text)
    return Twice(tmp_path / "headrace.toml", tmp_path / "site")


REQUESTS: dict[str, tuple[str, ...]] = {
    "gzip": (
        "ASK packed",
        "WHY",
        "TEXT site:packed.txt",
        "READ site:packed.txt 30 50",
        "READ site:packed 0 9",
    ),
    "redirects and cookies": ("ASK doors", "WHY", "ASK doors", "TEXT site:doors", "ASK moved"),
    "304": (
        "ASK tagged",
        "ASK tagged",
        "WHY",
        "ASK tagged",
        "ASK tagged",
        "ASK tagged",
        "ASK moved",
        "ASK moved",
        "WHY",
    ),
    "206": (
        "READ site:parts 0 20",
        "READ site:parts 10000",
        "SET bytes=raw",
        "READ site:parts B3",
        "READ site:parts 10240",
        "READ site:parts 0 20",
        "READ site:parts 50000 1",
        "WHY",
    ),
}
STATUSES = {"gzip": 200, "redirects and cookies": 302, "304": 304, "206": 206}


@pytest.mark.parametrize("case", REQUESTS)
async def test_over_http(case: str, server: HTTPServer, twice: Twice) -> None:
    live = await twice.live(*REQUESTS[case])
    assert codes(live) <= {200}
    server.clear()
    assert await twice.played(*REQUESTS[case]) == live
    kept = [each.reply for each in recordings(twice.site).exchanges()]
    messages = [each for each in kept if isinstance(each, Message)]
    assert STATUSES[case] in {each.status for each in messages}
    assert any(each.squeezed for each in messages) == (case == "gzip")
    everything = b"".join(path.read_bytes() for path in twice.site.rglob("*") if path.is_file())
    for secret in (b"value-", b"key-"):
        assert secret not in everything


@pytest.mark.parametrize("again", [0, 2], ids=["each once", "with conditions"])
async def test_one_url_in_three_languages(again: int, server: HTTPServer, tmp_path: Path) -> None:
    """Proactive negotiation (RFC 9110 section 12.1): which document it is hangs on a request's headers."""

    def hello(request: Request) -> Response:
        number = "abc".index(request.headers["Accept-Language"])
        answer = Response(b'[{"n": %d}]' % number, content_type="application/json")
        answer.set_etag(f"v{number}")
        answer.headers["Cache-Control"] = "no-cache"
        answer.make_conditional(request)
        return answer

    server.expect_request("/hello").respond_with_handler(hello)
    sources = [
        _SOURCE.format(name=f"in-{each}", url=server.url_for("/hello")).replace(
            "rows =", f'headers = {{ Accept-Language = "{each}" }}\nrows =', 1
        )
        for each in "abc"
    ]
    (tmp_path / "headrace.toml").write_text("".join(sources))
    twice = Twice(tmp_path / "headrace.toml", tmp_path / "site")
    asked = ("ASK in-a", *("ASK in-a",) * again, "ASK in-b", "ASK in-c", "ASK in-b", "ASK in-a")
    live = await twice.live(*asked)
    assert await twice.played(*asked) == live
    (last,) = await twice.played("ASK in-c")
    assert last.endswith(b"   2\r\n")


async def test_old_values_while_the_far_server_failed(server: HTTPServer, tmp_path: Path) -> None:
    """`stale` (RFC 5861 section 4 is the idea): what stood in for a failing server stands in again."""
    answers = iter([Response(ROWS, content_type="application/json"), *[Response(status=500)] * 9])
    server.expect_request("/failing").respond_with_handler(lambda _: next(answers))
    source = _SOURCE.format(name="failing", url=server.url_for("/failing"))
    (tmp_path / "headrace.toml").write_text(source.replace("rows =", 'stale = "1d"\nrows =', 1))
    twice = Twice(tmp_path / "headrace.toml", tmp_path / "site")
    asked = ("ASK failing", "ASK failing", "WHY")
    live = await twice.live(*asked)
    assert live[0].startswith(b"200 00002 004 ..")
    assert live[1].startswith(b"200 00002 004 .S")
    assert b"STALE" in live[2]
    assert await twice.played(*asked) == live


NAMES = (
    b"con", b"NUL.txt", b"aux.1.toml", b"a:b", b"trailing.", b"trailing", b"two  blanks", b"100%",
    b"%2e%2e", b"..hidden", b"what?", b"star*", b"a<b>c|d", b'quote"', b"site.toml", b"recording-00.part",
    b"README", b"readme", b"x" * 200, b"x" * 199 + b"y", "gr\u00f6\u00dfe".encode(),
    "gro\u0308\u00dfe".encode(), b"M\xf6we.txt", b"M\xf6we.2.toml", b"~", b"-rf", b"index", b"a,b", b"com1",
    b"lpt9.json",
)  # fmt: skip
"""Not legal, not the same or not only one on some common file system; 120 bytes and more; no UTF-8."""
_PORTABLE = re.compile(r"[a-z0-9_,-][a-z0-9._,-]{0,120}(?<!\.)")
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)  # common practice
_numbers = count()


@pytest.mark.parametrize("scheme", ["ftp", "davs", "file"])
async def test_names(scheme: str, tmp_path: Path) -> None:
    with PLACES[scheme]() as far:
        place = far.within(f"n{next(_numbers)}")
        assert place.folder is not None
        names = [name for name in NAMES if scheme != "davs" or b"\xf6" not in name]
        for name in names:
            _put(place, name)
        catalogue = tmp_path / "headrace.toml"
        catalogue.write_text(place.named("p"))
        (tmp_path / "password").write_text(PASSWORD)
        twice = Twice(catalogue, tmp_path / "site")
        requests = ["LIST p:"]
        for number in range(1, len(names) + 1):
            requests += [f"NAME #{number}", f"TEXT #{number}", f"READ #{number} 3 20"]
        live = await twice.live(*requests)
    assert codes(live) == {200}
    assert int(live[0][4:9]) == len(names)
    assert await twice.played(*requests) == live
    shown = b"".join(live)
    assert all(b"of %d " % NAMES.index(name) in shown for name in names)
    paths = [path.relative_to(twice.site) for path in twice.site.rglob("*")]
    for part in {part for path in paths for part in path.parts}:
        assert _PORTABLE.fullmatch(part), part
        assert not _RESERVED.fullmatch(part), part
    assert len({str(path).casefold() for path in paths}) == len(paths)


def _put(place: Place, name: bytes) -> None:
    assert place.folder is not None
    path = bytes(place.folder) + b"/" + name
    with open(path, "wb") as file:  # noqa: PTH123 - a name of bytes
        file.write(b"of %d\n" % NAMES.index(name))
