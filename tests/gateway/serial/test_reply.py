"""The lines of a made-up reply: as many and as wide as the real one's."""

import pytest

from adapters.errors import WrongWords
from gateway.serial.reply import Shape, line_end_bytes
from gateway.wire.settings import Settings


def test_a_status_line_and_records_with_their_ends() -> None:
    """CONTRACT section 2: sixteen characters that tell count and width, then the records."""
    lines = Shape(3, 28).lines(Settings())
    assert lines[0] == b"200 00003 028 ..\r\n"
    assert [len(line) for line in lines] == [18, 30, 30, 30]


def test_mark_and_check_are_counted_in_the_width() -> None:
    """CONTRACT section 5: the mark inside, the check after the last column, status lines too."""
    lines = Shape(2, 28).lines(Settings(mark=True, check="crc", eol="lf"))
    assert lines[0][:16] == b"200 00002 033 .."
    assert [len(line) for line in lines] == [21, 34, 34]


def test_a_page_leaves_the_rest() -> None:
    assert len(Shape(30, 20).lines(Settings(page=10))) == 11


@pytest.mark.parametrize(
    ("eol", "data"),
    [("crlf", b"\r\n"), ("cr", b"\r"), ("lf", b"\n"), ("9b", b"\x9b"), ("none", b""), ("mirror", b"\r\n")],
)
def test_every_line_end(eol: str, data: bytes) -> None:
    settings = Settings(eol=eol)
    assert line_end_bytes(settings) == data
    assert all(line.endswith(data) for line in Shape(1, 20).lines(settings))
    assert len(Shape(1, 20).lines(settings)[1]) == 20 + len(data)


@pytest.mark.parametrize(("records", "columns"), [(-1, 20), (100_000, 20), (1, 0), (1, 256), (90_000, 255)])
def test_replies_that_there_are_none_of(records: int, columns: int) -> None:
    with pytest.raises(WrongWords):
        Shape(records, columns)


def test_wider_than_the_client_takes_is_refused() -> None:
    with pytest.raises(WrongWords, match="81 columns, and the client takes 80"):
        Shape(1, 80).lines(Settings(most=80, mark=True))
