"""Calling a far server: how long it may take, and what is said where there is none."""

import asyncio
from asyncio import StreamReader, StreamWriter
from collections.abc import Sequence
from pathlib import Path

import pytest
import trustme

from adapters import limits
from adapters.errors import CannotConnect, HeadraceError, TooSlow
from adapters.port import Reach
from adapters.stream.adapter import LineAdapter
from adapters.streams import Calling
from tests.adapters.ftp_servers import free_ports
from tests.adapters.stream.servers import HOST, LOOPBACK, calling, here, serving

CONNECTED = ("tcp", "tls", "telnet")


@pytest.mark.parametrize("scheme", CONNECTED)
async def test_nobody_listens(scheme: str) -> None:
    port = free_ports(1)[0]
    with pytest.raises(CannotConnect, match="The far server refuses to connect") as caught:
        await LineAdapter(resolve=here).open(calling(scheme, port), 5)
    assert caught.value.far == f"{scheme}://{HOST}:{port}"


@pytest.mark.parametrize("scheme", [*CONNECTED, "udp"])
async def test_a_name_server_that_does_not_answer(scheme: str) -> None:
    async def resolve(host: str, port: int) -> Sequence[str]:
        await asyncio.sleep(60)
        return []

    began = asyncio.get_running_loop().time()
    with pytest.raises(TooSlow) as caught:
        await LineAdapter(resolve=resolve).open(calling(scheme, 7), 0.1)
    assert asyncio.get_running_loop().time() - began < 1
    assert caught.value.far == f"{scheme}://{HOST}:7"


async def test_the_name_is_looked_up_once_and_its_addresses_are_tried_in_turn() -> None:
    asked = 0

    async def resolve(host: str, port: int) -> Sequence[str]:
        nonlocal asked
        asked += 1
        return ["127.0.0.2", LOOPBACK]

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        writer.write(b"here")

    async with serving(serve) as port:
        line = await LineAdapter(resolve=resolve).open(calling("tcp", port), 5)
        assert await line.receive() == b"here"
        assert asked == 1
        await line.aclose()


async def test_a_port_beside_the_one_that_is_named_is_not_allowed() -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        raise AssertionError

    async with serving(serve) as port:
        reach = Reach(named=frozenset({(HOST, port + 1)}))
        with pytest.raises(HeadraceError) as caught:
            await LineAdapter(resolve=here).open(Calling(f"tcp://{HOST}:{port}", reach=reach), 5)
        assert caught.value.code == 532


async def test_trust_is_worked_out_once_for_each_file_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "POOLS", 2)
    adapter = LineAdapter()
    files = [str(tmp_path / f"{number}.pem") for number in range(3)]
    for file in files:
        trustme.CA().cert_pem.write_to_path(file)
    first = adapter._context(files[0])
    assert adapter._context(files[0]) is first
    trustme.CA().cert_pem.write_to_path(files[0], append=True)
    assert adapter._context(files[0]) is not first
    for file in files:
        adapter._context(file)
    assert len(adapter._contexts) == 2
    await adapter.aclose()
    assert not adapter._contexts
