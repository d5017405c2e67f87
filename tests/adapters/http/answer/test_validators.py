"""Validators: which can be sent back, which are strong enough for a range (RFC 9110 sections 8.8, 13.1.5)."""

from datetime import UTC, datetime

import pytest

from adapters.http.answer.fields import Fields
from adapters.http.answer.validators import range_validator, strong_etag, validators
from adapters.port import Validators

NOW = datetime(2026, 11, 6, tzinfo=UTC)
MODIFIED = "Tue, 15 Nov 1994 12:45:26 GMT"  # section 8.8.2


def fields(**values: str) -> Fields:
    return Fields(
        (name.replace("_", "-").encode(), value.encode("latin-1")) for name, value in values.items()
    )


def test_they_are_kept_as_they_came() -> None:
    assert validators(fields(etag='W/"xyzzy"', last_modified=MODIFIED)) == Validators('W/"xyzzy"', MODIFIED)
    assert validators(fields(etag="", last_modified="a\x01b")) == Validators()


@pytest.mark.parametrize(
    ("tag", "strong"),
    [
        ('"xyzzy"', True),
        ('W/"xyzzy"', False),
        ('""', True),
        ("xyzzy", False),
        ('"a b"', False),
        ('"a"b"', False),
    ],
)
def test_strong_entity_tags(tag: str, strong: bool) -> None:
    """The examples of section 8.8.3, and what is no entity tag."""
    assert strong_etag(Validators(tag)) == (tag if strong else None)
    assert range_validator(fields(etag=tag), NOW) == (tag if strong else None)


@pytest.mark.parametrize(
    ("date", "usable"),
    [
        ("Tue, 15 Nov 1994 12:46:26 GMT", True),
        ("Tue, 15 Nov 1994 12:46:25 GMT", False),  # RFC 7232 section 2.2.2 wants sixty seconds
        ("Tue, 15 Nov 1994 12:45:26 GMT", False),  # the same second: it may change once more within it
        ("", False),
        ("yesterday", False),
    ],
)
def test_a_date_is_strong_where_it_is_old_enough(date: str, usable: bool) -> None:
    told = range_validator(fields(last_modified=MODIFIED, date=date), NOW)
    assert told == (MODIFIED if usable else None)


def test_a_weak_tag_is_not_made_good_by_a_date() -> None:
    """Section 13.1.5: a date only where there is no entity tag."""
    told = fields(etag='W/"1"', last_modified=MODIFIED, date="Wed, 16 Nov 1994 12:45:26 GMT")
    assert range_validator(told, NOW) is None
