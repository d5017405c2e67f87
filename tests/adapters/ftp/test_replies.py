"""The table of replies: RFC 959 section 4.2, RFC 2228 section 5, RFC 2428, CONTRACT section 2."""

import pytest

from adapters.errors import MayBeDone, NameNotAllowed, NotAllowed, NotThere
from adapters.ftp.replies import (
    FTP_OUTCOME_TABLE,
    REPLY_TABLE,
    reply_fault,
    reply_row,
    tells_of_no_right,
)

# Reply -> the contract's code, by the meanings in RFC 959 section 4.2.1; 430 and 522 are RFC 2428's and
# common practice, 533 to 536 RFC 2228's.
EXPECTED = {
    110: 200, 120: 200, 125: 200, 150: 200,
    200: 200, 202: 200, 211: 200, 226: 200, 227: 200, 229: 200, 230: 200, 234: 200, 250: 200, 257: 200,
    331: 200, 350: 200, 332: 533,
    421: 450, 425: 425, 426: 426, 430: 533, 431: 450, 450: 450, 451: 450, 452: 450, 499: 450,
    500: 502, 501: 502, 502: 502, 503: 502, 504: 502, 522: 502, 521: 532, 530: 533, 532: 533, 533: 532,
    534: 532, 536: 532, 550: 550, 551: 502, 552: 552, 553: 553, 599: 502,
}  # fmt: skip


@pytest.mark.parametrize(("reply", "code"), EXPECTED.items())
def test_codes(reply: int, code: int) -> None:
    fault = reply_fault(reply)
    assert (200 if fault is None else fault.code) == code
    assert reply_row(reply).code == code


def test_every_reply_has_exactly_one_row() -> None:
    single = [reply for row in REPLY_TABLE for reply in row.replies]
    assert len(single) == len(set(single))
    assert sorted(row.hundreds for row in REPLY_TABLE if row.hundreds) == [1, 2, 3, 4, 5]
    assert all(bool(row.replies) != bool(row.hundreds) for row in REPLY_TABLE)


def test_sentences_fit_a_client() -> None:
    for row in REPLY_TABLE:
        assert row.label
        assert row.meaning
        assert (row.fault is None) == (not row.sentence)
        assert len(row.sentence) <= 40
        assert row.sentence.isascii()
        assert row.changing_code == row.code


def test_what_is_no_reply() -> None:
    assert [row.changing_code for row in FTP_OUTCOME_TABLE].count(MayBeDone.code) == 1
    assert all(row.code in {425, 426} for row in FTP_OUTCOME_TABLE)


# Texts of servers that the tests run, and two more from memory.
@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Failed to change directory.", NotThere),
        ("nope: No such file or directory", NotThere),
        ("Can't check for file existence", NotThere),
        ("'nope' cannot be listed", NotThere),
        ("x: Permission denied", NotAllowed),
        ("Permission denied.", NotAllowed),
        ("Access is denied.", NotAllowed),
        ("Not enough privileges.", NotAllowed),
        ("Permission denied, or no such file", NotThere),
    ],
)
def test_550_by_its_text(text: str, kind: type[Exception]) -> None:
    assert type(reply_fault(550, text)) is kind
    assert tells_of_no_right(text) is (kind is NotAllowed)


def test_550_where_something_was_to_be_put() -> None:
    assert type(reply_fault(550, "Could not create file.", placing=True)) is NotAllowed
    assert type(reply_fault(553, "Could not create file.", placing=True)) is NameNotAllowed
    assert type(reply_fault(553, "Can't open that file: Permission denied")) is NotAllowed
