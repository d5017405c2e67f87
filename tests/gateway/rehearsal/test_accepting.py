"""What came is written into the script; everything else stays."""

import pytest

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


@pytest.mark.parametrize(
    "script",
    [
        "dial one\nsay NOOP\ndial two\nsay NOOP\nhear 200 00000 000 ..\n",
        "dial one\n  say ASK\n# two\ndial two\nsay NOOP\nclose\non one\nwait 0.05\non two\n",
        "say ASK\nhear 200 00002 003 ..\nclose\n",
        "say ASK\nquiet 0.05\nends cr\nsay NOOP\n",
    ],
)
async def test_what_was_accepted_is_as_expected_the_next_time(script: str) -> None:
    text = accepted(await rehearsed(script, answering(ANSWERS)))
    assert text != script
    again = await rehearsed(text, answering(ANSWERS))
    assert again.good, again.differences
    assert accepted(again) == text
