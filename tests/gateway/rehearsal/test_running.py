"""Scripts against gateways that do as they should, and otherwise."""

import asyncio
import socket
import time

import pytest

from adapters import limits
from gateway.rehearsal.line import open_line
from gateway.rehearsal.running import run_script
from gateway.rehearsal.script.reading import read_script
from gateway.rehearsal.script.writing import shown
from tests.gateway.rehearsal.gateways import answering, rehearsed

ANSWERS = {
    b"ASK": b"200 00002 003 ..\r\nabc\r\ndef\r\n",
    b"NOOP": b"200 00000 000 ..\r\n",
    b"RAW": b"\x00\x01\x02",
    b"BYE": b"221 00000 000 ..\r\n",
}
GOOD = """
say ASK
hear 200 00002 {any}
hear abc
skip 1
say RAW
take \\x00{any 2}
quiet 0.02
say BYE
hear 221 00000 000 ..
closed
"""


def told(run: object) -> list[tuple[int, str, str]]:
    return [
        (pair.line, "" if pair.came is None else shown(pair.came), pair.why)
        for pair in run.differences  # type: ignore[attr-defined]
    ]


async def test_as_expected() -> None:
    run = await rehearsed(GOOD, answering(ANSWERS))
    assert (run.good, told(run), run.broken) == (True, [], "")
    assert len(run.pairs) == 7


@pytest.mark.parametrize(
    ("script", "found"),
    [
        ("say ASK\nhear 200 00003 003 ..\nhear abc\nhear def", [(2, "hear 200 00002 003 ..", "")]),
        ("say ASK\nhear 200 00003 003 ..\nskip 2", [(2, "hear 200 00002 003 ..", "")]),
        ("say ASK\nhear 200 00003 003 ..\nskip 1\nskip 1", [(2, "hear 200 00002 003 ..", "")]),
        ("say ASK\nhear 200 00003 003 ..\nhear abc\nskip 1", [(2, "hear 200 00002 003 ..", "")]),
        (
            "say ASK\nhear 200 00001 003 ..\nhear abc",
            [(2, "hear 200 00002 003 ..", ""), (3, "hear def", "came as well")],
        ),
        (
            "say ASK\nhear 200 00002 003 ..\nhear abc\nhear x\nhear def",
            [(4, "", "nothing more came in time")],
        ),
        (
            "say ASK\nhear x",
            [
                (2, "hear 200 00002 003 ..", ""),
                (2, "hear abc", "came as well"),
                (2, "hear def", "came as well"),
            ],
        ),
        ("say ASK\nskip 4", [(2, "skip 3", "3 came; nothing more came in time")]),
        (
            "say ASK\nhear 200 00002 003 ..",
            [(2, "take abc\\x0D\\x0Adef\\x0D\\x0A", "came after all that was expected")],
        ),
        ("say RAW\ntake \\x00\\x01\\x03", [(2, "take \\x00\\x01\\x02", "")]),
        ("say RAW\ntake \\x00{any}\\x03", [(2, "take \\x00\\x01\\x02", "nothing more came in time")]),
        (
            "say RAW\nhear {any}",
            [(2, "", "nothing more came in time"), (2, "take \\x00\\x01\\x02", "no line end came")],
        ),
        ("say RAW\nquiet 5", [(2, "take \\x00\\x01\\x02", "bytes came")]),
        ("say NOOP\nskip 1\nclosed", [(3, "", "it did not hang up")]),
        ("say BYE\nclosed", [(2, "take 221 00000 000 ..\\x0D\\x0A", "bytes came")]),
        ("say BYE\nskip 1\nhear x\nclosed", [(3, "", "the gateway hung up")]),
        (
            "say WHAT\nhear x\nhear y",
            [(2, "", "nothing more came in time"), (3, "", "nothing more came in time")],
        ),
    ],
)
async def test_differences(script: str, found: list[tuple[int, str, str]]) -> None:
    run = await rehearsed(f"within 0.15\n{script}", answering(ANSWERS))
    assert told(run) == [(line + 1, came, why) for line, came, why in found]
    assert not run.good


