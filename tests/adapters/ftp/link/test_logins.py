"""The pool: few logins, kept ones used again, dead ones replaced."""

import asyncio
from contextlib import AsyncExitStack
from dataclasses import replace
from pathlib import Path

import pytest
import trustme

from adapters import limits
from adapters.errors import CredentialsRefused, NotAllowed, TooSlow
from adapters.files import Target, Upload, Was
from adapters.ftp.adapter import FtpAdapter
from adapters.ftp.link.logins import Logins
from adapters.ftp.locations import located
from adapters.port import CredentialKind, Credentials, Reach
from adapters.resolver import SystemResolver
from tests.adapters.file_contract import upload
from tests.adapters.ftp.doing import (
    NEW,
    OLD,
    SECONDS,
    fails,
    listing,
    reading,
    still_well,
    until,
    writing,
)
from tests.adapters.ftp.scripted import LOOPBACK, SECRET, Fault, Scripted


async def test_a_kept_login_that_died_is_replaced_unseen(adapter: FtpAdapter, server: Scripted) -> None:
    for doing in (listing, reading, writing):
        await listing(adapter, server, SECONDS)
        server.faults["CWD"] = Fault("say", "421 idle too long")
        await doing(adapter, server, SECONDS)
        server.faults["CWD"] = Fault("cut")
        await doing(adapter, server, SECONDS)
    assert server.connections == 7  # none that said 421 was spoken to again
    await still_well(adapter, server, NEW)


async def test_logins_are_kept_and_few(adapter: FtpAdapter, server: Scripted) -> None:
    for _ in range(20):
        await listing(adapter, server, SECONDS)
    assert server.connections == 1
    await asyncio.gather(*(reading(adapter, server, SECONDS) for _ in range(40)))
    assert server.most_at_once <= 4


@pytest.mark.parametrize("most", [1, 2])
async def test_a_server_that_lets_in_few(adapter: FtpAdapter, server: Scripted, most: int) -> None:
    server.most = most
    found = await asyncio.gather(*(reading(adapter, server, SECONDS) for _ in range(12)))
    assert found == [OLD] * 12
    target = server.target.within(b"old")
    await adapter.append(target, upload(b"!"), Was.ANYTHING, SECONDS)
    await still_well(adapter, server, OLD + b"!")


async def test_an_idle_login_is_closed(
    adapter: FtpAdapter, server: Scripted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "LOGIN_IDLE_SECONDS", 0.05)
    await listing(adapter, server, SECONDS)
    assert server.open == 1
    await asyncio.sleep(0.1)
    assert (server.open, server.told[-1]) == (0, b"QUIT")
    await listing(adapter, server, SECONDS)
    assert server.connections == 2


async def test_a_login_serves_its_own_account_only(adapter: FtpAdapter, server: Scripted) -> None:
    await listing(adapter, server, SECONDS)
    other = Credentials(CredentialKind.BASIC, "writer", SECRET)
    await adapter.list(replace(server.target, credentials=other), SECONDS)
    assert server.connections == 2
    await fails(adapter.list(replace(server.target, reach=Reach()), SECONDS), NotAllowed)
    wrong = Credentials(CredentialKind.BASIC, "reader", "wrong")
    await fails(adapter.list(replace(server.target, credentials=wrong), SECONDS), CredentialsRefused)
    await listing(adapter, server, SECONDS)
    assert server.connections == 3


async def test_another_accounts_idle_login_makes_room(adapter: FtpAdapter, server: Scripted) -> None:
    server.most = 1
    await listing(adapter, server, SECONDS)
    other = Credentials(CredentialKind.BASIC, "writer", SECRET)
    await adapter.list(replace(server.target, credentials=other), SECONDS)
    await listing(adapter, server, SECONDS)
    assert server.most_at_once <= 2  # the second one was only turned away


