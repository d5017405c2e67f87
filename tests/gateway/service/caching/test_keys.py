"""What two calls share if one answer serves both: RFC 9111 section 2 (cache key)."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.port import Call, CredentialKind, Credentials, Reach, Validators
from gateway.service.caching.keys import key_of, place_of

CALL = Call(
    "https://far.example/a?b=1",
    headers=(("X-One", "1"), ("X-Two", "2")),
    accept="application/json",
    credentials=Credentials(CredentialKind.BASIC, "jo", "hunter2"),
    ca="ca.pem",
)


@pytest.mark.parametrize(
    "other",
    [
        replace(CALL, url="https://far.example/a?b=2"),
        replace(CALL, url="https://far.example/A?b=1"),
        replace(CALL, url="http://far.example/a?b=1"),
        replace(CALL, method="HEAD"),
        replace(CALL, headers=(("X-One", "1"),)),
        replace(CALL, headers=(("X-One", "12"), ("X-Two", ""))),
        replace(CALL, accept=""),
        replace(CALL, body=b""),
        replace(CALL, media_type="text/plain"),
        replace(CALL, ca=None),
        replace(CALL, credentials=None),
        replace(CALL, credentials=Credentials(CredentialKind.BASIC, "jo", "hunter3")),
        replace(CALL, credentials=Credentials(CredentialKind.BASIC, "johunter", "2")),
        replace(CALL, credentials=Credentials(CredentialKind.HEADER, "jo", "hunter2")),
    ],
)
def test_what_changes_the_answer_changes_the_key(other: Call) -> None:
    assert key_of(other) != key_of(CALL)


@pytest.mark.parametrize(
    "other",
    [
        replace(CALL, url="https://far.example/a?b=1#part"),
        replace(CALL, headers=(("x-two", "2"), ("x-one", "1"))),  # RFC 9110 sections 5.1 and 5.3
        replace(CALL, reach=Reach(frozenset({("far.example", 443)}))),
        replace(CALL, validators=Validators('"a"')),
        replace(CALL, body_limit=1),
    ],
)
def test_what_does_not_leaves_it(other: Call) -> None:
    assert key_of(other) == key_of(CALL)


def test_the_order_of_one_names_values_counts() -> None:
    """RFC 9110 section 5.3: field lines of the same name are a list."""
    one = replace(CALL, headers=(("A", "1"), ("a", "2")))
    other = replace(CALL, headers=(("a", "2"), ("A", "1")))
    assert key_of(one) != key_of(other)


def test_the_first_half_is_the_place() -> None:
    for url in ("https://far.example/a", "https://far.example/a?x", "https://far.example/a#y?z"):
        assert key_of(Call(url)).startswith(place_of(url))
        assert place_of(url) == place_of(CALL.url)
    assert place_of("https://far.example/ab") != place_of(CALL.url)


@given(st.text(), st.text(), st.text())
def test_keys_are_hex_whatever_the_call_holds(url: str, header: str, secret: str) -> None:
    call = Call(url, headers=((header, header),), credentials=Credentials(CredentialKind.QUERY, url, secret))
    key = key_of(call)
    assert len(key) == 64
    assert set(key) <= set("0123456789abcdef")
