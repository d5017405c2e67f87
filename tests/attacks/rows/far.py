"""Far servers that take their time, or send without end."""

import os
import socket
import time
from collections.abc import Callable
from itertools import chain, repeat
from unittest.mock import patch

from tests.attacks.attack import Attack
from tests.attacks.ground import Ground
from tests.attacks.line import AttackLine

_SLOW = "CWE-400; OWASP Denial of Service (slow requests)"
_LATE = "420 The far server took too long"
_MANY = 200


def _speech(name: str, *pieces: bytes | float, request: str = "READ raw:{path}") -> Callable[[Ground], str]:
    path = "slow-" + name.replace(" ", "-")

    def run(ground: Ground) -> str:
        ground.raw.says(f"/{path} ", *pieces)
        return ground.ask(request.replace("{path}", path))

    return run


def _drip(start: bytes, piece: bytes, pause: float, seconds: float = 3.0) -> tuple[bytes | float, ...]:
    again: list[bytes | float] = [piece, pause]
    return (start, *again * int(seconds / pause))


def _silent_tls(ground: Ground) -> str:
    ground.raw.says("\x16\x03", 2.5)
    return ground.ask("READ mute:x")


def _silent_ftp(ground: Ground) -> str:
    return ground.ask("READ mutefiles:x")


def _greeting(*pieces: bytes | float) -> Callable[[Ground], str]:
    def run(ground: Ground) -> str:
        with ground.alone:
            ground.loud.opening = lambda _: iter(pieces)
            before = ground.loud.sent
            said = ground.ask("LIST loud:")
            assert ground.loud.sent - before < 24 << 20
            return said

    return run


def _slow_hops(ground: Ground) -> str:
    for hop in range(8):
        ground.raw.says(
            f"/slowhop{hop} ",
            0.3,
            f"HTTP/1.1 302 Found\r\nLocation: /slowhop{hop + 1}\r\nContent-Length: 0\r\n\r\n".encode(),
        )
    return ground.ask("READ raw:slowhop0")


def _many_silent(ground: Ground) -> str:
    """More clients than one far server may keep busy; another far server is asked meanwhile."""
    ground.raw.says("/silence", 2.5)
    lines = [AttackLine(ground.host, ground.port) for _ in range(40)]
    try:
        for number, each in enumerate(lines):
            each.put(f"READ raw:silence{number}\r".encode())
        said = ground.ask("TEXT far:small.json")
        late = {each.reply() for each in lines}
    finally:
        for each in lines:
            each.close()
    return f"{said}; {'; '.join(sorted(late))}"


def _talk_flood(ground: Ground) -> str:
    """By lines: what does not fit waits at the far server."""
    before = ground.raw.sent
    ground.raw.says("flood", *([b"x" * 65_536] * 512))
    with ground.line() as line:
        said = [line.ask("TALK line: lines")]
        heard = line.ask(">flood")
        for _ in range(20):  # on a slow machine it may begin later
            heard = line.ask("") if heard == "200" else heard
        said.append(heard)
        said.append(ground.ask("NOOP still"))
        sent = ground.raw.sent - before
        assert sent < 24 << 20, sent
        said.append(line.ask("."))
    return "; ".join(
        each if len(each) < 40 else f"{each[:3]}, records of x alone: {not each[4:].strip('x|')}"
        for each in said
    )


def _negotiating(ground: Ground) -> str:
    """A telnet server that asks for options without end, and reads nothing of what it is answered."""
    ground.raw.says("negotiate", *([b"\xff\xfd\x2a\xff\xfb\x2b" * 10_000] * 20), b"\r\ntext\r\n", 1.0)
    with ground.line() as line:
        said = [
            line.ask("TALK voice: lines"),
            line.ask(">negotiate"),
            ground.ask("NOOP still"),
            line.ask("."),
        ]
    return "; ".join(said)