async def test_lines_of_their_own_and_listeners() -> None:
    heard: list[bytes] = []

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        port = writer.get_extra_info("sockname")[1]
        while line := await reader.readline():
            heard.append(line)
            writer.write(b"%d %s" % (port, line))

    script = "dial one\ndial two listener 2\nsay A\non one\nsay B\nhear {number} B\non two\nhear {number} A"
    run = await rehearsed(script, talk, listeners=2)
    assert run.good
    assert heard == [b"A\r\n", b"B\r\n"]
    assert (await rehearsed("dial listener 3", talk)).broken == "line 1: there is no listener 3"


async def test_line_ends() -> None:
    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.readuntil(b"\r"):
            writer.write(data.replace(b"\r", b"\n"))

    run = await rehearsed("ends cr lf\nsay A\nhear A\nsay B\nhear B", talk)
    assert run.good, told(run)


async def test_a_cut_is_a_reset_and_a_finish_is_none() -> None:
    ends: list[str] = []

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await reader.read()
        except ConnectionResetError:
            ends.append("reset")
        else:
            ends.append("end")
            writer.write(b"over\r\n")

    run = await rehearsed("dial one\nwait 0.02\nreset\ndial two\nfinish\nhear over\nclosed\nwait 0.02", talk)
    assert run.good, told(run)
    assert sorted(ends) == ["end", "reset"]


async def test_what_had_come_before_a_cut_is_chance() -> None:
    run = await rehearsed("say ASK\nwait 0.05\nreset", answering(ANSWERS))
    assert run.good, told(run)


async def test_the_rest_of_a_last_reply_is_waited_for() -> None:
    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(b"200 00002 003 ..\r\n")
        await asyncio.sleep(0.1)
        writer.write(b"abc\r\ndef\r\n")

    more = [(2, "take abc\\x0D\\x0Adef\\x0D\\x0A", "came after all that was expected")]
    for end in ("", "\nclose"):
        assert told(await rehearsed(f"say ASK\nhear 200{{any}}{end}", talk)) == more


async def test_what_came_on_another_line_is_told_where_that_line_was_left() -> None:
    script = "dial one\nsay RAW\ndial two\nsay NOOP\nhear {any}"
    more = [(2, "take \\x00\\x01\\x02", "came after all that was expected")]
    assert told(await rehearsed(script, answering(ANSWERS))) == more


async def test_a_greeting_before_the_only_statement() -> None:
    async def talk(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 00000 000 ..\r\n")

    run = await rehearsed("quiet 0.05\nclose", talk)
    assert told(run) == [(1, "take 220 00000 000 ..\\x0D\\x0A", "bytes came")]
    assert (await rehearsed("close", talk)).broken == ""


@pytest.mark.parametrize("expected", ["hear {any}", "take x", "skip 2"])
async def test_that_the_gateway_hung_up_too_early_is_kept(expected: str) -> None:
    run = await rehearsed(f"say BYE\nskip 1\n{expected}", answering(ANSWERS))
    assert run.hung_up
    assert not (await rehearsed(GOOD, answering(ANSWERS))).hung_up


async def test_it_ends_whatever_the_gateway_does() -> None:
    async def drip(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            writer.write(b"x")
            await asyncio.sleep(0.02)

    begun = time.monotonic()
    run = await rehearsed("within 0.2\ndial\nhear x\ntake {any}y\nclosed", drip)
    assert not run.good
    assert time.monotonic() - begun < 3


async def test_where_nobody_listens() -> None:
    server = await asyncio.start_server(lambda _, __: None, "127.0.0.1", 0)
    address = server.sockets[0].getsockname()[:2]
    server.close()
    await server.wait_closed()
    run = await run_script(read_script("say NOOP", "x"), [address])
    assert run.broken == "line 1: the gateway cannot be reached: Connection refused"
    assert not run.good
    run = await run_script(read_script("say NOOP", "x"), [("a" * 64 + ".example", 1)])
    assert run.broken == "line 1: the gateway cannot be reached: no name of a host"


async def test_a_name_that_nobody_knows(monkeypatch: pytest.MonkeyPatch) -> None:
    """The number of such an error is no errno (RFC 3493 section 6.4), and -2 has no text there."""

    def unknown(*_: object, **__: object) -> None:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    run = await run_script(read_script("say NOOP", "x"), [("pier.example", 1)])
    assert run.broken == "line 1: the gateway cannot be reached: Name or service not known"


def known_as(monkeypatch: pytest.MonkeyPatch, *addresses: str) -> None:
    """Every name has these addresses."""

    def found(_: object, port: int, *__: object, **___: object) -> list[object]:
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (each, port)) for each in addresses]

    monkeypatch.setattr(socket, "getaddrinfo", found)


