"""The numbers of `headrace serve`, read with the reference library's own parser of the text format."""

import socket
import time
import urllib.request
from collections.abc import Mapping
from pathlib import Path

from prometheus_client.parser import text_string_to_metric_families

from gateway.testing.clients.line import Line
from tests.gateway.commands.processes import headrace, serving
from tests.gateway.service.callers.callers import PATIENCE, Caller, free_port
from tests.gateway.service.streams.far_ends import board, far_end


def numbers(port: int) -> Mapping[tuple[str, str], float]:
    """Each number by its name and way."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=PATIENCE) as answer:
        text = answer.read().decode()
    return {
        (sample.name, sample.labels.get("way", "")): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_calls_of_every_kind_are_counted(tmp_path: Path) -> None:
    metrics, reserved = free_port(), free_port()
    with far_end(board) as far:
        (tmp_path / "headrace.toml").write_text(
            f"[gateway]\nmetrics = {metrics}\n[[listen]]\nport = 0\n[hear.{reserved}]\n"
            f'[place.board]\nbase = "tcp://127.0.0.1:{far}"\nlines = "lf"\n'
            f'[place.shelf]\nbase = "file://{tmp_path}/"\n'
        )
        with serving(folder=tmp_path) as gateway:
            port = int(gateway.wait_for(r"listening on 127\.0\.0\.1:([0-9]+) ")[1])
            gateway.wait_for(f"metrics at http://127.0.0.1:{metrics}/metrics")
            line = Line("127.0.0.1", port, PATIENCE)

            def said(data: bytes, wanted: bytes) -> None:
                line.send(data, PATIENCE)
                line.take_until(wanted, time.monotonic() + PATIENCE)

            said(b"TALK board:\r", b"name: ")
            said(b"bye\r", b"226 00000 000 ..\r\n")  # 4 bytes out, 26 in: Gr\u00fc\u00df Gott, name, so long
            said(b"TALK shelf:\r", b"> ")
            said(b"BYE\r", b"226 00000 000 ..\r\n")
            counted = numbers(metrics)
            assert counted["headrace_clients", ""] == 1
            assert counted["headrace_calls_open", ""] == 0
            before = counted["headrace_call_bytes_total", "from_far"]
            assert counted["headrace_call_bytes_total", "to_far"] == 4 + 4
            said(b"HEAR %d\r" % reserved, b"150 00000 000 ..\r\n")
            caller = Caller(reserved)
            line.take_until(b"127.0.0.1", time.monotonic() + PATIENCE)
            caller.say(b"hello\n")
            line.take_until(b"hello\r\n", time.monotonic() + PATIENCE)
            counted = numbers(metrics)
            assert counted["headrace_calls_open", ""] == 1
            assert counted["headrace_call_bytes_total", "from_far"] == before + 6
            caller.hang_up()
            line.take_until(b"226 00000 000 ..\r\n", time.monotonic() + PATIENCE)
            counted = numbers(metrics)
            assert counted["headrace_calls_open", ""] == 0
            for way in ("out", "in", "counter"):
                assert counted["headrace_calls_total", way] == 1
            line.close()
            assert gateway.end() == 0
    try:
        socket.create_connection(("127.0.0.1", metrics), 1).close()
    except OSError:
        return
    raise AssertionError("the port is still there")


def test_a_port_that_is_taken_is_1(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = taken.getsockname()[1]
        (tmp_path / "headrace.toml").write_text(f"[gateway]\nmetrics = {number}\n[[listen]]\nport = 0\n")
        done = headrace("serve", folder=tmp_path)
    assert done.returncode == 1
    assert b"cannot listen" in done.stderr
    assert b"Traceback" not in done.stderr
