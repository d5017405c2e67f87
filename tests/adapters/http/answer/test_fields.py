"""Header fields by name (RFC 9110 section 5)."""

from adapters.http.answer.fields import Fields

FIELDS = Fields([(b"Vary", b" Accept "), (b"vARY", b"Cookie"), (b"ETag", b'"\xe9"'), (b"X", b"")])


def test_names_are_case_blind_and_values_keep_their_order() -> None:
    assert FIELDS.all("vary") == ["Accept", "Cookie"]
    assert FIELDS.first("vary") == "Accept"
    assert FIELDS.joined("vary") == "Accept, Cookie"


def test_what_is_absent_is_not_what_is_empty() -> None:
    assert FIELDS.first("x") == ""
    assert FIELDS.first("y") is None
    assert FIELDS.all("y") == []
    assert FIELDS.joined("y") == ""


def test_every_byte_is_a_character() -> None:
    """Section 5.5: obs-text is opaque data."""
    assert FIELDS.first("etag") == '"é"'
