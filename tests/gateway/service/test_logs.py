"""The logs: one line a record, readable by a program, and no secret in them from any library at any level."""

import asyncio
import base64
import errno
import io
import json
import logging
import os
import re
import subprocess
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote, quote_plus

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest_httpserver import HTTPServer

from adapters import limits
from adapters.errors import CannotConnect, NotThere
from gateway.service.logs import LEVELS, LineFormatter, Redactor, configure, reason

ROOT = Path(__file__).parents[3]
PAIR = re.compile(r'([A-Za-z0-9_]+)=("(?:[^"\\]|\\.)*"|[^ "=]*)(?: |$)')


def read(line: str) -> dict[str, str]:
    """A line as a program reads logfmt: fails on anything but pairs."""
    pairs: dict[str, str] = {}
    at = 0
    while at < len(line):
        match = PAIR.match(line, at)
        assert match, line[at:]
        name, value = match.groups()
        assert name not in pairs
        pairs[name] = json.loads(value) if value.startswith('"') else value
        at = match.end()
    return pairs


class Logs:
    def __init__(self) -> None:
        self.stream = io.StringIO()
        self.redactor = Redactor()

    @property
    def text(self) -> str:
        return self.stream.getvalue()

    @property
    def lines(self) -> list[dict[str, str]]:
        return [read(line) for line in self.text.splitlines()]

    @property
    def last(self) -> dict[str, str]:
        return self.lines[-1]


@pytest.fixture
def logs() -> Iterator[Logs]:
    found = Logs()
    undo = configure("debug", found.stream, found.redactor)
    yield found
    undo()


def formatted(redactor: Redactor, **parts: Any) -> str:
    return LineFormatter(redactor).format(
        logging.makeLogRecord({"levelname": "INFO", "levelno": 20, **parts})
    )


# The line


def test_a_line_is_pairs_and_the_time_is_utc(logs: Logs) -> None:
    """RFC 3339 section 5.6, with Z for UTC."""
    before = datetime.now(UTC).replace(microsecond=0)
    logging.getLogger("some.where").warning("it is %s", "so", extra={"origin": "https://h:443", "count": 3})
    line = logs.last
    when = datetime.fromisoformat(line.pop("time"))
    assert before <= when <= datetime.now(UTC)
    assert when.tzinfo == UTC
    assert line == {
        "level": "warning",
        "logger": "some.where",
        "message": "it is so",
        "origin": "https://h:443",
        "count": "3",
    }
    assert re.match(r"time=\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z level=", logs.text)


@settings(max_examples=300, deadline=None)
@given(message=st.text(), name=st.text(), value=st.text(), key=st.text(min_size=1))
def test_no_value_can_forge_a_line_or_a_pair(message: str, name: str, value: str, key: str) -> None:
    line = formatted(
        Redactor(), msg=message, name=name, **({key: value} if key not in {"msg", "name"} else {})
    )
    assert all(" " <= character <= "~" for character in line)
    assert read(line)["message"] == Redactor().clean(message)
    assert list(read(line))[:4] == ["time", "level", "logger", "message"]


@pytest.mark.parametrize(
    "control", ["\r", "\n", "\r\n", "\x00", "\x1b[2J", "\x7f", "\x85", "\u2028", "\x9b", "\ud800"]
)
def test_control_characters_are_escaped(control: str) -> None:
    """RFC 8259 section 7, and DEL and C1, which JSON need not escape."""
    line = formatted(Redactor(), msg=f"a{control}time=2030 level=critical")
    assert line.isascii()
    assert line.isprintable()
    assert read(line)["message"] == f"a{control}time=2030 level=critical"
    assert read(line)["level"] == "info"


def test_a_long_value_is_cut(logs: Logs) -> None:
    logging.getLogger().info("x" * 100_000)
    assert logs.last["message"] == "x" * limits.LOG_CHARACTERS + "..."