def _called_by_many(ground: Ground) -> str:
    """One caller is taken; the others are told that somebody else talks, and are closed."""
    with ground.alone, ground.line() as line:
        said = [line.ask(f"HEAR {ground.hear}")]
        callers = [socket.create_connection(("127.0.0.1", ground.hear), 5) for _ in range(60)]
        said.append(line.reply())
        said.append(ground.ask("NOOP still"))
        told = [_heard(each) for each in callers[1:]]
        for each in callers:
            each.close()
        said.append(f"{sum(b'busy' in each for each in told)} of {len(told)} others told")
        said.append("the call ends: " + line.after_call())
    return "; ".join(said)


def _heard(caller: socket.socket) -> bytes:
    heard = b""
    try:
        while data := caller.recv(4_096):
            heard += data
    except OSError:
        pass
    return heard


def _endless_copy(ground: Ground) -> str:
    """All but 8 MB of the disk's room counts as kept for the system."""
    ground.raw.on("/endless-copy", lambda _: chain([_HEAD + b"\r\n"], repeat(bytes(65_536), 1 << 16)))
    room = os.statvfs(ground.disk)
    kept = room.f_bavail * room.f_frsize - (8 << 20)
    with patch.multiple("adapters.limits", DISK_RESERVE_BYTES=kept, DISK_RESERVE_PART=1):
        said = ground.ask("COPY raw:endless-copy disk:endless.txt")
    return f"{said}; {'something' if list(ground.disk.glob('endless*')) else 'nothing'} there"


def _talk_raw(ground: Ground) -> str:
    """Raw, the far end's bytes are the client's, whatever they look like; its own +++ leaves."""
    said = b"\r\n226 00000 000 ..\r\n+++\r\n500 00001 040 ..\r\n"
    ground.raw.says("raw-talk", said, 0.2)
    with ground.line() as line:
        told = [line.ask("TALK line:")]
        line.put(b"raw-talk\r")
        told.append("as it was" if line.exactly(said) else "changed")
        line.put(b"SOURCES\r")
        told.append("the call ends: " + line.after_call())
        told.append(line.ask("NOOP still"))
    return "; ".join(told)


def _caller_types(ground: Ground) -> str:
    """Who calls in talks to the client that hears, never to the gateway."""
    typed = b"ERASE disk:kept.txt\r\nSOURCES\r\nBYE\r\n"
    with ground.alone, ground.line() as line:
        told = [line.ask(f"HEAR {ground.hear}")]
        with socket.create_connection(("127.0.0.1", ground.hear), 5) as caller:
            told.append(line.reply())
            caller.sendall(typed)
            told.append("as it was" if line.exactly(typed) else "changed")
        told.append("the call ends: " + line.after_call())
    return "; ".join(told)


def _interrupted(ground: Ground) -> str:
    """A stalled download is given up with CAN; the line is good at once."""
    ground.raw.says("/stalled ", b"HTTP/1.1 200 OK\r\nContent-Length: 99\r\n\r\nx", 2.5)
    with ground.line() as line:
        line.put(b"READ raw:stalled\r")
        time.sleep(0.2)
        begun = time.monotonic()
        line.put(b"\x18")
        said = line.ask("NOOP still")
        assert time.monotonic() - begun < 0.7
        return said


