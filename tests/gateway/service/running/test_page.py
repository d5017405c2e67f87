"""Whether a gateway is alive and ready, as HTTP tells it at a port of loopback (RFC 9110)."""

import asyncio
import threading
import time
from pathlib import Path

import httpx
import pytest

from gateway.service.running.metrics import Number
from gateway.service.running.page import Page
from gateway.testing.clients.line import Line
from tests.gateway.commands.processes import PATIENCE, serving
from tests.gateway.commands.test_serve import port_of
from tests.gateway.service.callers.callers import free_port


def got(port: int, path: str) -> tuple[int, str]:
    answer = httpx.get(f"http://127.0.0.1:{port}/{path}", timeout=PATIENCE, trust_env=False)
    return answer.status_code, answer.text


async def test_it_tells_why_it_is_not_ready() -> None:
    troubles, disk, port = list[str](), list[str](), free_port()
    page = Page([Number("things", "Things", lambda: 3)], lambda: troubles, lambda: disk)
    page.start(port)
    assert await asyncio.to_thread(got, port, "ready") == (200, "ready\n")
    troubles.append("It is full")
    disk.append("The disk is full")
    assert await asyncio.to_thread(got, port, "ready") == (503, "It is full\nThe disk is full\n")
    assert await asyncio.to_thread(got, port, "health") == (200, "health\n")
    assert (await asyncio.to_thread(got, port, "elsewhere"))[0] == 404
    assert "headrace_things 3.0\n" in (await asyncio.to_thread(got, port, "metrics"))[1]
    await page.stop()
    with pytest.raises(httpx.ConnectError):
        await asyncio.to_thread(got, port, "health")


async def test_a_loop_that_stands_still_is_not_alive() -> None:
    port, answers = free_port(), list[tuple[int, str]]()
    page = Page([], list)
    page.start(port)
    asking = threading.Thread(target=lambda: answers.append(got(port, "health")))
    asking.start()
    while asking.is_alive():
        time.sleep(0.01)  # noqa: ASYNC251 that is the fault
    assert answers == [(503, "The gateway's loop does not answer\n")]
    assert await asyncio.to_thread(got, port, "health") == (200, "health\n")
    await page.stop()


def test_a_gateway_that_is_full_or_has_no_disk(tmp_path: Path) -> None:
    metrics = free_port()
    (tmp_path / "headrace.toml").write_text(
        f"[gateway]\nmetrics = {metrics}\nclients = 1\n[[listen]]\nport = 0\n"
    )
    with serving(folder=tmp_path) as gateway:
        port = port_of(gateway)
        gateway.wait_for("metrics at")
        assert got(metrics, "ready") == (200, "ready\n")
        line = Line("127.0.0.1", port, PATIENCE)
        line.send(b"TIME\r", PATIENCE)
        line.take_until(b"\r\n", time.monotonic() + PATIENCE)
        assert got(metrics, "ready") == (503, "It is full\n")
        turned = Line("127.0.0.1", port, PATIENCE)
        assert turned.take_until(b"\r\n", time.monotonic() + PATIENCE).startswith(b"421")
        text = got(metrics, "metrics")[1]
        assert 'headrace_refused_total{why="The gateway is full"} 1.0' in text
        assert 'headrace_replies_total{code="200"} 1.0' in text
        line.close()
        turned.close()
        with (tmp_path / "headrace.toml").open("a") as file:
            file.write(f"[[listen]]\nport = {metrics}\n")
        gateway.wait_for("cannot listen")
        assert got(metrics, "ready") == (503, f"The listener at 127.0.0.1:{metrics} is not open\n")
