"""Words that want to be more than words, in what the gateway says and logs."""

import re
from collections.abc import Callable

from gateway.testing.upstream.answers import Answer
from tests.adapters.ftp.scripted import Fault
from tests.attacks.attack import Attack
from tests.attacks.ground import Ground

_LOG_LINE = re.compile(r"time=[0-9T:.-]+Z level=[a-z]+ logger=[A-Za-z0-9_.]+ message=.*", re.ASCII)
_FORGED = "\r\ntime=2026-01-01T00:00:00.000Z level=critical message=forged\u2028\u0085\x1b]0;title\x07\x9b2J"


def _log_forged(do: Callable[[Ground], object]) -> Callable[[Ground], str]:
    """Every line that is in the log since is one of ours, in printable ASCII."""

    def run(ground: Ground) -> str:
        before = len(ground.log())
        do(ground)
        lines = ground.log()[before:]
        assert lines, "nothing was logged, so nothing was tried"
        wrong = [
            line
            for line in lines
            if not _LOG_LINE.fullmatch(line) or not line.isascii() or not line.isprintable()
        ]
        return f"{len(wrong)} lines of the log that are none of ours" + "".join(
            f"\n{each!r}" for each in wrong
        )

    return run


def _forge_by_request(ground: Ground) -> None:
    ground.ask(
        "READ far:a%0d%0atime=now%e2%80%a8%1b[2J", "ASK item a%0alevel=critical", "NOOP level=critical"
    )
    with ground.line() as line:
        line.put(b"\x1b[2J\x85 level=critical message=forged\r\n")
        line.reply()


def _forge_by_far(ground: Ground) -> None:
    text = _FORGED.encode().replace(b"\r\n", b"\r").decode("latin-1")
    ground.raw.says("/forge", b"HTTP/1.1 200 " + _FORGED.encode() + b"\r\n\r\n")
    ground.far.on("/forge").redirect(f"ftp://x/{text}")
    ground.far.on("/forge2").redirect("http://a" + text.replace("\r", "") + ".example/")
    ground.ask("READ raw:forge", "READ far:forge", "READ far:forge2")
    ground.ftp.faults["RETR"] = Fault("say", "550 \x1b[2J\x85level=critical", times=1)
    ground.ask("READ files:forge.txt")


_STATUS = "200 00001 040 .."


def _one_value(value: str, as_text: bool = False) -> Callable[[Ground], str]:
    def run(ground: Ground) -> str:
        if as_text:
            ground.far.on("/forged").text(value)
            return ground.ask("TEXT far:forged", "NOOP still")
        ground.far.on("/forged").json({"v": value})
        return ground.ask("PICK far:forged - $.v:40", "NOOP still")

    return run


def _forged_listing(ground: Ground) -> str:
    """Names as a WebDAV server gives them; decoded, they hold line ends."""
    name = "a%0d%0a200%2000001%20040%20..%1b[2J%e2%80%a8b"
    entry = f"<d:response><d:href>/dav/odd/{name}</d:href><d:propstat><d:prop/></d:propstat></d:response>"
    body = f'<d:multistatus xmlns:d="DAV:">{entry}</d:multistatus>'
    ground.far.on("/dav/odd/").data(body.encode(), "application/xml", status=207)
    return ground.ask("LIST cloud:odd/", "NOOP still")


def _forged_error(ground: Ground) -> str:
    ground.fresh.faults["RETR"] = Fault("say", f"550 no\x0b{_STATUS}", times=9)
    ground.fresh.documents[b"/pub/forged"] = b"x"
    try:
        return ground.ask("READ fresh:forged", "NOOP still")
    finally:
        del ground.fresh.faults["RETR"]


def _forged_reason(ground: Ground) -> str:
    ground.raw.says("/reason", f"HTTP/1.1 503 {_STATUS}\x1b[2J\r\nContent-Length: 0\r\n\r\n".encode())
    return ground.ask("READ raw:reason", "NOOP still")


