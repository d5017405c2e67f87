"""The libraries' logs stay empty, whatever a configuration asks of them."""

import logging
import logging.config
from collections.abc import Iterator

import pytest

from adapters.http.adapter import HttpAdapter
from adapters.http.link.logs import silence_libraries
from tests.adapters.contract import HUSH
from tests.adapters.http.servers import raw_server, reply

NAMES = ("httpx", "httpcore", "httpcore.connection", "httpcore.http11")


@pytest.fixture
def loud() -> Iterator[None]:
    levels = {name: logging.getLogger(name).level for name in NAMES}
    silence_libraries()
    logging.config.dictConfig(
        {
            "version": 1,
            "disable_existing_loggers": False,
            "loggers": {name: {"level": "DEBUG"} for name in NAMES},
        }
    )
    yield
    for name, level in levels.items():
        logging.getLogger(name).setLevel(level)


@pytest.mark.usefixtures("loud")
async def test_no_record_at_any_level(adapter: HttpAdapter, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        async with raw_server(reply(b"{}", "200 OK", f"Set-Cookie: s={HUSH}")) as server:
            await adapter.fetch(server.call(f"/?key={HUSH}", headers=(("X-Key", HUSH),)), 5)
        for name in NAMES:
            logging.getLogger(name).critical("never %s", HUSH)
    assert [record for record in caplog.records if record.name in NAMES] == []
    assert HUSH not in caplog.text


def test_other_logs_are_left_alone(caplog: pytest.LogCaptureFixture) -> None:
    silence_libraries()
    logging.getLogger("headrace").warning("heard")
    assert "heard" in caplog.text
