"""What clients have had of a day and a minute."""

import logging
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import AskedTooOften
from gateway.catalogue.access import Rights
from gateway.service.members.accounts import Accounts


class Time:
    """A time that is set by hand."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def clock(self) -> float:
        return self.seconds

    def now(self) -> datetime:
        return datetime(2026, 5, 17, 22, 0, tzinfo=UTC) + timedelta(seconds=self.seconds)


def waits(accounts: Accounts, rights: Rights, who: str = "ANNA") -> int:
    """0 where the request is let through, else the seconds that are told."""
    try:
        accounts.charge(who, rights)
    except AskedTooOften as error:
        assert error.seconds is not None
        return error.seconds
    return 0


def test_requests_a_day() -> None:
    """The count begins anew at midnight, UTC, and the wait is until then."""
    time = Time()
    accounts = Accounts(None, time.now, time.clock)
    rights = Rights(requests=3)
    assert [waits(accounts, rights) for _ in range(5)] == [0, 0, 0, 7_200, 7_200]
    assert waits(accounts, rights, "BEA") == 0
    time.seconds = 7_199.5
    assert waits(accounts, rights) == 1
    time.seconds = 7_200
    assert [waits(accounts, rights) for _ in range(4)] == [0, 0, 0, 86_400]


def test_bytes_a_day() -> None:
    time = Time()
    accounts = Accounts(None, time.now, time.clock)
    accounts.moved("ANNA", 999)
    assert waits(accounts, Rights(bytes=1_000)) == 0
    accounts.moved("ANNA", 1)
    assert waits(accounts, Rights(bytes=1_000)) == 7_200
    assert waits(accounts, Rights(bytes=1_001)) == 0


def test_requests_a_minute() -> None:
    """A minute's at once, then one as often as the rate says (a token bucket, common practice)."""
    time = Time()
    accounts = Accounts(None, time.now, time.clock)
    rights = Rights(rate=30)
    assert [waits(accounts, rights) for _ in range(31)] == [0] * 30 + [2]
    time.seconds = 1.9
    assert waits(accounts, rights) == 1
    time.seconds = 2.0
    assert [waits(accounts, rights) for _ in range(2)] == [0, 2]
    time.seconds = 10_000
    assert [waits(accounts, rights) for _ in range(31)] == [0] * 30 + [2]


def test_a_low_rate_lets_a_few_through_at_once() -> None:
    time = Time()
    accounts = Accounts(None, time.now, time.clock)
    assert [waits(accounts, Rights(rate=1)) for _ in range(11)] == [0] * limits.ACCOUNT_BURST + [60]


def test_a_refused_request_is_not_counted() -> None:
    time = Time()
    accounts = Accounts(None, time.now, time.clock)
    rights = Rights(rate=10, requests=12)
    for _ in range(50):
        waits(accounts, rights)
    time.seconds = 60
    assert [waits(accounts, rights) for _ in range(3)] == [0, 0, 7_140]


