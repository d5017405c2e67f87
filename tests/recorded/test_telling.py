"""TELL and what only fetches: recorded live, played without a network, the same replies byte for byte."""

import json
import ssl
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import trustme
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from tests.recorded import third_party
from tests.recorded.twice import Twice, code, codes

KEY = "an-invented-key"
_FIELD = '[[source.{0}.field]]\nname = "N"\nat = "{1}"\nkind = "int"\nwidth = 5\n'
_SOURCES = """
[gateway]
state = "state"
[[listen]]
port = 0
[source.table]
url = "{url}/scores"
rows = "$[*]"
{ca}
[[source.table.field]]
name = "WHO"
at = "$.who"
width = 8
[[source.table.field]]
name = "POINTS"
at = "$.points"
kind = "int"
width = 6
[source.score]
url = "{url}/scores{{?day}}"
args = ["who", "points:int", "day"]
method = "POST"
body = {{ who = "{{who}}", points = "{{points}}", list = [1.50, true, "by {{who}}"] }}
auth = {{ header = "X-Key", secret = "env:PIER" }}
{ca}
{score}
[source.sign]
url = "{url}/form"
args = ["who"]
method = "PUT"
send = "form"
body = {{ who = "{{who}}", kind = ["new", "guest"] }}
{ca}
{sign}
[source.berth]
url = "{url}/xml"
args = ["ship"]
method = "PATCH"
body = '<berth ship="{{ship}}">{{ship}}</berth>'
{ca}
{berth}
[source.leave]
url = "{url}/ships/{{ship}}"
args = ["ship"]
method = "DELETE"
{ca}
{leave}
[source.book]
url = "{url}/book"
method = "POST"
body = "lines"
{ca}
{book}
[source.fail]
url = "{url}/fail/{{status}}"
args = ["status:int"]
method = "POST"
body = {{ a = "b" }}
{ca}
{fail}
"""
REQUESTS = (
    "ASK table", "TELL score MOLE 8200 one", "WHY", "ASK table", "TELL score mole 8200 one",
    "TELL score QUAY 9300 one", "TELL score QUAY 9300 two", "ASK table", "TELL score MOLE 8200 one", "WHY",
    "TELL sign Möwe", "TELL sign 'A & B'", "TELL berth '<Gull> & \"co\"'", "TELL leave gull",
    "TELL leave gull", "WHY", "TELL book", ">Greetings", ">from afar", ".", "WHY", "TELL book", ".",
    "TELL book", ">Again", "NOOP",
    *(f"TELL fail {status}" for status in (200, 201, 204, 400, 401, 403, 404, 409, 429, 500, 503)), "WHY",
    "TELL fail 429", "TELL table", "ASK score x 1", "TELL score MOLE many one", "ASK table",
)  # fmt: skip


@dataclass(slots=True)
class Club:
    """The far server's own state: what is told changes it."""

    scores: list[dict[str, object]] = field(default_factory=lambda: [{"who": "CAT", "points": 9900}])
    told: list[bytes] = field(default_factory=list)

    def table(self, _: Request) -> Response:
        return Response(
            json.dumps(self.scores), content_type="application/json", headers={"Cache-Control": "no-store"}
        )

    def add(self, request: Request) -> Response:
        if request.headers.get("X-Key") != KEY:
            return Response("{}", 401)
        score = json.loads(request.data)
        if score in self.scores:
            return Response("{}", 409)
        self.scores.append(score)
        return Response(json.dumps({"n": len(self.scores)}), 201, content_type="application/json")

    def take(self, request: Request) -> Response:
        """Each time told, another answer."""
        self.told.append(request.data)
        said = {"n": len(self.told), "bytes": len(request.data)}
        return Response(json.dumps(said), content_type="application/json")

    def fail(self, request: Request) -> Response:
        self.told.append(request.data)
        status = int(request.path.rpartition("/")[2])
        body = "" if status == 204 else json.dumps({"n": status})
        return Response(body, status, {"Retry-After": "17"} if status in (429, 503) else {})


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture(params=["http", "https"])
def club(
    request: pytest.FixtureRequest, authority: trustme.CA, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[HTTPServer]:
    context = None
    ca = ""
    if request.param == "https":
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert("localhost").configure_cert(context)
        authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
        ca = 'ca = "ca.pem"'
    monkeypatch.setenv("PIER", KEY)
    with HTTPServer(ssl_context=context) as server:
        state = Club()
        server.expect_request("/scores", method="GET").respond_with_handler(state.table)
        server.expect_request("/scores", method="POST").respond_with_handler(state.add)
        for path in ("/form", "/xml", "/ships/gull", "/book"):
            server.expect_request(path).respond_with_handler(state.take)
        for status in (200, 201, 204, 400, 401, 403, 404, 409, 429, 500, 503):
            server.expect_request(f"/fail/{status}").respond_with_handler(state.fail)
        names = ("score", "sign", "berth", "leave", "book", "fail")
        fields = {name: _FIELD.format(name, "$.n") for name in names}
        text = _SOURCES.format(url=server.url_for("").rstrip("/"), ca=ca, **fields)
        (tmp_path / "headrace.toml").write_text(text)
        yield server
        server.check_assertions()


async def test_telling(club: HTTPServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    twice = Twice(tmp_path / "headrace.toml", tmp_path / "site")
    live = await twice.live(*REQUESTS)
    assert {200, 350, 450, 501, 502, 503, 533, 550, 555, 558} <= codes(live)
    tables = {each for each in live if b"CAT" in each}
    assert len(tables) == 3  # it changed twice
    asked = len(club.log)
    club.stop()
    monkeypatch.delenv("PIER")
    assert await twice.played(*REQUESTS) == live
    assert len(club.log) == asked
    for alone in ("TELL sign 'A & B'", "TELL score QUAY 9300 two"):  # what was sent tells them apart
        assert await twice.played(alone) == [live[REQUESTS.index(alone)]]
    kept = b"".join(path.read_bytes() for path in (tmp_path / "site").rglob("*") if path.is_file())
    assert KEY.encode() not in kept


async def test_what_only_fetches(tmp_path: Path) -> None:
    (tmp_path / "headrace.toml").write_text(
        '[source.bell]\nurl = "bell://tower.example:7/{hour}"\nargs = ["hour:int"]\nrows = "$[*]"\n'
        + _FIELD.format("bell", "$.n")
    )
    twice = Twice(tmp_path / "headrace.toml", tmp_path / "site")
    requests = (
        "ASK bell 3",
        "WHY",
        "SET page=5",
        "ASK bell 12",
        "MORE",
        "MORE",
        "ASK bell 13",
        "WHY",
        "ASK bell 4",
    )
    with third_party.joined():
        live = await twice.live(*requests)
        assert [code(each) for each in live] == [200, 200, 200, 200, 200, 200, 550, 200, 200]
        assert await twice.played(*requests) == live
        assert code((await twice.played("ASK bell 11"))[0]) == 504