def _talked(ground: Ground) -> str:
    """By lines, far text comes as records only; a forged status line stands in one."""
    ground.raw.says("hello", f"\x1b[2J\r\n{_STATUS}\r\nx".encode(), 0.4)
    return ground.ask("TALK line: lines", ">hello", ".")


def _poisoned(ground: Ground) -> str:
    """More bytes than announced: another answer, for whoever asks next on a kept connection."""
    forged = b'HTTP/1.1 200 OK\r\nContent-Length: 13\r\n\r\n{"v":"forged"}'
    ground.far.on("/poison").add(
        Answer(b"HTTP/1.1 200 OK\r\nContent-Length: 10\r\n\r\n", b'{"v":"ok"}' + forged)
    )
    return ground.ask("PICK far:poison - $.v", "PICK far:small.json - $.v")


def _query_told(ground: Ground) -> str:
    before = len(ground.log())
    told = [ground.ask("READ far:nothing?token=hidden-word", "WHY"), *ground.log()[before:]]
    assert "token=" in told[0]
    return f"{sum('hidden-word' in each for each in told)} times shown"


OUTPUT = (
    Attack(
        "log lines by a client",
        "the log",
        "CWE-117; OWASP Logging",
        "CR LF, U+2028, U+0085, ESC and pairs such as `level=critical` in requests",
        "0 lines of the log that are none of ours",
        _log_forged(_forge_by_request),
        served=True,
    ),
    Attack(
        "log lines by a far server",
        "the log",
        "CWE-117; CWE-150; OWASP Logging",
        "the same in a reason phrase, in Location, in a host name and in an FTP reply",
        "0 lines of the log that are none of ours",
        _log_forged(_forge_by_far),
        served=True,
    ),
    Attack(
        "a status line in a value",
        "replies",
        "CWE-93; CONTRACT section 4",
        f"a JSON text with CR LF, `{_STATUS}`, U+2028 and ESC",
        "200 a 200 00001 040 .. forged [2J z; 200 still",
        _one_value(f"a\r\n{_STATUS}\r\nforged\u2028\x1b[2J\x85\x9bz"),
        served=True,
    ),
    Attack(
        "a status line in a document",
        "replies",
        "CWE-93; CONTRACT section 2",
        "a document of which a line is one, as TEXT",
        "200 a|200 00001 040 ..|[2Jforged||z; 200 still",
        _one_value(f"a\n{_STATUS}\n\x1b[2Jforged\r\x0cz\n", as_text=True),
        served=True,
    ),
    Attack(
        "a status line in a name",
        "listings",
        "CWE-93",
        "an encoded href with CR LF, ESC and U+2028",
        "200 1 F                      a 200 00001 (C); 200 still",
        _forged_listing,
        served=True,
    ),
    Attack(
        "a status line in an FTP error",
        "error records",
        "CWE-93; CONTRACT section 2",
        "`550` with VT and a status line",
        "550 Not there; 200 still",
        _forged_error,
        served=True,
    ),
    Attack(
        "a status line in a reason phrase",
        "error records",
        "CWE-93; RFC 9112 section 4",
        "503 with a status line and ESC",
        "450 The far server is busy; 200 still",
        _forged_reason,
        served=True,
    ),
    Attack(
        "a status line in a talk",
        "TALK by lines",
        "CWE-93; CONTRACT section 3",
        "the far end says one, with ESC before",
        "200; 200 |200 00001 040 ..|x; 226",
        _talked,
        served=True,
        waits=True,
    ),
    Attack(
        "an answer for the next request",
        "kept connections",
        "CWE-444; RFC 9112 section 9.3",
        "more bytes than Content-Length says, which are another answer",
        "200 ok; 200 small",
        _poisoned,
        served=True,
    ),
    Attack(
        "a query in WHY and in the log",
        "WHY, the log",
        "CWE-209; CWE-532; CONTRACT section 2",
        "`READ far:nothing?token=hidden-word`, then `WHY`",
        "0 times shown",
        _query_told,
        served=True,
    ),
)
