"""Content-Range: the examples of RFC 9110 sections 14.4, 15.3.7 and 15.5.17, and what makes no sense."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.http.answer.content_range import ContentRange, content_range, unsatisfied_size


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("bytes 42-1233/1234", ContentRange(42, 1233, 1234)),  # section 14.4, as are the next five
        ("bytes 42-1233/*", ContentRange(42, 1233, None)),
        ("bytes 0-499/1234", ContentRange(0, 499, 1234)),
        ("bytes 500-999/1234", ContentRange(500, 999, 1234)),
        ("bytes 500-1233/1234", ContentRange(500, 1233, 1234)),
        ("bytes 734-1233/1234", ContentRange(734, 1233, 1234)),
        ("bytes 21010-47021/47022", ContentRange(21010, 47021, 47022)),  # section 15.3.7.1
        ("Bytes 0-0/1", ContentRange(0, 0, 1)),  # range units are case-blind (section 14.1)
    ],
)
def test_examples(value: str, expected: ContentRange) -> None:
    assert content_range(value) == expected


@pytest.mark.parametrize(
    "value",
    [
        None,
        "",
        "bytes",
        "bytes */1234",
        "bytes 5-4/10",
        "bytes 0-10/10",  # "a last-pos value greater than or equal to its complete length is invalid", 14.4
        "bytes 0-9/9",
        "bytes=0-9/10",
        "seconds 0-9/10",
        "bytes -5-9/10",
        "bytes 0-9/ten",
        "bytes 0-9",
        "bytes 0-9999999999999999999/*",
        "bytes ٠-٩/10",
    ],
)
def test_what_makes_no_sense(value: str | None) -> None:
    assert content_range(value) is None


def test_a_size_without_a_range() -> None:
    assert unsatisfied_size("bytes */1234") == 1234  # section 14.4
    assert unsatisfied_size("bytes */47022") == 47022  # section 15.5.17
    for value in (None, "", "bytes */*", "bytes 0-1/2", "bytes */-1"):
        assert unsatisfied_size(value) is None


@given(st.text(max_size=40))
def test_anything_at_all(value: str) -> None:
    part = content_range(value)
    assert part is None or 0 <= part.first <= part.last
