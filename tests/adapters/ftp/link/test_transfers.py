"""Transfers that are stopped early leave the login in step: no command ever gets another one's reply."""

from typing import cast

import pytest

from adapters.errors import BrokenOff, HeadraceError, NotThere
from adapters.ftp.adapter import FtpAdapter
from adapters.ftp.link.login import Login
from adapters.ftp.link.transfers import transfer
from tests.adapters.ftp.doing import NEW, SECONDS, still_well
from tests.adapters.ftp.scripted import Fault, Scripted


async def stopped(adapter: FtpAdapter, server: Scripted) -> None:
    server.documents[b"/pub/long"] = bytes(24 << 20)  # more than the kernels keep for one connection
    async with adapter.read(server.target.within(b"long"), 0, None, SECONDS) as found:
        async for chunk in found.chunks:
            assert chunk
            break
    assert server.stops == 1


# What real servers say when the data connection is closed under them: measured on the four that the tests
# run, the last but one on pure-ftpd, whose 150 is all there ever is; two replies are what RFC 959 section 5.4
# has for ABOR.
@pytest.mark.parametrize(
    "replies",
    [
        "426 broke off",
        "226 done",
        "451 local trouble",
        "426 broke off\r\n226 done",
        "150 measured here",
        "150 a\r\n226 b",
    ],
)
async def test_whatever_is_said(adapter: FtpAdapter, server: Scripted, replies: str) -> None:
    server.at_stop = replies
    await stopped(adapter, server)
    await still_well(adapter, server)
    assert server.connections == 1  # the login was kept


async def test_silence_costs_the_login_only(adapter: FtpAdapter, server: Scripted) -> None:
    server.at_stop = ""
    await stopped(adapter, server)
    await still_well(adapter, server)
    assert server.connections == 2


async def test_a_late_reply_is_nobody_elses(adapter: FtpAdapter, server: Scripted) -> None:
    """A reply that nobody asked for, as a server that ends an idle session sends it, costs the login."""
    await still_well(adapter, server)
    server.faults["NOOP"] = Fault("say", "200 ok\r\n226 late\r\n226 later")
    await stopped(adapter, server)
    await still_well(adapter, server)


async def test_a_consumer_that_fails(adapter: FtpAdapter, server: Scripted) -> None:
    server.documents[b"/pub/long"] = NEW * 100
    for kind in (ValueError, HeadraceError):
        with pytest.raises(kind):
            async with adapter.read(server.target.within(b"long"), 0, None, SECONDS):
                raise kind
    await still_well(adapter, server)
    assert server.connections == 1


class OneCommand:
    """A login whose command fails once its data connection is open."""

    def __init__(self, fault: Exception) -> None:
        self.busy = self.aborted = self.marked = False
        self._fault = fault

    async def open_data(self) -> "OneCommand":
        return self

    async def begin(self, _: bytes) -> None:
        raise self._fault

    def abort(self) -> None:
        self.aborted = True


@pytest.mark.parametrize(("fault", "again"), [(NotThere(), True), (RuntimeError("made to fail"), False)])
async def test_a_login_is_used_again_only_where_the_server_has_answered(
    fault: Exception, again: bool
) -> None:
    """Else the end of the first data connection may be told as that of the next (426, with pyftpdlib)."""
    login = OneCommand(fault)
    with pytest.raises(type(fault)):
        async with transfer(cast(Login, login), b"LIST"):
            pass
    assert login.aborted
    assert login.busy is not again


async def test_a_broken_data_connection_that_the_server_calls_done(
    adapter: FtpAdapter, server: Scripted
) -> None:
    """What the line says holds; a login whose server says otherwise is not used again."""
    server.documents[b"/pub/old"] = NEW
    server.faults["RETR"] = Fault("short-reset")
    with pytest.raises(BrokenOff):
        async with adapter.read(server.target.within(b"old"), 0, None, SECONDS) as found:
            async for _ in found.chunks:
                pass
    await still_well(adapter, server, NEW)
    assert server.connections == 2