async def test_a_name_with_several_addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    """As `localhost` has them: where a gateway is behind one of them it is found, else why not is told."""

    over = asyncio.Event()

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220\r\n")
        await reader.read()
        writer.close()
        over.set()

    server = await asyncio.start_server(talk, "127.0.0.1", 0)
    here = ("pier.example", server.sockets[0].getsockname()[1])
    for addresses in (("127.0.0.2", "127.0.0.1"), ("127.0.0.1", "127.0.0.2")):
        known_as(monkeypatch, *addresses)
        over.clear()
        run = await run_script(read_script("hear 220", "x"), [here])
        await asyncio.wait_for(over.wait(), 10)
        assert (run.good, run.broken) == (True, "")
    server.close()
    run = await run_script(read_script("hear 220", "x"), [here])
    assert run.broken == "line 1: the gateway cannot be reached: Connection refused"


async def test_a_gateway_that_does_not_answer_the_call() -> None:
    """Linux leaves who calls unanswered where as many wait to be let in as were told: listen(2), backlog."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen(0)
        address = server.getsockname()
        with socket.create_connection(address, 5):
            run = await run_script(read_script("within 0.2\nsay NOOP\nhear x", "x"), [address])
    assert run.broken == "line 2: the gateway does not answer the call"


async def test_what_is_not_taken_is_not_read_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """A gateway that floods fills no memory; all of it comes once it is taken."""
    monkeypatch.setattr(limits, "REHEARSAL_PENDING_BYTES", 1_000)
    whole = bytes(range(256)) * 8_192

    over = asyncio.Event()

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(whole)
        await reader.read()
        writer.close()
        over.set()

    server = await asyncio.start_server(talk, "127.0.0.1", 0)
    line = await open_line("127.0.0.1", server.sockets[0].getsockname()[1], 5)
    deadline = asyncio.get_running_loop().time() + 30
    while len(line.pending) <= 1_000:
        assert await line.news(deadline)
    await asyncio.sleep(0.1)
    held = len(line.pending)
    assert held <= 1_000 + 262_144, "no more than asyncio reads in one go"
    assert await line.line(b"no such end", 0) is None, "the time for it was over long ago"
    assert len(line.pending) == held
    came = bytearray(line.take(held))
    while len(came) < len(whole) and await line.news(deadline):
        came += line.take(len(line.pending))
    line.close()
    await asyncio.wait_for(over.wait(), 10)
    server.close()
    assert came == whole


async def test_ending_a_line_that_is_gone() -> None:
    """A script may end each of its lines, whichever side was the first."""
    script = "say BYE\nskip 1\nclosed\nclose\nfinish\nwait 0.02\nfinish\nreset\nclose"
    run = await rehearsed(script, answering(ANSWERS))
    assert (run.good, run.broken) == (True, "")


async def test_saying_on_a_line_that_is_gone() -> None:
    run = await rehearsed("say BYE\nskip 1\nclosed\nclose\nwait 0.02\nsay NOOP", answering(ANSWERS))
    assert run.broken == "line 6: the line is gone"


async def test_what_is_sent_in_a_row_goes_out_at_once() -> None:
    heard: list[bytes] = []

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(100):
            heard.append(data)

    await rehearsed("say A\nput B\nsay C\nwait 0.03\nput D\nwait 0.03", talk)
    assert heard == [b"A\r\nBC\r\n", b"D"]