_HEAD = b"HTTP/1.1 200 OK\r\n"
FAR = (
    Attack(
        "a far server that says nothing",
        "HTTP",
        _SLOW,
        "the request is taken, no answer comes",
        _LATE,
        _speech("silence", 2.5),
        waits=True,
        served=True,
    ),
    Attack(
        "a trickle of a body",
        "HTTP",
        _SLOW,
        "a byte every 50 ms",
        _LATE,
        _speech("body", *_drip(_HEAD + b"Content-Length: 999\r\n\r\n", b"x", 0.05)),
        waits=True,
        served=True,
    ),
    Attack(
        "a trickle of fields",
        "HTTP",
        _SLOW,
        "a byte of the header section every 50 ms",
        _LATE,
        _speech("fields", *_drip(_HEAD + b"X: ", b"x", 0.05)),
        waits=True,
    ),
    Attack(
        "a trickle of interim answers",
        "HTTP",
        f"{_SLOW}; RFC 9110 section 15.2",
        "`102 Processing` every 50 ms",
        _LATE,
        _speech("interim", *_drip(b"", b"HTTP/1.1 102 Processing\r\n\r\n", 0.05)),
        waits=True,
    ),
    Attack(
        "a trickle of chunks",
        "HTTP",
        f"{_SLOW}; RFC 9112 section 7.1",
        "a chunk of one byte every 50 ms, by PICK",
        _LATE,
        _speech(
            "chunks",
            *_drip(_HEAD + b"Transfer-Encoding: chunked\r\n\r\n", b"1\r\nx\r\n", 0.05),
            request="PICK raw:{path} - $.v",
        ),
        waits=True,
    ),
    Attack(
        "slow redirects",
        "redirects",
        _SLOW,
        "each hop takes 0.3 s: all of them have one time",
        _LATE,
        _slow_hops,
        waits=True,
    ),
    Attack(
        "TLS that never begins", "TLS", _SLOW, "the handshake is not answered", _LATE, _silent_tls, waits=True
    ),
    Attack(
        "FTP without a greeting",
        "FTP",
        f"{_SLOW}; RFC 959 section 5.4",
        "the connection is taken, nothing is said",
        _LATE,
        _silent_ftp,
        waits=True,
    ),
    Attack(
        "a greeting without end",
        "FTP",
        "CWE-770; RFC 959 section 4.2",
        "one line of FTP without its end",
        "551 The far server does not speak FTP",
        _greeting(*([b"220 " + b"x" * 65_532] * 512)),
        together=True,
    ),
    Attack(
        "a greeting of lines without end",
        "FTP",
        "CWE-770; RFC 959 section 4.2",
        "`220-` lines without end",
        "551 The far server does not speak FTP",
        _greeting(*([b"220-x\r\n" * 10_000] * 600)),
        together=True,
    ),
    Attack(
        "a trickle of a greeting",
        "FTP",
        _SLOW,
        "a byte every 50 ms",
        _LATE,
        _greeting(*_drip(b"220 ", b"x", 0.05)),
        waits=True,
    ),
    Attack(
        "many who wait for one",
        "HTTP",
        _SLOW,
        "40 clients ask a server that says nothing; another server is asked meanwhile",
        f'200 {{"v": "small"}}; {_LATE}',
        _many_silent,
        waits=True,
    ),
    Attack(
        "a flood in a talk",
        "TALK by lines",
        "CWE-770",
        "32 MB without a line end",
        "200; 200, records of x alone: True; 200 still; 226",
        _talk_flood,
        waits=True,
    ),
    Attack(
        "telnet options of a far server",
        "TALK",
        "CWE-770; RFC 1143",
        "400,000 options asked for, no answer read",
        "200; 200; 200 still; 226",
        _negotiating,
        waits=True,
    ),
    Attack(
        "many callers",
        "HEAR",
        "CWE-770",
        "60 calls at once",
        "150; 200 127.0.0.1; 200 still; 59 of 59 others told; the call ends: 226",
        _called_by_many,
        waits=True,
    ),
    Attack(
        "a stalled answer and CAN",
        "HTTP",
        "CONTRACT section 1",
        "CAN while a far server stalls",
        "200 still",
        _interrupted,
        waits=True,
        served=True,
    ),
    Attack(
        "COPY without end",
        "the disk",
        "CWE-400; CWE-409",
        "COPY of a body without end to a folder: 8 MB of room are left beside what is kept free",
        "452 The disk is full; nothing there",
        _endless_copy,
    ),
    Attack(
        "a raw talk that looks like replies",
        "TALK",
        "CWE-93; CONTRACT section 3",
        "the far end sends `226`, `+++` and a status line",
        "200; as it was; the call ends: 226; 200 still",
        _talk_raw,
        served=True,
        together=True,
    ),
    Attack(
        "a caller that types requests",
        "HEAR",
        "CWE-77; CONTRACT section 3",
        "`ERASE`, `SOURCES` and `BYE` from who calls in",
        "150; 200 127.0.0.1; as it was; the call ends: 226",
        _caller_types,
        served=True,
    ),
)
