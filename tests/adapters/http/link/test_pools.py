"""Pools apart by address rule and trust: a kept connection serves only calls that might have opened it."""

from ipaddress import ip_network
from pathlib import Path

import httpcore
import pytest
import trustme

from adapters import limits
from adapters.addresses import Guard
from adapters.errors import HeadraceError, NotAllowed
from adapters.http.adapter import HttpAdapter
from adapters.http.link.pools import Pools
from adapters.http.link.streams import open_stream
from adapters.port import Reach
from tests.adapters.http.servers import raw_server, reply


async def nobody(host: str, port: int) -> list[str]:
    return []


def ca_file(folder: Path, name: str) -> str:
    path = folder / name
    trustme.CA().cert_pem.write_to_path(str(path))
    return str(path)


def remove(path: str) -> None:
    Path(path).unlink()


def change(path: str) -> None:
    """As an editor would: the same name, other bytes."""
    Path(path).write_bytes(Path(path).read_bytes() + b"\n")


async def test_one_pool_for_one_rule(tmp_path: Path) -> None:
    pools = Pools(nobody, open_stream)
    ca = ca_file(tmp_path, "ca.pem")
    plain = await pools.pool("http", None, Guard())
    assert await pools.pool("http", ca, Guard()) is plain, "plain HTTP has no anchors"
    assert await pools.pool("http", None, Guard(anywhere=True)) is not plain
    safe = await pools.pool("https", ca, Guard())
    assert await pools.pool("https", ca, Guard()) is safe
    assert await pools.pool("https", None, Guard()) is not safe
    await pools.aclose()


async def test_a_changed_ca_file_is_another_pool(tmp_path: Path) -> None:
    pools = Pools(nobody, open_stream)
    ca = ca_file(tmp_path, "ca.pem")
    before = await pools.pool("https", ca, Guard())
    change(ca)
    assert await pools.pool("https", ca, Guard()) is not before
    remove(ca)
    with pytest.raises(HeadraceError, match="The CA file cannot be read"):
        await pools.pool("https", ca, Guard())
    await pools.aclose()


async def test_a_connection_opened_for_a_named_origin_serves_nobody_else(adapter: HttpAdapter) -> None:
    """The connection is kept and idle, so nothing would be dialled, and nothing asked."""
    async with raw_server(reply(b"private")) as server:
        named = server.call()
        for _ in range(2):
            assert (await adapter.fetch(named, 5)).body == b"private"
        assert server.connections == 1, "kept, as a control"
        for reach in (Reach(), Reach(named=frozenset({("127.0.0.1", 1)})), Reach(allow=("10.0.0.0/8",))):
            with pytest.raises(NotAllowed):
                await adapter.fetch(server.call(reach=reach), 5)
        assert len(server.requests) == 2


async def test_a_connection_opened_by_allow_serves_only_the_same_allow(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"private")) as server:
        for _ in range(2):
            await adapter.fetch(server.call(reach=Reach(allow=("127.0.0.0/8",))), 5)
        assert server.connections == 1
        with pytest.raises(NotAllowed):
            await adapter.fetch(server.call(reach=Reach(allow=("10.0.0.0/8",))), 5)
        await adapter.fetch(server.call(reach=Reach(allow=("127.0.0.1",))), 5)
        assert server.connections == 2


async def test_unused_pools_are_closed_and_used_ones_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "POOLS", 2)
    adapter = HttpAdapter()
    async with raw_server(reply(b"x")) as server:
        busy = await adapter._link.pools.pool("http", None, Guard(anywhere=True))
        request = httpcore.Request("GET", f"http://127.0.0.1:{server.port}/", headers={"Host": "x"})
        response = await busy.handle_async_request(request)
        for number in range(5):
            await adapter.fetch(server.call(reach=Reach(allow=("127.0.0.1", f"10.0.0.{number}"))), 5)
        assert await adapter._link.pools.pool("http", None, Guard(anywhere=True)) is busy
        assert len(adapter._link.pools._pools) == 2
        assert await response.aread() == b"x"
        await response.aclose()
    await adapter.aclose()


async def test_pools_that_are_all_in_use_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    """More than there should be, rather than an answer that breaks off."""
    monkeypatch.setattr(limits, "POOLS", 1)
    pools = Pools(nobody, open_stream)
    async with raw_server(reply(b"x")) as server:
        answers = []
        for number in range(3):
            rule = Guard(anywhere=True, networks=(ip_network(f"10.0.0.{number}"),))
            pool = await pools.pool("http", None, rule)
            request = httpcore.Request("GET", f"http://127.0.0.1:{server.port}/", headers={"Host": "x"})
            answers.append(await pool.handle_async_request(request))
        assert len(pools._pools) == 3
        for answer in answers:
            assert await answer.aread() == b"x"
            await answer.aclose()
        await pools.pool("http", None, Guard())
        assert len(pools._pools) == 1, "and go when they are free"
    await pools.aclose()