def test_the_level_is_an_option() -> None:
    for level in LEVELS:
        stream = io.StringIO()
        undo = configure(level, stream)
        for each in LEVELS:
            logging.getLogger("any").log(logging.getLevelNamesMapping()[each.upper()], each)
        undo()
        assert [read(line)["level"] for line in stream.getvalue().splitlines()] == list(
            LEVELS[LEVELS.index(level) :]
        )
    with pytest.raises(ValueError, match="debug info warning error critical"):
        configure("loud")


def test_a_traceback_is_one_pair_of_the_line(logs: Logs) -> None:
    try:
        int("a\nb")
    except ValueError:
        logging.getLogger().exception("failed")
    line = logs.last
    assert line["error"].startswith("Traceback (most recent call last):\n")
    assert line["error"].endswith("literal for int() with base 10: 'a\\nb'")
    logging.getLogger().info("here", stack_info=True)
    assert "test_a_traceback_is_one_pair" in logs.last["stack"]
    assert logs.text.count("\n") == 2


class _Unprintable:
    def __str__(self) -> str:
        raise RuntimeError("hunter2")

    __repr__ = __str__


@pytest.mark.parametrize(
    "log",
    [
        lambda logger: logger.info("%d", "hunter2"),
        lambda logger: logger.info("%s %s", *("hunter2",)),
        lambda logger: logger.info("%s", _Unprintable()),
        lambda logger: logger.info("x", extra={"y": _Unprintable()}),
        lambda logger: logger.info(_Unprintable()),
    ],
)
def test_a_record_that_cannot_be_formatted_is_logged_and_leaks_nothing(
    logs: Logs, capfd: pytest.CaptureFixture[str], log: Callable[[logging.Logger], None]
) -> None:
    """The standard handler would print such a record as it is, on standard error."""
    logs.redactor.learn("hunter2")
    log(logging.getLogger())
    assert len(logs.lines) == 1
    assert "hunter2" not in logs.text
    assert capfd.readouterr().err == ""


def test_a_stream_that_is_gone_is_nobodys_error(capfd: pytest.CaptureFixture[str]) -> None:
    stream = io.StringIO()
    undo = configure("info", stream)
    stream.close()
    logging.getLogger().info("hunter2")
    undo()
    assert capfd.readouterr().err == ""


# Who logs


def test_libraries_handlers_are_replaced_and_come_back(capfd: pytest.CaptureFixture[str]) -> None:
    own = logging.getLogger("a.library")
    handler = logging.StreamHandler(sys.stderr)
    own.addHandler(handler)
    own.propagate = False
    stream = io.StringIO()
    undo = configure("info", stream)
    own.warning("once")
    undo()
    assert stream.getvalue().count("once") == 1
    assert capfd.readouterr().err == ""
    assert own.handlers == [handler]
    assert own.propagate is False
    own.removeHandler(handler)


def test_warnings_are_lines(logs: Logs) -> None:
    logs.redactor.learn("hunter2")
    with warnings.catch_warnings():
        warnings.simplefilter("always")
        warnings.warn("about hunter2", stacklevel=1)
    assert logs.last["logger"] == "py.warnings"
    assert "about ***" in logs.last["message"]
    assert "hunter2" not in logs.text.replace('hunter2\\", stacklevel', "")


CRASH = """
import sys, threading
from gateway.service.logs import Redactor, configure
redactor = Redactor()
redactor.learn("hunter2")
configure("info", None, redactor)
def fail():
    raise ValueError("hunter" + "2 in a thread")
class Bad:
    def __del__(self):
        raise ValueError("hunter" + "2 in a finalizer")
Bad()
thread = threading.Thread(target=fail)
thread.start()
thread.join()
raise ValueError("hunter" + "2 at the top")
"""


