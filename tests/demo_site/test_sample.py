"""The printed session: lines that a client may send, and words a terminal can show."""

import pytest

from adapters import limits
from demo_site.sample import SAMPLES, Sample


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.request)
def test_each_line_is_a_request_of_printable_ascii(sample: Sample) -> None:
    assert sample.request.isascii()
    assert sample.request.isprintable()
    assert len(sample.request) <= limits.LINE_BYTES
    assert sample.meaning.isascii()
    assert sample.meaning.isprintable()


def test_the_session_shows_every_way_to_ask_and_an_error() -> None:
    words = [sample.request.split()[0] for sample in SAMPLES]
    assert words == ["SOURCES", "LAYOUT", "ASK", "PICK", "TELL", "ASK", "WHY", "ASK"]
