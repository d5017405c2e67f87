"""The checker itself: it must find what it is there to find."""

import pytest

from tests.faults.streams.marks import RECORD, Form, Way, Wrong, number_of

OVER = b"\r\n226 00000 000 ..\r\n"


@pytest.mark.parametrize("form", Form)
@pytest.mark.parametrize("piece", [1, 3, 16, 17, 1000])
def test_all_is_right_in_any_pieces(form: Form, piece: int) -> None:
    way = Way(7, b"C", form, OVER)
    data = way.take(40, stamped=True)
    assert len(data) == 40 * RECORD
    assert number_of(data[:RECORD]) == 7
    data += OVER
    for start in range(0, len(data), piece):
        way.feed(data[start : start + piece])
    assert way.whole
    assert way.over
    assert len(way.latencies) == 1


@pytest.mark.parametrize("form", Form)
@pytest.mark.parametrize("at", [0, 5, 15, 16, 200])
def test_lost_doubled_swapped_and_leaked_bytes_are_found(form: Form, at: int) -> None:
    data = Way(7, b"C", form).take(40)
    for wrong in (
        data[:at] + data[at + RECORD :],  # a record lost
        data[: at + RECORD] + data[at:],  # a record twice
        data[:at] + data[at + RECORD : at + 2 * RECORD] + data[at : at + RECORD] + data[at + 2 * RECORD :],
        data[:at] + Way(8, b"C", form).take(40)[at:],  # another call's
        data[:at] + Way(7, b"F", form).take(40)[at:],  # of the other way
        data[: at + 1] + b"\n" + data[at + 1 :],  # one byte too many
    ):
        with pytest.raises(Wrong):
            Way(7, b"C", form).feed(wrong)


def test_a_farewell_is_one_only_whole_and_where_one_may_be() -> None:
    data = Way(7, b"C", Form.RAW).take(2)
    with pytest.raises(Wrong):
        Way(7, b"C", Form.RAW).feed(data + OVER)
    way = Way(7, b"C", Form.RAW, OVER)
    heard = []
    for piece in (data[:-3], data[-3:] + OVER[:4], OVER[4:], b"500 "):
        way.feed(piece)
        heard.append((way.got, way.over, way.behind))
    assert heard == [(29, False, b""), (32, False, b""), (32, True, b""), (32, True, b"500 ")]
    other = Way(7, b"C", Form.RAW, OVER)
    other.feed(data + OVER[:4])
    with pytest.raises(Wrong):
        other.feed(OVER[5:])


def test_what_has_not_come_is_told() -> None:
    way = Way(7, b"C", Form.TEXT)
    way.feed(way.take(4)[:-1])
    assert not way.whole
