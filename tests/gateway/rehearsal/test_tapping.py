"""A gateway with a trace says what it says without one, and the trace rehearses as it was."""

import asyncio
from pathlib import Path

from adapters.redaction import Redactor
from gateway.catalogue.model import Catalogue, Listener
from gateway.rehearsal.running import run_script
from gateway.rehearsal.script.reading import read_script
from gateway.rehearsal.tapping import Tapped
from gateway.rehearsal.tracing import Trace
from gateway.service.doors import Bound
from gateway.service.server import Server, Tap
from tests.gateway.service.clients.test_connection import SOURCES
from tests.gateway.service.clients.test_granting import Late
from tests.gateway.talking import talk

SAID = (
    b"NOOP one\rNOOP two\r\nHELP\n",
    b"SET eol=cr\rNOOP\rSET echo=on\rNOOP\rnot\x18NOOP three\r",
    b"ASK nothing\r\r\rSET page=3\rHELP SET\rMORE\rWHY\rBYE\r",
    b"unfinished",
    b"SET flow=xon\rHELP\r\x13\x11NOOP\r\xff\xf1\xff",
)


async def started(tap: Tap | None) -> tuple[Server, list[Bound]]:
    catalogue = Catalogue(listeners=(Listener(port=0), Listener(port=0, greeting=True)), sources=SOURCES)
    server = Server(catalogue, lambda _: Late(), tap=tap)
    return server, await server.start()


async def test_the_same_with_and_without_and_again(tmp_path: Path) -> None:
    trace = Trace(tmp_path / "trace", Redactor())
    plain, bound = await started(None)
    expected = [await talk(each.host, each.port, said) for said in SAID for each in bound]
    await plain.stop()
    traced, bound = await started(lambda inner, number: Tapped(inner, trace, number))
    assert [await talk(each.host, each.port, said) for said in SAID for each in bound] == expected
    assert sum(map(len, expected)) > 2000
    await traced.stop()
    trace.close()
    again, bound = await started(None)
    script = read_script((tmp_path / "trace").read_text(), "trace")
    run = await run_script(script, [(each.host, each.port) for each in bound])
    await again.stop()
    assert run.good, [(pair.line, pair.came, pair.why) for pair in run.differences]


async def test_a_client_that_cuts_and_one_that_stays(tmp_path: Path) -> None:
    trace = Trace(tmp_path / "trace", Redactor())
    server, bound = await started(lambda inner, number: Tapped(inner, trace, number))
    script = read_script("dial a\nsay NOOP\nskip 1\ndial b\nsay NOOP\nskip 1\non a\nreset\nwait 0.05", "x")
    run = await run_script(script, [(each.host, each.port) for each in bound])
    assert run.good
    await asyncio.sleep(0.05)
    await server.stop()
    trace.close()
    lines = (tmp_path / "trace").read_text().splitlines()
    assert lines.count("reset") == 1
    assert lines.count("say NOOP") == 2
