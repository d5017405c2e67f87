"""HTTP status -> error (RFC 9110 section 15) and the table that README.md prints."""

import pytest

from adapters import limits
from adapters.errors import AskedTooOften, CredentialsRefused, FarBusy, HeadraceError, MayBeDone
from adapters.http.statuses import REDIRECT_STATUSES, STATUS_TABLE, status_fault, status_row


def fault(
    status: int, *, changes: bool = False, with_credentials: bool = False, seconds: int | None = None
) -> HeadraceError | None:
    return status_fault(status, changes=changes, with_credentials=with_credentials, seconds=seconds)


# Status: reply code for a call that asks, and for one that changes something (CONTRACT section 2)
CODES = {
    **dict.fromkeys((200, 201, 202, 203, 204, 205, 226, 299), (200, 200)),
    **dict.fromkeys((300, 305, 306, 399, 101, 199, 600, 999), (551, 558)),
    **dict.fromkeys((401, 407), (533, 533)),
    **dict.fromkeys((402, 403, 451), (532, 532)),
    **dict.fromkeys((404, 410), (550, 550)),
    **dict.fromkeys((405, 417, 424, 426, 428), (502, 502)),
    **dict.fromkeys((406, 415), (551, 551)),
    408: (420, 558),
    **dict.fromkeys((409, 412), (555, 555)),
    **dict.fromkeys((413, 431), (552, 552)),
    **dict.fromkeys((421, 423, 425), (450, 450)),
    429: (429, 429),
    **dict.fromkeys((400, 411, 414, 416, 418, 422, 499), (501, 501)),
    **dict.fromkeys((500, 502, 504, 507, 508, 511, 599), (450, 558)),
    **dict.fromkeys((501, 505), (502, 558)),
    503: (450, 450),
}


@pytest.mark.parametrize(("status", "codes"), CODES.items())
def test_codes(status: int, codes: tuple[int, int]) -> None:
    for changes in (False, True):
        found = fault(status, changes=changes)
        assert (found.code if found is not None else 200) == codes[changes]
    row = status_row(status)
    assert (row.code, row.changing_code) == codes


def test_every_status_has_a_row_and_only_one() -> None:
    single = [status for row in STATUS_TABLE for status in row.statuses]
    assert len(single) == len(set(single))
    classes = [row.hundreds for row in STATUS_TABLE if row.hundreds]
    assert sorted(classes) == [1, 2, 3, 4, 5, 6]
    assert all(bool(row.statuses) != bool(row.hundreds) for row in STATUS_TABLE)
    for status in range(100, 1000):
        assert status_row(status) in STATUS_TABLE


def test_redirects_and_not_modified_are_no_errors() -> None:
    for status in {*REDIRECT_STATUSES, 304}:
        assert fault(status) is None


@pytest.mark.parametrize("status", range(100, 1000))
def test_no_4xx_reply_where_a_change_may_have_been_made(status: int) -> None:
    """CONTRACT section 2, code 558: a 5xx other than 503 is 558, whatever else it could be."""
    found = fault(status, changes=True, seconds=5)
    if 500 <= status <= 599 and status != 503:
        assert type(found) is MayBeDone
    if found is not None and found.code // 100 == 4:
        assert status in (421, 423, 425, 429, 503)


def test_forbidden_with_credentials_is_about_them() -> None:
    assert type(fault(403, with_credentials=True)) is CredentialsRefused
    found = fault(403)
    assert found is not None
    assert found.code == 532


@pytest.mark.parametrize("changes", [False, True])
def test_seconds(changes: bool) -> None:
    found = fault(429, changes=changes, seconds=7)
    assert isinstance(found, AskedTooOften)
    assert found.seconds == 7
    found = fault(429, changes=changes)
    assert isinstance(found, AskedTooOften)
    assert found.seconds == limits.RETRY_DEFAULT_SECONDS, "a 429's record always ends in the seconds"
    found = fault(429, changes=changes, seconds=0)
    assert isinstance(found, AskedTooOften)
    assert found.seconds == 0
    found = fault(503, changes=changes, seconds=7)
    assert isinstance(found, FarBusy)
    assert found.seconds == 7
    found = fault(503, changes=changes)
    assert isinstance(found, FarBusy)
    assert found.seconds is None


def test_labels_and_sentences_fit_their_columns() -> None:
    for row in STATUS_TABLE:
        assert row.label
        assert row.label.isascii()
        assert len(row.sentence) <= 40
        assert bool(row.sentence) == (row.fault is not None)
