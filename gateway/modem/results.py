"""Result or text -> the bytes that the terminal gets (V.250 section 5.7 and its table of result codes)."""

from enum import Enum

from gateway.modem.dialling import DialString
from gateway.modem.parameters import Parameters


class Result(Enum):
    """What a modem says: the words, the number, and when."""

    OK = ("OK", 0, "The commands of the line are done")
    CONNECT = ("CONNECT", 1, "The line is now the call's; from X1 on with the speed, as in `CONNECT 9600`")
    RING = ("RING", 2, "Somebody calls")
    NO_CARRIER = ("NO CARRIER", 3, "The call is over, or did not come about")
    ERROR = ("ERROR", 4, "A command is not known, not possible now, or the line is too long")
    NO_DIALTONE = ("NO DIALTONE", 6, "There is no way out of the gateway now (X2, X4, or W in the number)")
    BUSY = ("BUSY", 7, "The far side takes no more calls now (X3, X4)")
    NO_ANSWER = ("NO ANSWER", 8, "Nobody answered in time (only with @ in what was dialled)")

    def __init__(self, words: str, number: int, meaning: str) -> None:
        self.words = words
        self.number = number
        self.meaning = meaning


class Failure(Enum):
    """Why a call did not come about."""

    REFUSED = "refused, not allowed, not known, or broken off"
    BUSY = "the far side takes no more calls now"
    SILENT = "nobody answered in time"
    NO_LINE = "there is no way out now"


def outcome(failure: Failure, dialled: DialString, parameters: Parameters) -> Result:
    """What is said of a call that failed, as X and what was dialled allow."""
    if failure is Failure.BUSY and parameters.progress in {3, 4}:
        return Result.BUSY
    if failure is Failure.NO_LINE and (parameters.progress in {2, 4} or dialled.tone_wanted):
        return Result.NO_DIALTONE
    if failure is Failure.SILENT and dialled.quiet_wanted:
        return Result.NO_ANSWER
    return Result.NO_CARRIER


def result_bytes(result: Result, parameters: Parameters, speed: int) -> bytes:
    """A result code in the form that V asks for; none with Q1.

    The number of CONNECT with a speed is each maker's choice (V.250 table of result codes): it stays 1 here.
    """
    if not parameters.verbose:
        return _framed(str(result.number), parameters)
    with_speed = result is Result.CONNECT and parameters.progress > 0
    return _framed(f"{result.words} {speed}" if with_speed else result.words, parameters)


def report_bytes(text: str, parameters: Parameters) -> bytes:
    """An extended result code, such as `+ILRR: 9600`: it has no number; none with Q1 (section 5.7.2)."""
    return _framed(text, parameters)


def _framed(text: str, parameters: Parameters) -> bytes:
    end, feed = bytes((parameters.end,)), bytes((parameters.feed,))
    if parameters.quiet:
        return b""
    if not parameters.verbose:
        return text.encode("ascii") + end
    return end + feed + text.encode("ascii") + end + feed


def text_bytes(text: str, parameters: Parameters) -> bytes:
    """Information text. Q does not hold it back (section 6.2.5)."""
    line_end = bytes((parameters.end, parameters.feed))
    return (line_end if parameters.verbose else b"") + text.encode("ascii") + line_end
