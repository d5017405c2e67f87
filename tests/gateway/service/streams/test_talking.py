"""What a session's stream is to its connection; the bytes themselves are in test_piping.py."""

import asyncio
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters import limits
from gateway.testing.clients.line import Line
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
from tests.gateway.service.callers.callers import Caller, free_port
from tests.gateway.service.streams.far_ends import board, echo, far_end


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


def _line(gateway: Gateway) -> Line:
    return Line(gateway.host, gateway.port, 8.0)


def test_one_stream_after_another_and_both_logged(stage: Stage) -> None:
    with far_end(board) as port:
        text = f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\nlines = "lf"\n'
        gateway = stage.gateways(text, log="info")
        client = stage.clients(gateway)
        for _ in range(2):
            assert client.ask("TALK board:").status == 200
            assert client.read(18) == b"Gruss Gott\r\nname: "
            client.put(b"bye\r")
            assert client.read(29) == b"so long\r\n\r\n226 00000 000 ..\r\n"
        logged = [line for line in gateway.log if "over='by the far end' sent=4 heard=26" in line]
        assert len(logged) == 2


def test_the_line_end_of_the_request_is_no_part_of_the_stream(stage: Stage) -> None:
    """CR LF, the LF in a segment of its own (CONTRACT section 1)."""
    with far_end(board) as port:
        client = stage.clients(
            stage.gateways(f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\nlines = "lf"\n')
        )
        client.put(b"TALK board:\r")
        assert client.read(18 + 18) == b"200 00000 000 ..\r\nGruss Gott\r\nname: "
        client.put(b"\n")
        assert client.quiet(0.2)
        client.put(b"me\r")
        assert client.read(18) == b"you are me\r\nnext: "


def test_by_lines_through_a_gateway(stage: Stage) -> None:
    with far_end(board) as port:
        client = stage.clients(
            stage.gateways(f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\nlines = "lf"\n')
        )
        assert client.ask("TALK board: lines").status == 200
        assert [each.rstrip() for each in client.ask(">me").records] == [
            "Gruss Gott",
            "name: you are me",
            "next:",
        ]
        last = client.ask(">bye")
        assert (last.status, [each.rstrip() for each in last.records]) == (226, ["so long"])


def test_offline_there_is_nobody_to_talk_to(stage: Stage) -> None:
    with far_end(board) as port:
        text = f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\n'
        site = stage.sites()
        recording = stage.clients(stage.gateways(text, site=site))
        assert recording.ask("TALK board: lines").status == 200
        assert recording.ask(".").status == 226
        recording.close()
        offline = stage.clients(stage.gateways(text, site=stage.sites(site.path)))
        reply = offline.ask("TALK board:")
        assert (reply.status, reply.records[0].strip()) == (504, "Offline; streams are not recorded")


def test_only_named_hosts_are_called(stage: Stage) -> None:
    """CONTRACT section 4: what a client types itself is for listed hosts only."""
    with far_end(board) as port:
        gateway = stage.gateways('[gateway]\nurls = ["talk.example"]\n', hosts={"talk.example": "192.0.2.1"})
        client = stage.clients(gateway)
        assert client.ask(f"TALK tcp://127.0.0.1:{port}").status == 532
        assert client.ask(f"TALK tcp://talk.example:{port}").status == 532  # no public address


def test_who_sent_too_much_ahead_is_heard_in_the_call(stage: Stage) -> None:
    """What came before the 200 is for nobody, but it must not leave the client unread."""
    with far_end(echo) as port:
        client = stage.clients(stage.gateways(f'[place.far]\nbase = "tcp://127.0.0.1:{port}"\nraw = true\n'))
        client.put(b"TALK far:\r\n" + b"x" * 3 * limits.PIPELINE_BYTES)
        assert client.read(18) == b"200 00000 000 ..\r\n"
        client.put(b"after")
        came = b""
        while not came.endswith(b"after"):
            came += client.read(1)


def test_who_sends_no_more_before_the_call_is_up_hears_what_comes_soon(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A connection may be closed for one direction alone (RFC 9293 section 3.6)."""
    monkeypatch.setattr(limits, "STREAM_CLOSE_SECONDS", 1.0)

    async def greeting(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(0.3)
        writer.write(b"good day")
        await reader.read()

    with far_end(greeting) as port:
        text = f'[place.far]\nbase = "tcp://127.0.0.1:{port}"\nraw = true\n'
        line = _line(stage.gateways(text))
        line.send(b"TALK far:\r", 8.0)
        line.finish()
        heard = line.take_until(b"226", time.monotonic() + 8.0)
        line.close()
    assert heard == b"200 00000 000 ..\r\ngood day\r\n"


def test_a_client_that_asks_and_reads_no_answer_is_read_no_further(stage: Stage) -> None:
    """Each DO is refused (RFC 854), and the far end takes what it is sent."""

    async def taking(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while await reader.read(65_536):
            pass

    with far_end(taking) as port:
        text = f'[place.far]\nbase = "tcp://127.0.0.1:{port}"\n'
        line = _line(stage.gateways(text))
        line.send(b"SET telnet=on\rTALK far:\r", 8.0)
        line.take(36, time.monotonic() + 8.0)
        with pytest.raises(TimeoutError):
            for _ in range(1_000):
                line.send(b"\xff\xfd\x18" * 20_000, 1.0)
        line.close()


OVER = b"\r\n226 00000 000 ..\r\n421 00001 040 ..\r\n"


def test_a_stop_while_the_200_of_a_talk_goes_out(stage: Stage) -> None:
    """The reply is finished, the stream is over at once, and the client is told goodbye."""
    with far_end(echo) as port:
        gateway = stage.gateways(f'[place.echo]\nbase = "tcp://127.0.0.1:{port}"\n')
        client = stage.clients(gateway)
        client.ask("SET pace=60")
        client.put(b"TALK echo:\r")
        assert client.read(1) == b"2"
        began = time.monotonic()
        gateway.stop()
        assert time.monotonic() - began < 7
        assert client.read(17 + len(OVER)) == b"00 00000 000 ..\r\n" + OVER


def test_a_stop_while_the_200_of_a_hear_goes_out(stage: Stage) -> None:
    port = free_port()
    gateway = stage.gateways(f"[hear.{port}]\n")
    client = stage.clients(gateway)
    client.ask("SET pace=60")
    client.put(b"HEAR %d\r" % port)
    assert client.read(18) == b"150 00000 000 ..\r\n"
    caller = Caller(port)
    assert client.read(1) == b"2"
    began = time.monotonic()
    gateway.stop()
    assert time.monotonic() - began < 7
    told = b"00 00001 040 ..\r\n" + b"127.0.0.1".ljust(40) + b"\r\n" + OVER
    assert client.read(len(told)) == told
    caller.ends()
    caller.hang_up()


def test_a_client_that_had_ended_its_side_before_the_stream_was_open(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It still hears the far end out, and does not hold the call for ever."""
    monkeypatch.setattr(limits, "STREAM_CLOSE_SECONDS", 0.3)
    with far_end(board) as port:
        text = f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\nlines = "lf"'
        client = stage.clients(stage.gateways(text))
        client.put(b"TALK board:\r")
        client.finish()
        expected = b"200 00000 000 ..\r\nGruss Gott\r\nname: \r\n226 00000 000 ..\r\n"
        assert client.read(len(expected)) == expected