async def test_copies_within_one_server_always_end(adapter: FtpAdapter, server: Scripted) -> None:
    """Each holds a login to read and needs one to write: with all of them reading, none would end."""

    async def copied(number: int) -> None:
        async with adapter.read(server.target.within(b"old"), 0, None, SECONDS) as found:
            data = Upload(lambda: found.chunks, found.size, repeatable=False)
            await adapter.write(server.target.within(b"c%d" % number), data, Was.ANYTHING, SECONDS)

    await asyncio.gather(*(copied(number) for number in range(12)))
    assert all(server.documents[b"/pub/c%d" % number] == OLD for number in range(12))
    assert server.most_at_once <= limits.LOGINS_PER_ORIGIN


async def test_closing_closes_what_is_kept(adapter: FtpAdapter, server: Scripted) -> None:
    await asyncio.gather(*(listing(adapter, server, SECONDS) for _ in range(4)))
    await adapter.aclose()
    await asyncio.sleep(0.05)
    assert server.open == 0


async def test_who_waits_too_long_for_a_turn_is_told_so(adapter: FtpAdapter, server: Scripted) -> None:
    async with AsyncExitStack() as stack:
        for _ in range(limits.LOGINS_PER_ORIGIN - 1):
            await stack.enter_async_context(adapter.read(server.target.within(b"old"), 0, None, SECONDS))
        await fails(reading(adapter, server, 0.1), TooSlow)
    await still_well(adapter, server)
    assert server.connections == limits.LOGINS_PER_ORIGIN - 1


async def test_somebody_elses_idle_login_is_closed_where_there_are_as_many_as_may_be(
    adapter: FtpAdapter, server: Scripted
) -> None:
    await asyncio.gather(*(listing(adapter, server, SECONDS) for _ in range(limits.LOGINS_PER_ORIGIN)))
    assert server.open == limits.LOGINS_PER_ORIGIN
    other = Credentials(CredentialKind.BASIC, "writer", SECRET)
    await adapter.list(replace(server.target, credentials=other), SECONDS)
    await asyncio.sleep(0.05)
    assert server.open == limits.LOGINS_PER_ORIGIN


async def test_a_login_given_back_while_another_is_refused_is_used(server: Scripted) -> None:
    """A server that takes one: the second login is turned away as the first becomes free."""
    go, asked = asyncio.Event(), asyncio.Event()

    async def resolve(host: str, port: int) -> list[str]:
        if server.connections:
            asked.set()
            await go.wait()
        return [LOOPBACK]

    adapter, server.most = FtpAdapter(resolve), 1
    url = f"ftp://far.example:{server.port}/pub/"
    reach = Reach(named=frozenset({("far.example", server.port)}))
    target = replace(server.target, url=url, root=url, reach=reach)
    async with adapter.read(target.within(b"old"), 0, None, SECONDS) as found:
        second = asyncio.create_task(adapter.list(target, SECONDS))
        await asked.wait()
        assert b"".join([chunk async for chunk in found.chunks]) == OLD
    go.set()
    assert [each.name for each in (await second).entries] == [b"old"]
    assert server.connections == 2
    assert server.words().count("USER") == 1
    await adapter.aclose()


async def test_a_kept_login_that_the_server_ended_is_not_used(adapter: FtpAdapter, server: Scripted) -> None:
    server.ends_after = 0.05
    await listing(adapter, server, SECONDS)
    await until(lambda: not server.open)
    server.ends_after = None
    await asyncio.sleep(0.05)
    await listing(adapter, server, SECONDS)
    assert (server.connections, server.words().count("CWD")) == (2, 2)


def test_contexts_are_few_and_the_oldest_goes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "POOLS", 2)
    logins = Logins(SystemResolver())
    made = []
    for name in ("a", "b", "c", "c"):
        ca = tmp_path / name
        if not ca.exists():
            trustme.CA().cert_pem.write_to_path(str(ca))
        target = Target("ftps://far.example/", "ftps://far.example/", ca=str(ca))
        account = logins._account(target, located(target))
        made.append(logins._context(target, account))
    assert made[2] is made[3]
    assert list(logins._contexts.values()) == [made[1], made[2]]
