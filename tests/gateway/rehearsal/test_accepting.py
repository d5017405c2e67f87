"""What came is written into the script; everything else stays."""

from gateway.rehearsal.accepting import accepted
from tests.gateway.rehearsal.gateways import answering, rehearsed
from tests.gateway.rehearsal.test_running import ANSWERS, GOOD

SCRIPT = """# A script
within 0.1

  say ASK
  hear {number 3} {any}
# its records
  hear xyz
  hear gone
  hear gone too

say RAW
take {any 2}\\x03
say NOOP
hear 200 00000 000 ..
hear never
"""
WRITTEN = """# A script
within 0.1

  say ASK
  hear {number 3} {any}
# its records
  hear abc
  hear def

say RAW
take \\x00\\x01\\x02
say NOOP
hear 200 00000 000 ..
"""


async def test_only_what_differs_is_written_anew() -> None:
    run = await rehearsed(SCRIPT, answering(ANSWERS))
    assert accepted(run) == WRITTEN
    again = await rehearsed(WRITTEN, answering(ANSWERS))
    assert again.good
    assert accepted(again) == WRITTEN


async def test_from_one_expectation_for_each_request() -> None:
    run = await rehearsed("say ASK\nhear ?\nsay NOOP\nhear ?", answering(ANSWERS))
    text = "say ASK\nhear 200 00002 003 ..\nhear abc\nhear def\nsay NOOP\nhear 200 00000 000 ..\n"
    assert accepted(run) == text


async def test_what_was_as_expected_is_left_alone() -> None:
    run = await rehearsed(GOOD, answering(ANSWERS))
    assert accepted(run) == GOOD
