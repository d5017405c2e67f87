"""JUnit XML as a reader of it takes it: junitparser, a reference library of the Python registry."""

from datetime import UTC, datetime

from junitparser import Failure, JUnitXml

from gateway.rehearsal.junit import junit_xml
from tests.gateway.rehearsal.gateways import answering, rehearsed
from tests.gateway.rehearsal.test_running import ANSWERS, GOOD

AT = datetime(2026, 5, 17, 12, 0, tzinfo=UTC)


async def test_read_by_another() -> None:
    bad = "say RAW\ntake \\x00<&]]>\\x01"
    runs = [
        await rehearsed(text, answering(ANSWERS)) for text in (GOOD, f"within 0.1\n{bad}", "dial listener 2")
    ]
    document = JUnitXml.fromstring(junit_xml(runs, AT))
    assert (document.tests, document.failures, document.errors) == (3, 2, 0)
    (suite,) = document
    assert (suite.name, suite.timestamp) == ("rehearsals", "2026-05-17T12:00:00")
    good, differing, broken = suite
    assert (good.name, good.is_passed) == ("x.rehearsal", True)
    assert isinstance(differing.result[0], Failure)
    assert "<&]]>" in differing.result[0].text
    assert "there is no listener 2" in broken.result[0].text
    assert float(suite.time) >= sum(float(case.time) for case in suite) - 0.01


async def test_what_xml_cannot_hold_is_escaped() -> None:
    """XML 1.0 section 2.2; a file may have any name, and not all of them are UTF-8."""
    run = await rehearsed("say NOOP", answering(ANSWERS), name="a\x01\udce9.rehearsal")
    (suite,) = JUnitXml.fromstring(junit_xml([run], AT))
    assert [case.name for case in suite] == ["a\\x01\\udce9.rehearsal"]
