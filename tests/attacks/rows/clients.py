"""Clients that take their time, or take everybody's."""

import threading
import time
from collections.abc import Callable

from tests.attacks.attack import Attack
from tests.attacks.ground import Ground
from tests.attacks.line import AttackLine

_SLOW = "CWE-400; OWASP Denial of Service (slow requests)"
_LATE = "420 The far server took too long"
_MANY = 200


def _dripped(ground: Ground) -> str:
    with ground.line() as line:
        for byte in b"NOOP slow\r":
            line.put(bytes((byte,)))
            time.sleep(0.05)
        return line.reply()


def _unfinished(ground: Ground) -> str:
    """It stops in the middle of a line, and hangs up its side."""
    with ground.line() as line:
        line.put(b"ERASE disk:kept.tx")
        line.finish()
        return line.reply()


def _slow_reader(ground: Ground) -> str:
    """A reply of 4 MB that is not read at first."""
    ground.far.on("/large.txt").text("".join(f"{number:09d} " + "x" * 27 + "\n" for number in range(90_000)))
    with ground.line() as line:
        line.put(b"TEXT far:large.txt\r")
        time.sleep(0.6)
        said = line.reply()
    return f"{said[:3]}, {said.count('|') + 1:,} records"


def _idle(ground: Ground) -> str:
    """Lines of one address that say nothing; one more is answered all the same."""
    lines = [AttackLine(ground.host, ground.port) for _ in range(_MANY)]
    try:
        said = ground.ask("NOOP still")
        return f"{said}; {sum(each.ask('NOOP') == '200' for each in lines)} of {_MANY} are lines"
    finally:
        for each in lines:
            each.close()


def _half_requests(ground: Ground) -> str:
    lines = [AttackLine(ground.host, ground.port) for _ in range(_MANY)]
    try:
        for each in lines:
            each.put(b"NOOP half")
        return ground.ask("NOOP still")
    finally:
        for each in lines:
            each.close()


def _pipelined(ground: Ground) -> str:
    """All is sent, and nothing read meanwhile, until the gateway takes no more; then it is read."""
    count = 5_000
    with ground.line() as line:
        sending = threading.Thread(target=line.put, args=(b"NOOP x\r" * count,))
        sending.start()
        time.sleep(0.2)
        said = ground.ask("NOOP still")
        answered = sum(line.reply() == "200 x" for _ in range(count))
        sending.join()
    return f"{said}; {answered:,} of {count:,} answered"


def _flooded(data: bytes, *, replies: int = 1, skip: bytes = b"") -> Callable[[Ground], str]:
    """Bytes in one go, and `NOOP still` on another line meanwhile."""

    def run(ground: Ground) -> str:
        with ground.line() as line:
            sending = threading.Thread(target=line.put, args=(data,))
            sending.start()
            said = ground.ask("NOOP still")
            if skip:
                line.skip(skip)
            said += "".join(f"; {line.reply()}" for _ in range(replies))
            sending.join()
        return said

    return run


def _large_tell(ground: Ground) -> str:
    with ground.line() as line:
        said = [line.ask("STORE disk:never.txt")]
        sending = threading.Thread(target=_tolerant, args=(line, b">" + b"x" * (4 << 20)))
        sending.start()
        said.append(ground.ask("NOOP still"))
        sending.join()
    time.sleep(0.1)
    return "; ".join([*said, "stored" if (ground.disk / "never.txt").exists() else "nothing stored"])


def _tolerant(line: AttackLine, data: bytes) -> None:
    try:
        line.put(data)
    except OSError:
        return


def _cut_in_a_reply(ground: Ground) -> str:
    ground.far.on("/large2.txt").text("x" * 39 + "\n")
    for _ in range(50):
        line = AttackLine(ground.host, ground.port)
        line.put(b"TEXT far:large2.txt\rNOOP\r" * 5)
        line.reset()
    return ground.ask("NOOP still")


CLIENTS = (
    Attack(
        "a slow request",
        "requests",
        _SLOW,
        "a byte every 50 ms",
        "200 slow",
        _dripped,
        together=True,
        served=True,
    ),
    Attack(
        "half a request",
        "requests",
        "CONTRACT section 1; CWE-228",
        "`ERASE disk:kept.tx` without an end, then FIN",
        "closed",
        _unfinished,
        together=True,
        served=True,
    ),
    Attack(
        "a slow reader",
        "replies",
        _SLOW,
        "a reply of 4 MB is asked for, and read late",
        "200, 90,000 records",
        _slow_reader,
        together=True,
    ),
    Attack(
        "idle lines",
        "connections",
        _SLOW,
        f"{_MANY} lines of one address that say nothing",
        f"200 still; {_MANY} of {_MANY} are lines",
        _idle,
        together=True,
        served=True,
    ),
    Attack(
        "half requests",
        "connections",
        _SLOW,
        f"{_MANY} lines with half a request each",
        "200 still",
        _half_requests,
        together=True,
    ),
    Attack(
        "a flood of requests",
        "pipelining",
        "CWE-770",
        "5,000 requests in one go, nothing read meanwhile",
        "200 still; 5,000 of 5,000 answered",
        _pipelined,
        together=True,
    ),
    Attack(
        "a line without end",
        "requests",
        "CWE-770; CONTRACT section 1",
        "4 MB, then a line end",
        "200 still; 500 A line holds 255 bytes at most",
        _flooded(b"x" * (4 << 20) + b"\r"),
        together=True,
        served=True,
    ),
    Attack(
        "empty lines",
        "requests",
        "CWE-770",
        "200,000 line ends",
        "200 still; 200 x",
        _flooded(b"\r\n" * 100_000 + b"NOOP x\r"),
        together=True,
    ),
    Attack(
        "CAN again and again",
        "requests",
        "CWE-770",
        "70,000 CANs",
        "200 still; 200 x",
        _flooded(b"NOOP a\x18" * 70_000 + b"NOOP x\r"),
        together=True,
    ),
    Attack(
        "telnet options",
        "telnet",
        "CWE-770; RFC 1143",
        "50,000 times IAC DO, for 200 options: each is refused once it comes",
        "200 still; 200 x",
        _flooded(
            b"".join(b"\xff\xfd" + bytes((number % 200,)) for number in range(50_000)) + b"NOOP x\r",
            skip=b"\xff\xfc",
        ),
        together=True,
        served=True,
    ),
    Attack(
        "a telnet block without end",
        "telnet",
        "CWE-770; RFC 855",
        "IAC SB and 500 KB, then IAC SE",
        "200 still; 200 x",
        _flooded(b"\xff\xfa\x18" + b"x" * 500_000 + b"\xff\xf0NOOP x\r"),
        together=True,
    ),
    Attack(
        "a data line without end",
        "STORE",
        "CWE-770",
        "4 MB of one line, then the line is cut",
        "350; 200 still; nothing stored",
        _large_tell,
        together=True,
        served=True,
    ),
    Attack(
        "lines cut in replies",
        "connections",
        "CWE-404",
        "50 lines that ask ten times each, and are reset",
        "200 still",
        _cut_in_a_reply,
        together=True,
    ),
)
