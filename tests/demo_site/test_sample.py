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


def test_the_session_shows_every_way_to_ask_an_error_and_files() -> None:
    words = [sample.request.split()[0] for sample in SAMPLES]
    assert words[:8] == ["SOURCES", "LAYOUT", "ASK", "PICK", "TELL", "ASK", "WHY", "ASK"]
    assert words[8:] == ["LIST", "NAME", "TEXT", "STORE", "COPY", "READ", "LIST", "TALK", ">SHIPS", "."]


def test_only_a_store_has_data_lines_and_they_end() -> None:
    """Data lines begin with `>`, and a line with a dot alone ends them."""
    for sample in SAMPLES:
        assert bool(sample.lines) is sample.request.startswith("STORE ")
        if sample.lines:
            *data, end = sample.lines
            assert end == "."
            assert data
            assert all(line.startswith(">") and line.isascii() and line.isprintable() for line in data)