def test_a_day_outlives_a_start(tmp_path: Path) -> None:
    time, path = Time(), tmp_path / "state" / "accounts.json"
    accounts = Accounts(path, time.now, time.clock)
    assert accounts.snapshot() is None
    accounts.charge("ANNA", Rights(requests=2))
    accounts.moved("from 192.0.2.7", 50)
    accounts.save(accounts.snapshot())
    assert accounts.snapshot() is None
    again = Accounts(path, time.now, time.clock)
    assert [waits(again, Rights(requests=2)) for _ in range(2)] == [0, 7_200]
    assert waits(again, Rights(bytes=50), "from 192.0.2.7") == 7_200
    time.seconds = 86_400
    assert waits(Accounts(path, time.now, time.clock), Rights(requests=1)) == 0
    (path.parent / ".accounts.json.x.part").touch()  # of one that was killed
    Accounts(path, time.now, time.clock)
    assert [each.name for each in path.parent.iterdir()] == ["accounts.json"]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "1",
        '{"day": 1}',
        '{"day": "x", "counts": {"a": [1]}, "sha256": ""}',
        '{"day": "2026-05-17", "counts": {"ANNA": [1, 1]}}',
        '{"day": "2026-05-17", "counts": {"ANNA": [Infinity, 1]}, "sha256": ""}',
        "[" * 100_000,
        "\udcff",
        "\0" * 4_096,
    ],
)
def test_what_cannot_be_read_is_set_aside_and_told(
    tmp_path: Path, text: str, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "accounts.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    _set_aside_and_told(path, caplog)
    assert path.with_name("accounts.json.damaged").read_bytes() == text.encode("utf-8", "surrogateescape")


@pytest.mark.parametrize("how", ["folder", "fifo", "link"])
def test_what_is_no_file_is_set_aside_and_told(
    tmp_path: Path, how: str, caplog: pytest.LogCaptureFixture
) -> None:
    """A FIFO without a writer would be waited for (fifo(7))."""
    path = tmp_path / "accounts.json"
    match how:
        case "folder":
            path.mkdir()
        case "fifo":
            os.mkfifo(path)
        case _:
            path.symlink_to(path)
    _set_aside_and_told(path, caplog)


def _set_aside_and_told(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    time = Time()
    accounts = Accounts(path, time.now, time.clock)
    assert waits(accounts, Rights(requests=1)) == 0
    assert [each.levelno for each in caplog.records] == [logging.ERROR]
    assert "set aside as accounts.json.damaged" in caplog.text
    caplog.clear()
    accounts.save(accounts.snapshot())
    assert waits(Accounts(path, time.now, time.clock), Rights(requests=1)) == 7_200
    assert caplog.records == []


def test_any_byte_that_changes_is_noticed(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A count that is another number is JSON still."""
    time, path = Time(), tmp_path / "accounts.json"
    accounts = Accounts(path, time.now, time.clock)
    for who in ("ANNA", "from 192.0.2.7"):
        accounts.charge(who, Rights())
    accounts.save(accounts.snapshot())
    whole = path.read_bytes()
    for place in range(len(whole)):
        changed = bytearray(whole)
        changed[place] ^= 1
        path.write_bytes(changed)
        caplog.clear()
        again = Accounts(path, time.now, time.clock)
        told = [each.levelno for each in caplog.records]
        assert (waits(again, Rights(requests=1)), told) in (
            (0, [logging.ERROR]),
            (7_200, []),  # a blank that became another blank
        )


def test_a_folder_that_comes_in_its_place_later_is_set_aside(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    time, path = Time(), tmp_path / "accounts.json"
    accounts = Accounts(path, time.now, time.clock)
    accounts.charge("ANNA", Rights())
    path.mkdir()
    accounts.save(accounts.snapshot())
    assert [each.levelno for each in caplog.records] == [logging.ERROR]
    assert waits(Accounts(path, time.now, time.clock), Rights(requests=1)) == 7_200


def test_a_disk_that_takes_nothing_is_told_and_tried_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    time = Time()
    (tmp_path / "state").write_text("a file where the folder should be")
    accounts = Accounts(tmp_path / "state" / "accounts.json", time.now, time.clock)
    caplog.clear()
    accounts.charge("ANNA", Rights(requests=2))
    accounts.save(accounts.snapshot())
    assert [each.levelno for each in caplog.records] == [logging.ERROR]
    assert accounts.snapshot() is not None


def test_accounts_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "ACCOUNTS", 20)
    time = Time()
    accounts = Accounts(None, time.now, time.clock)
    for number in range(100):
        accounts.charge(f"from 10.0.0.{number}", Rights(requests=1))
    assert len(accounts._accounts) == 20


def test_two_processes_that_count_the_same() -> None:
    """Each is told once what the other had since it was last told; nothing of another day counts."""
    time = Time()
    one, other = Accounts(None, time.now, time.clock), Accounts(None, time.now, time.clock)
    rights = Rights(requests=3)
    assert [waits(one, rights) for _ in range(2)] == [0, 0]
    one.moved("ANNA", 100)
    other.charge("BEA", rights)
    other.add(one.used())
    other.add(one.used())
    assert other.snapshot() is None
    assert [waits(other, rights) for _ in range(2)] == [0, 7_200]
    assert waits(other, Rights(bytes=100)) == 7_200
    late = one.used()
    one.charge("ANNA", rights)
    late = one.used()
    time.seconds = 7_200
    other.add(late)
    assert [waits(other, rights) for _ in range(3)] == [0, 0, 0]