def test_uncaught_exceptions_are_lines_too() -> None:
    done = subprocess.run(
        [sys.executable, "-c", CRASH], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    lines = [read(line) for line in done.stderr.splitlines()]
    assert [line["level"] for line in lines] == ["critical"] * 3
    for line, where in zip(lines, ("in a finalizer", "in a thread", "at the top"), strict=True):
        assert f"ValueError: *** {where}" in line["error"]


# Secrets


PLANTED = {
    "user": "planted-user-1",
    "password": 'pl@nted/pass"wörd 2',
    "query": "planted query&3",
    "bearer": "planted.bearer-4",
    "key": "planted\\key'5",
    "cookie": "planted-cookie-6",
    "unknown": "unlearned7",
}


def forms(secret: str) -> set[str]:
    data = secret.encode()
    found = {
        secret,
        quote(secret),
        quote(secret, safe=""),
        quote_plus(secret),
        json.dumps(secret)[1:-1],
        repr(secret)[1:-1],
        repr(data)[2:-1],
        data.hex(),
    }
    for before in range(3):
        encoded = base64.b64encode(bytes(before) + data).decode()
        found.add(encoded[4:-4])
    return found


def leaked(text: str) -> set[str]:
    """Which of the planted secrets can be seen in what is logged."""
    return {name for name, secret in PLANTED.items() if any(form in text for form in forms(secret))}


async def exchange(server: HTTPServer) -> None:
    """All ways in which a secret goes through httpx and httpcore, successful and failing."""
    url = server.url_for("/doc")
    headers = {"X-Key": PLANTED["key"], "X-Api-Key": PLANTED["unknown"], "Cookie": f"a={PLANTED['cookie']}"}
    async with httpx.AsyncClient(trust_env=False) as client:
        params = {"key": PLANTED["query"], "token": PLANTED["unknown"]}
        basic = httpx.BasicAuth(PLANTED["user"], PLANTED["password"])
        first = await client.get(url, headers=headers, params=params, auth=basic)
        await client.get(url, headers={"Authorization": f"Bearer {PLANTED['bearer']}"})
        with_user = httpx.URL(url, username=PLANTED["user"], password=PLANTED["password"])
        response = await client.get(with_user)
        logger = logging.getLogger("gateway.test")
        logger.info("request %r %s", response.request, response.request.url)
        for each in (first, response):
            logger.info("%r", dict(each.request.headers))
            logger.info("%r", each.request.headers.raw)
        logger.info("%r %r", client.cookies, list(response.headers.raw))
        try:
            (await client.get(url.replace("/doc", "/none"), params=params)).raise_for_status()
        except httpx.HTTPStatusError:
            logger.exception("failed", extra={"url": str(response.request.url), "headers": response.headers})
        try:
            await client.get(
                f"http://{PLANTED['user']}:{quote(PLANTED['password'], safe='')}@127.0.0.1:1/?x=unlearned7"
            )
        except httpx.ConnectError:
            logger.warning("cannot connect", exc_info=True, stack_info=True)
        try:
            await client.get(f"http://{PLANTED['unknown']}:x@[::bad/")
        except httpx.InvalidURL as fault:
            logger.warning("bad url %s", fault, exc_info=True)

    async def lost() -> None:
        raise ValueError(f"lost with {PLANTED['password']} and http://h/?k={PLANTED['unknown']}")

    task = asyncio.get_running_loop().create_task(lost(), name=PLANTED["bearer"])
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    del task  # "Task exception was never retrieved"


@pytest.fixture
def loud() -> Iterator[None]:
    """httpx and httpcore as they are without the HTTP adapter, which silences them once it is imported."""
    names = [
        name for name in logging.root.manager.loggerDict if name.partition(".")[0] in {"httpx", "httpcore"}
    ]
    loggers = [logging.getLogger(name) for name in {*names, "httpx", "httpcore"}]
    before = [(each, each.level, each.filters[:]) for each in loggers]
    for each in loggers:
        each.setLevel(logging.NOTSET)
        each.filters.clear()
    yield
    for each, level, filters in before:
        each.setLevel(level)
        each.filters[:] = filters


@pytest.mark.usefixtures("loud")
def test_nothing_leaks_from_any_library_at_debug(logs: Logs, httpserver: HTTPServer) -> None:
    for name, secret in PLANTED.items():
        if name != "unknown":
            logs.redactor.learn(secret)
    set_cookie = {"Set-Cookie": f"sid={PLANTED['cookie']}; Path=/", "X-Session-Id": PLANTED["unknown"]}
    httpserver.expect_request("/doc").respond_with_data("x", headers=set_cookie)
    with asyncio.Runner(debug=True) as runner:
        runner.run(exchange(httpserver))
    found = {line["logger"].partition(".")[0] for line in logs.lines}
    assert {"httpx", "httpcore", "asyncio", "gateway"} <= found
    assert logs.text.count("***") > 20
    assert "never retrieved" in logs.text
    assert leaked(logs.text) == set()
    assert leaked("\n".join(value for line in logs.lines for value in line.values())) == set()


@pytest.mark.usefixtures("loud")
def test_the_check_above_can_fail(httpserver: HTTPServer) -> None:
    """The same exchange through the standard library's formatter shows every secret planted."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    root = logging.getLogger()
    before = root.level
    root.addHandler(handler)
    root.setLevel("DEBUG")
    httpserver.expect_request("/doc").respond_with_data("x", headers={"Set-Cookie": f"s={PLANTED['cookie']}"})
    with asyncio.Runner(debug=True) as runner:
        runner.run(exchange(httpserver))
    root.removeHandler(handler)
    root.setLevel(before)
    assert leaked(stream.getvalue()) == set(PLANTED)


def test_a_field_named_like_a_secret_is_hidden(logs: Logs) -> None:
    logging.getLogger().info("x", extra={"api_key": "unlearned7", "password": "unlearned7", "why": "open"})
    assert logs.last["api_key"] == logs.last["password"] == "***"
    assert logs.last["why"] == "open"
    logs.redactor.learn("hunter2")
    logging.getLogger().info("x", extra={"hunter2": "as a name"})
    assert "hunter2" not in logs.text


def test_what_is_learned_later_is_hidden_from_then_on(logs: Logs) -> None:
    logging.getLogger().info("one hunter2")
    logs.redactor.learn("hunter2")
    logging.getLogger().info("two hunter2")
    assert [line["message"] for line in logs.lines] == ["one hunter2", "two ***"]


def test_a_reason_is_a_sentence_and_what_is_behind_it() -> None:
    assert reason(NotThere("No place NOSUCH")) == "No place NOSUCH"
    error = CannotConnect("The far server refuses to connect")
    error.__cause__ = OSError(111, "Connect call failed")
    error.__cause__.__cause__ = TimeoutError()
    assert reason(error) == (
        "The far server refuses to connect: [Errno 111] Connect call failed: TimeoutError"
    )
    error.__cause__ = NotThere(error.sentence)
    assert reason(error) == error.sentence


def test_a_traceback_that_is_text_already_and_a_field_named_like_one_of_the_line(logs: Logs) -> None:
    """What comes from another process has its traceback as text (`QueueHandler.prepare`)."""
    line = read(formatted(logs.redactor, exc_text="Traceback: far away", time="noon", level="high"))
    assert line["error"] == "Traceback: far away"
    assert (line["time_"], line["level_"], line["level"]) == ("noon", "high", "info")


def test_a_ctrl_c_and_an_exception_of_which_nothing_is_left_are_no_lines(
    logs: Logs, capfd: pytest.CaptureFixture[str]
) -> None:
    sys.excepthook(KeyboardInterrupt, KeyboardInterrupt(), None)
    assert "KeyboardInterrupt" in capfd.readouterr().err
    threading.excepthook(threading.ExceptHookArgs((ValueError, None, None, None)))
    sys.unraisablehook(SimpleNamespace(exc_type=ValueError, exc_value=None, exc_traceback=None))
    assert logs.lines == []


class Full(io.StringIO):
    """A disk that is full for one line, of which it takes the half."""

    full = True

    def write(self, text: str) -> int:
        if self.full:
            self.full = False
            super().write(text[:5])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().write(text)


def test_a_line_behind_half_a_line_is_one_of_its_own() -> None:
    stream = Full()
    undo = configure("info", stream)
    for message in ("lost", "whole", "and the next"):
        logging.getLogger().info(message)
    undo()
    half, whole, following = stream.getvalue().splitlines()
    assert len(half) == 5
    assert "whole" in whole
    assert "and the next" in following
