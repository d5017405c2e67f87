"""Which requests go wrong, and when."""

from collections.abc import Iterator

import pytest

from adapters.recorded.asking import REQUEST
from adapters.recorded.faults.plan import Damage, Fault, FaultPlan, read_plan
from adapters.recorded.tree.table import TextFault


@pytest.fixture
def asking() -> Iterator[None]:
    token = REQUEST.set("ASK TIDES MOLE")
    yield
    REQUEST.reset(token)


def happened(plan: FaultPlan, rounds: int, method: str = "GET", url: str = "http://a.example/x") -> list[str]:
    found = [plan.due(method, url) for _ in range(rounds)]
    return ["" if each is None else each.damage.value for each in found]


def plan(*tables: str) -> FaultPlan:
    return read_plan("\n".join(f"[[fault]]\n{table}" for table in tables))


@pytest.mark.parametrize(
    ("table", "found"),
    [
        ('url = "*"\ndo = "cut"', ["cut"] * 4),
        ('url = "*"\ndo = "cut"\nafter = 1', ["", "cut", "cut", "cut"]),
        ('url = "*"\ndo = "cut"\nafter = 1\ntimes = 2', ["", "cut", "cut", ""]),
        ('url = "http://a.example/?"\nmethod = "get"\nstatus = 429', ["status"] * 4),
        ('url = "http://a.example/[yz]"\nstatus = 429', [""] * 4),
        ('request = "ask tides *"\ndo = "reset"', ["reset"] * 4),
        ('request = "ASK WATER *"\ndo = "reset"', [""] * 4),
        ('request = "ASK TIDES *"\nurl = "ftp:*"\ndo = "reset"', [""] * 4),
        ('url = "*"\nmethod = "POST"\ndo = "reset"', [""] * 4),
        ('url = "*"\ndo = "certificate-expired"', [""] * 4),  # there is none
    ],
)
def test_which_and_when(table: str, found: list[str], asking: None) -> None:
    assert happened(plan(table), 4) == found


def test_certificates_and_statuses_where_there_are_such() -> None:
    both = ('url = "*"\ndo = "certificate-expired"', 'url = "*"\nstatus = 550')
    assert happened(plan(both[0]), 1, "LIST", "ftps://a.example/") == ["certificate-expired"]
    assert happened(plan(*both), 1, "LIST", "ftp://a.example/") == ["status"]
    assert happened(plan(*both), 1, "LIST", "file:///a/") == [""]


def test_one_after_the_other() -> None:
    both = plan('url = "*"\ndo = "cut"\ntimes = 1', 'url = "*"\nstatus = 500\nafter = 1\ntimes = 1')
    assert happened(both, 4) == ["cut", "", "status", ""]


def test_what_is_read() -> None:
    (one, two) = plan(
        'url = "*"\ndo = "slow"\nseconds = 2.5\ntimes = 1', 'url = "*"\nstatus = 429\nseconds = 30'
    )._lines
    assert one.fault == Fault(Damage.SLOW, 2.5)
    assert two.fault == Fault(Damage.STATUS, 30.0, status=429)
    (three,) = plan('url = "*"\ndo = "garbled"\nbytes = 7')._lines
    assert three.fault == Fault(Damage.GARBLED, size=7)


def test_the_log_is_told_without_the_query(caplog: pytest.LogCaptureFixture) -> None:
    plan('url = "*"\ndo = "cut"').due("GET", "http://a.example/x?key=s3same")
    (record,) = caplog.records
    assert (record.message, vars(record)["url"]) == ("fault on cue: cut", "http://a.example/x")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "fault: missing"),
        ("fault = 3", "fault: not a list"),
        ("fault = " + "[" * 100_000, "nested too deep"),
        ("[[fault]]\ndo = \nurl = 3", "line 2"),
        ('[[fault]]\ndo = "cut"', "url: missing"),
        ('[[fault]]\nurl = "*"', "do: one of do and status"),
        ('[[fault]]\nurl = "*"\ndo = "cut"\nstatus = 500', "do: one of do and status"),
        ('[[fault]]\nurl = "*"\ndo = "break"', "do: none of slow, cut"),
        ('[[fault]]\nurl = "*"\nstatus = 200', "status: not 400 to 599"),
        ('[[fault]]\nurl = "*"\ndo = "slow"', "seconds: missing"),
        ('[[fault]]\nurl = "*"\ndo = "slow"\nseconds = 1e9', "seconds: not 0 to"),
        ('[[fault]]\nurl = "*"\ndo = "cut"\nseconds = 1', "seconds: only slow"),
        ('[[fault]]\nurl = "*"\ndo = "slow"\nseconds = 1\nbytes = 1', "bytes: only cut"),
        ('[[fault]]\nurl = "*"\ndo = "cut"\ntimes = 0', "times: below 1"),
        ('[[fault]]\nrequest = "read *"\ndo = "cut"', "request: only ASK and TELL have one"),
        ('[[fault]]\nrequest = "ASKING"\ndo = "cut"', "request: only ASK and TELL have one"),
        ('[[fault]]\nurl = "*"\ndo = "cut"\nwhen = 3', "when: there is no such key"),
    ],
)
def test_mistakes(text: str, why: str) -> None:
    with pytest.raises(TextFault) as caught:
        read_plan(text)
    assert why in str(caught.value)


@pytest.mark.parametrize("request_", ["*", "a*", "T*", "ask tides *", "?SK n", "[AT]* tides"])
def test_patterns_that_an_ask_or_tell_may_fit(request_: str) -> None:
    assert len(read_plan(f'[[fault]]\nrequest = "{request_}"\ndo = "cut"')) == 1
