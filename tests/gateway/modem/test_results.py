"""Results against V.250 section 5.7 and its table of result codes, and X of section 6.2.7, from memory."""

import pytest

from gateway.modem.dialling import dial_string
from gateway.modem.parameters import Parameters
from gateway.modem.results import Failure, Result, outcome, report_bytes, result_bytes, text_bytes

CODES = [
    (Result.OK, "OK", 0),
    (Result.CONNECT, "CONNECT", 1),
    (Result.RING, "RING", 2),
    (Result.NO_CARRIER, "NO CARRIER", 3),
    (Result.ERROR, "ERROR", 4),
    (Result.NO_DIALTONE, "NO DIALTONE", 6),
    (Result.BUSY, "BUSY", 7),
    (Result.NO_ANSWER, "NO ANSWER", 8),
]


@pytest.mark.parametrize(("result", "words", "number"), CODES)
def test_words_and_numbers(result: Result, words: str, number: int) -> None:
    plain = Parameters(progress=0)
    assert result_bytes(result, plain, 9_600) == f"\r\n{words}\r\n".encode()
    assert result_bytes(result, Parameters(progress=0, verbose=0), 9_600) == f"{number}\r".encode()
    assert result_bytes(result, Parameters(quiet=1), 9_600) == b""


def test_there_are_no_others() -> None:
    assert list(Result) == [result for result, _, _ in CODES]


@pytest.mark.parametrize("progress", [1, 2, 3, 4])
def test_connect_has_a_text_from_x1_on(progress: int) -> None:
    assert result_bytes(Result.CONNECT, Parameters(progress=progress), 2_400) == b"\r\nCONNECT 2400\r\n"
    assert result_bytes(Result.CONNECT, Parameters(progress=progress, verbose=0), 2_400) == b"1\r"


def test_the_characters_of_s3_and_s4() -> None:
    other = Parameters(end=33, feed=34)
    assert result_bytes(Result.OK, other, 300) == b'!"OK!"'
    assert text_bytes("hello", other) == b'!"hello!"'
    assert text_bytes("hello", Parameters(end=33, feed=34, verbose=0)) == b'hello!"'


def test_information_text_is_not_held_back() -> None:
    """Section 6.2.5: Q is about result codes."""
    assert text_bytes("hello", Parameters(quiet=1)) == b"\r\nhello\r\n"


def test_an_extended_result_has_no_number() -> None:
    assert report_bytes("+ILRR: 300", Parameters()) == b"\r\n+ILRR: 300\r\n"
    assert report_bytes("+ILRR: 300", Parameters(verbose=0)) == b"+ILRR: 300\r"
    assert report_bytes("+ILRR: 300", Parameters(quiet=1)) == b""


# failure, what was dialled, and the result for X0 to X4
OUTCOMES = [
    (Failure.REFUSED, "harbour", "3 3 3 3 3"),
    (Failure.REFUSED, "0W5550100@", "3 3 3 3 3"),
    (Failure.BUSY, "harbour", "3 3 3 7 7"),
    (Failure.NO_LINE, "harbour", "3 3 6 3 6"),
    (Failure.NO_LINE, "0W5550100", "6 6 6 6 6"),
    (Failure.NO_LINE, "Wharf", "3 3 6 3 6"),
    (Failure.SILENT, "harbour", "3 3 3 3 3"),
    (Failure.SILENT, "harbour@", "8 8 8 8 8"),
]


@pytest.mark.parametrize(("failure", "dialled", "numbers"), OUTCOMES)
def test_a_call_that_fails(failure: Failure, dialled: str, numbers: str) -> None:
    for progress, number in enumerate(numbers.split()):
        found = outcome(failure, dial_string(dialled), Parameters(progress=progress))
        assert found.number == int(number)
