"""TALK as the session sees it (CONTRACT section 3); the raw bytes are the service's matter."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from types import MappingProxyType

import pytest

from adapters.errors import BrokenOff, CannotConnect
from gateway.catalogue.model import Catalogue, GatewaySettings, LineEnd, Place
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.wishes import Called, CallWish, CounterWish, Granted, Heard, Provenance, SayWish, Wish
from gateway.wire.settings import Settings
from tests.gateway.session.conftest import Talk

PLACES = {
    "BBS": Place("BBS", "tcp://bbs.example:6400", lines=LineEnd.LF),
    "BINARY": Place("BINARY", "tcp://bbs.example:6401", raw=True),
    "OLD": Place("OLD", "telnet://old.example", charset="cp437"),
    "POST": Place("POST", "udp://post.example:7"),
    "CLUB": Place("CLUB", "http://club.example/"),
}
CATALOGUE = Catalogue(
    places=MappingProxyType(PLACES), gateway=GatewaySettings(urls=("typed.example",), letters={"ü": "ue"})
)


@dataclass
class Line:
    """A far server's line, in the session's hands."""

    datagrams: bool = False
    dropped: int = 0

    def facts(self) -> Sequence[tuple[str, str]]:
        return [("SENT", "1 bytes"), ("HEARD", "2 bytes")]

    def drop(self) -> None:
        self.dropped += 1


@dataclass
class FarEnd:
    """What it hears, and what it says to each: bytes, or None for hanging up behind the last of them."""

    says: list[bytes | Exception | None] = field(default_factory=list)
    said: list[bytes] = field(default_factory=list)
    calls: list[CallWish] = field(default_factory=list)
    counters: list[CounterWish] = field(default_factory=list)
    line: Line = field(default_factory=Line)
    refuses: Exception | None = None

    def grant(self, wish: Wish) -> Granted:
        if isinstance(wish, CallWish):
            self.calls.append(wish)
            if self.refuses is not None:
                raise self.refuses
            self.line.datagrams = wish.ref.url.startswith("udp:")
            return Called(self.line, Provenance("tcp://bbs.example:6400", "stream"))
        if isinstance(wish, CounterWish):
            self.counters.append(wish)
            return Called(self.line, Provenance("http://club.example", "its counter"))
        assert isinstance(wish, SayWish)
        self.said.append(wish.data)
        answer = self.says.pop(0) if self.says else b""
        if isinstance(answer, Exception):
            raise answer
        over = bool(self.says) and self.says[0] is None
        return Heard(answer or b"", over=over)


@pytest.fixture
def far() -> FarEnd:
    return FarEnd()


@pytest.fixture
def talk(far: FarEnd) -> Talk:
    world = World(lambda: CATALOGUE, lambda: datetime(2026, 5, 17, 12, tzinfo=UTC))
    return Talk(Session(world, "PLAIN"), far.grant)


def shown(records: Sequence[str]) -> list[str]:
    return [record.rstrip() for record in records]


# The raw form


def test_a_raw_stream_is_open_after_200(talk: Talk, far: FarEnd) -> None:
    assert talk.status("TALK bbs:") == "200 00000 000 .."
    assert talk.session.talking is not None
    assert (far.calls[0].ref.url, far.calls[0].columns) == ("tcp://bbs.example:6400", 40)
    assert b"".join(talk.session.stream_over("by you")) == b"\r\n226 00000 000 ..\r\n"
    assert far.line.dropped == 1
    assert shown(talk.records("WHY")) == [
        "REQUEST  TALK bbs:",
        "REPLY    226 00000 000 ..",
        "FROM     tcp://bbs.example:6400, stream",
        "AGE      0 s",
        "SENT     1 bytes",
        "HEARD    2 bytes",
        "ENDED    by you",
    ]


def test_what_came_before_200_is_for_nobody(talk: Talk) -> None:
    assert talk.raw(b"TALK bbs:\rNOOP pipelined\r") == b"200 00000 000 ..\r\n"
    assert talk.session.reader.take_waiting() == b""


def test_where_no_stream_opens_nothing_behind_it_runs(talk: Talk, far: FarEnd) -> None:
    far.refuses = CannotConnect("The far server refuses to connect")
    assert talk.raw(b"TALK bbs:\rNOOP pipelined\r").startswith(b"425 00001 040 ..")
    assert talk.session.talking is None
    assert talk.status("NOOP a") == "200 00001 040 .."


@pytest.mark.parametrize(
    ("place", "way", "wanted"),
    [
        ("bbs", b"caf\xc3\xbc\n", b"cafue\r\n"),
        ("old", b"\x81\r\n", b"ue\r\n"),
        ("binary", b"\x81\r\n\n\xff", b"\x81\r\n\n\xff"),
    ],
)
def test_what_is_made_of_far_bytes(talk: Talk, place: str, way: bytes, wanted: bytes) -> None:
    talk.status(f"TALK {place}:")
    assert talk.session.talking is not None
    assert talk.session.talking.to_client(talk.session.eol).feed(way) == wanted


def test_what_is_made_of_the_clients_bytes(talk: Talk) -> None:
    wanted = {"bbs": b"a\n", "old": b"a\r\n", "post": b"a\n"}
    for place, data in wanted.items():
        talk.status(f"TALK {place}:")
        assert talk.session.talking is not None
        to_far = talk.session.talking.to_far()
        assert to_far is not None
        assert to_far.feed(b"a\r") == data
        talk.session.stream_over("by you")
    talk.status("TALK binary:")
    assert talk.session.talking is not None
    assert talk.session.talking.to_far() is None


@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("TALK", "501"),
        ("TALK bbs: raw", "501"),
        ("TALK bbs: lines now", "501"),
        ("TALK club: lines", "502"),
        ("TALK club:a.txt", "502"),
        ("TALK http://typed.example/", "502"),
        ("TALK bbs:path", "501"),
        ("TALK none:", "550"),
        ("TALK tcp://other.example:1", "532"),
        ("TALK tcp://typed.example:1", "200"),
        ("TALK binary:", "200"),
    ],
)
def test_wrong_words_and_places(talk: Talk, line: str, status: str) -> None:
    assert talk.status(line)[:3] == status


def test_a_counter_is_not_for_lines(talk: Talk) -> None:
    for ref in ("club:", "club:letters/"):
        assert talk.say(f"TALK {ref} lines") == (
            "502 00001 040 ..",
            ["Not by lines there; TALK without lines".ljust(40)],
        )
    assert talk.say("TALK club:a.txt lines") == (
        "502 00001 040 ..",
        ["No stream there; TEXT or READ it".ljust(40)],
    )


@pytest.mark.parametrize(
    ("before", "line", "url", "eol"),
    [
        (None, "TALK club:", "http://club.example/", "crlf"),
        (None, "TALK club:docs/", "http://club.example/docs/", "crlf"),
        ("SET eol=cr", "TALK club:", "http://club.example/", "cr"),
        ("SET flow=xon", "TALK club:", "http://club.example/", "crlf"),  # only its transfers mind
        ("BASE club:docs/", "TALK sub/", "http://club.example/docs/sub/", "crlf"),
    ],
)
def test_a_place_with_documents_has_a_counter(
    talk: Talk, far: FarEnd, before: str | None, line: str, url: str, eol: str
) -> None:
    """Which makes its own line ends and charset: nothing else is made of its bytes."""
    if before is not None:
        talk.raw(before.encode() + b"\r")
    assert talk.raw(line.encode() + b"\r")[:3] == b"200"
    (wish,) = far.counters
    assert (wish.ref.url, wish.settings.eol) == (url, eol)
    assert talk.session.talking is not None
    assert talk.session.talking.to_far() is None
    every = bytes(range(256))
    assert talk.session.talking.to_client(b"\r").feed(every) == every
    talk.session.lost()
    assert far.line.dropped == 1


def test_raw_bytes_and_flow_control_do_not_go_together(talk: Talk) -> None:
    talk.status("SET flow=xon")
    assert talk.status("TALK binary:")[:3] == "503"
    assert talk.status("TALK binary: lines")[:3] == "200"


def test_a_lost_line_hangs_up(talk: Talk, far: FarEnd) -> None:
    talk.status("TALK bbs:")
    talk.session.lost()
    assert far.line.dropped == 1


# By lines


def test_each_line_gets_one_reply(talk: Talk, far: FarEnd) -> None:
    far.says = [b"Welcome\nname: ", b"", b"you are me\n> ", b"bye\n", None]
    assert talk.status("TALK bbs: lines") == "200 00000 000 .."
    assert talk.session.talking is None
    assert shown(talk.records("")) == ["Welcome", "name:"]
    assert talk.say("") == ("200 00000 000 ..", [])
    assert shown(talk.records(">me")) == ["you are me", ">"]
    said = talk.say(">quit")
    assert said is not None
    assert (said[0], shown(said[1])) == ("226 00001 040 ..", ["bye"])
    assert far.said == [b"", b"", b"me\n", b"quit\n"]
    assert talk.say("") is None
    assert far.line.dropped == 1
    assert shown(talk.records("WHY"))[-1] == "ENDED    by the far end"


def test_a_message_has_no_line_end(talk: Talk, far: FarEnd) -> None:
    far.says = [b"answer\n"]
    talk.status("TALK post: lines")
    assert shown(talk.records(">question")) == ["answer"]
    assert far.said == [b"question"]


def test_a_page_is_as_long_as_set_and_the_rest_waits(talk: Talk, far: FarEnd) -> None:
    far.says = [b"1\n2\n3\n", b"", None]
    talk.status("SET page=2")
    talk.status("TALK bbs: lines")
    assert talk.say("") == ("200 00002 040 +.", ["1".ljust(40), "2".ljust(40)])
    assert talk.say("") == ("226 00001 040 ..", ["3".ljust(40)])


def test_the_client_leaves_with_a_dot(talk: Talk, far: FarEnd) -> None:
    talk.status("TALK bbs: lines")
    assert talk.say(".") == ("226 00000 000 ..", [])
    assert far.line.dropped == 1
    assert talk.status("NOOP a") == "200 00001 040 .."


def test_a_line_that_is_none_for_a_stream_ends_it(talk: Talk, far: FarEnd) -> None:
    talk.status("TALK bbs: lines")
    assert talk.say("ERASE club:x") == ("503 00001 040 ..", ["A line lacked its >; the call is over   "])
    assert far.line.dropped == 1
    assert talk.status("NOOP a") == "200 00001 040 .."


def test_again_and_why_are_no_lines_of_it(talk: Talk, far: FarEnd) -> None:
    far.says = [b"once\n"]
    talk.status("TALK bbs: lines")
    first = talk.say("")
    assert talk.say("AGAIN") == first
    assert talk.status("WHY")[:3] == "200"
    assert far.line.dropped == 0
    assert talk.status(".")[:3] == "226"


def test_with_a_window_an_empty_line_acknowledges_first(talk: Talk, far: FarEnd) -> None:
    far.says = [b"1\n2\n", b"3\n"]
    talk.status("SET window=2")
    talk.raw(b"\r")
    assert talk.raw(b"TALK bbs: lines\r") == b"200 00000 000 ..\r\n"
    assert talk.raw(b"\r") == b""
    assert talk.raw(b"\r") == b"200 00002 040 ..\r\n1".ljust(58) + b"\r\n"
    assert talk.raw(b"AGAIN\r") == b"200 00002 040 ..\r\n1".ljust(58) + b"\r\n"
    assert talk.raw(b"\r") == b"2".ljust(40) + b"\r\n"
    assert talk.raw(b"\r") == b""
    assert talk.raw(b"\r").startswith(b"200 00001 040 ..\r\n3 ")


def test_a_garbled_line_is_no_line(talk: Talk, far: FarEnd) -> None:
    talk.raw(b"SET check=sum\r")
    request = b"TALK bbs: lines"
    talk.raw(b"%b *%02X\r" % (request, sum(request) % 256))
    assert talk.raw(b">hello *00\r").startswith(b"500")
    assert far.said == []
    assert far.line.dropped == 0
    assert talk.raw(b">" + b"x" * 300 + b"\r").startswith(b"500")
    assert far.line.dropped == 0


def test_a_line_that_broke(talk: Talk, far: FarEnd) -> None:
    far.says = [BrokenOff("It broke off")]
    talk.status("TALK bbs: lines")
    assert talk.status(">a")[:3] == "426"
    assert far.line.dropped == 1
    assert talk.status("NOOP a") == "200 00001 040 .."


def test_text_in_the_clients_own_charset(talk: Talk, far: FarEnd) -> None:
    talk.session.reader.settings = Settings()
    talk.status("SET charset=latin1")
    talk.status("TALK bbs: lines")
    talk.raw(b">caf\xe9\r")
    assert far.said == ["café\n".encode()]


def test_what_the_far_end_left_behind_is_read_without_asking_it_again(talk: Talk, far: FarEnd) -> None:
    far.says = [b"1\n2\n3\n", None]
    talk.status("SET page=1")
    talk.status("TALK bbs: lines")
    assert talk.say("") == ("200 00001 040 +.", ["1".ljust(40)])
    said = len(far.said)
    assert talk.say("") == ("200 00001 040 +.", ["2".ljust(40)])
    assert talk.say("") == ("226 00001 040 ..", ["3".ljust(40)])
    assert len(far.said) == said


def test_a_stream_that_a_lost_line_has_ended_ends_once(talk: Talk, far: FarEnd) -> None:
    talk.status("TALK bbs:")
    talk.session.lost()
    assert b"".join(talk.session.stream_over("by the far end")) == b"\r\n226 00000 000 ..\r\n"
    assert far.line.dropped == 1
