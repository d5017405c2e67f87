"""Logging in and data connections: RFC 959 section 5.4, RFC 2428, RFC 1123 section 4.1.2.6."""

from dataclasses import replace

import pytest

from adapters.errors import (
    CannotConnect,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    NameNotAllowed,
    NotAllowed,
    NotPossible,
    WrongDocument,
)
from adapters.ftp.adapter import FtpAdapter
from tests.adapters.ftp.doing import (
    SECONDS,
    fails,
    listing,
    still_well,
)
from tests.adapters.ftp.scripted import SECRET, Fault, Scripted


@pytest.mark.parametrize(
    ("at", "reply", "error"),
    [
        ("GREETING", "421 full", FarBusy),
        ("GREETING", "530 not you", CredentialsRefused),
        ("GREETING", "SSH-2.0-other", WrongDocument),
        ("GREETING", "999 what", WrongDocument),
        ("USER", "530 no", CredentialsRefused),
        ("USER", "430 no", CredentialsRefused),
        ("PASS", "530 no", CredentialsRefused),
        ("PASS", "332 which account", CredentialsRefused),
        ("PASS", "421 going down", FarBusy),
        ("TYPE", "504 no", NotPossible),
        ("CWD", "550 Permission denied", NotAllowed),
        ("CWD", "421 idle", FarBusy),
        ("EPSV", "451 no", FarBusy),
        ("MLSD", "425 no data connection", CannotConnect),
    ],
)
async def test_a_reply_in_the_way(
    adapter: FtpAdapter, server: Scripted, at: str, reply: str, error: type[HeadraceError]
) -> None:
    server.faults[at] = Fault("say", reply)
    await fails(listing(adapter, server, SECONDS), error)
    await still_well(adapter, server)


async def test_nothing_is_said_that_holds_a_line_end(adapter: FtpAdapter, server: Scripted) -> None:
    for name in (b"a\r\nDELE old", b"a\n", b"a\0"):
        await fails(adapter.erase(server.target.within(name), SECONDS), NameNotAllowed)
    assert server.told == []


@pytest.mark.parametrize("address", ["192,168,178,2", "0,0,0,0", "203,0,113,9", "8,8,8,8"])
async def test_data_comes_from_the_control_host_whatever_pasv_names(
    adapter: FtpAdapter, server: Scripted, address: str
) -> None:
    """The second half of the case ftp-empty-dir-550-and-pasv-address."""
    server.epsv, server.address = "522 use PASV", address
    await still_well(adapter, server)
    assert server.data_connections == 4


@pytest.mark.parametrize("refusal", ["425 no", "500 what", "502 no", "522 use (1)", "501 no"])
async def test_pasv_where_epsv_is_refused_and_only_once(
    adapter: FtpAdapter, server: Scripted, refusal: str
) -> None:
    server.epsv = refusal
    for _ in range(3):
        await listing(adapter, server, SECONDS)
    assert (server.words().count("EPSV"), server.words().count("PASV")) == (1, 3)


@pytest.mark.parametrize("reply", ["227 here", "227 (1,2,3,4,5)", "227 (1,2,3,4,256,1)"])
async def test_a_broken_227(adapter: FtpAdapter, server: Scripted, reply: str) -> None:
    server.epsv, server.faults["PASV"] = "500 no", Fault("say", reply)
    await fails(listing(adapter, server, SECONDS), WrongDocument)
    await still_well(adapter, server)


@pytest.mark.parametrize(
    ("reply", "home"),
    [
        # RFC 959 appendix II: quotes around, and a quote inside doubled
        ('257 "/usr/dm" directory', b"/usr/dm"),
        ('257 "/a ""quoted"" name" here', b'/a "quoted" name'),
        ('257 here is "/"', b"/"),
        ('257 "/usr/dm', b"/usr/dm"),  # the last quote forgotten
        # no absolute folder: paths are relative then, and the login is not kept
        ("257 /pub", None),
        ('257 "DISK:[PUB]"', None),
        ('257 "/a\rDELE b"', None),
        ('257 "/a\xff\xf4b"', None),  # IAC IP, to a server whose control connection is a Telnet one (RFC 854)
        ("550 no", None),
    ],
)
async def test_the_folder_of_a_login(
    adapter: FtpAdapter, server: Scripted, reply: str, home: bytes | None
) -> None:
    server.faults["PWD"] = Fault("say", reply, times=9)
    server.folders |= {b"/usr/dm/pub", b'/a "quoted" name/pub'}
    for _ in range(2):
        await listing(adapter, server, SECONDS)
    wanted = b"CWD pub" if home is None else b"CWD " + home.rstrip(b"/") + b"/pub"
    assert [each for each in server.told if each.startswith(b"CWD")] == [wanted] * 2
    assert server.connections == (2 if home is None else 1)


async def test_no_password_reaches_a_log(
    adapter: FtpAdapter, server: Scripted, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(0):
        await listing(adapter, server, SECONDS)
    assert SECRET not in caplog.text
    assert b"PASS " + SECRET.encode() in server.told


async def test_anonymous(adapter: FtpAdapter, server: Scripted) -> None:
    """RFC 1635: the user is `anonymous`, the password a mail address; here one that leads nowhere."""
    server.faults["PASS"] = Fault("say", "230 in")
    await adapter.list(replace(server.target, credentials=None), SECONDS)
    assert server.told[:2] == [b"USER anonymous", b"PASS anonymous@headrace.invalid"]


async def test_a_reply_that_says_soon_is_waited_behind(adapter: FtpAdapter, server: Scripted) -> None:
    """RFC 959 section 4.2: after a 1yz another reply follows."""
    server.faults["USER"] = Fault("say", "120 soon\r\n331 password")
    await listing(adapter, server, SECONDS)
    await still_well(adapter, server)
    assert server.connections == 1


async def test_no_data_connection_in_either_way(adapter: FtpAdapter, server: Scripted) -> None:
    server.epsv, server.faults["PASV"] = "522 use PASV", Fault("say", "425 no port left")
    await fails(listing(adapter, server, SECONDS), CannotConnect)
    await still_well(adapter, server)
