"""What is equal is said by RFC 3986 section 6.2.2 and its section 5.4 for dot segments."""

import json
from urllib.parse import urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.recorded.exchange import Asked
from adapters.recorded.matching import NOTHING, form_of, key_of, normal

JSON = "application/json; charset=utf-8"
FORM = "application/x-www-form-urlencoded"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("HTTP://www.EXAMPLE.com/", "http://www.example.com/"),  # section 6.2.2.1
        ("http://example.com/a%c2%b1b", "http://example.com/a%C2%B1b"),
        ("eXAMPLE://a/./b/../b/%63/%7bfoo%7d", "example://a/b/c/%7Bfoo%7D"),  # section 6.2.2
        ("http://example.com/~smith", "http://example.com/%7Esmith"),  # section 6.2.2.2
        ("http://example.com", "http://example.com/"),  # section 6.2.3
        ("http://example.com:/", "http://example.com:80/"),
        ("https://example.com:443/", "https://example.com/"),
        ("ftp://example.com:21/a", "ftp://example.com/a"),
        ("http://[::1]:80/", "http://[::1]/"),
        ("http://a.example/b/%2e%2E/c", "http://a.example/c"),
        ("http://a.example/b#top", "http://a.example/b"),
        ("http://a.example/b?x=1&y=2", "http://a.example/b?y=2&x=1"),
        ("http://a.example/b?x=%61", "http://a.example/b?x=a"),
        ("http://a.example/b?key=***&x=1", "http://a.example/b?x=1"),
        ("http://a.example/b?key=***", "http://a.example/b"),
    ],
)
def test_the_same(one: str, other: str) -> None:
    assert normal(one) == normal(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("http://a.example/b", "https://a.example/b"),
        ("http://a.example:8080/b", "http://a.example/b"),
        ("http://[::1]/", "http://[::1:80]/"),
        ("http://a.example/B", "http://a.example/b"),
        ("http://a.example/a%2Fb", "http://a.example/a/b"),  # section 2.2: reserved
        ("http://a.example/a//b", "http://a.example/a/b"),
        ("http://a.example/a//b/.", "http://a.example/a/b/"),
        ("http://a.example/b", "http://a.example/b/"),
        ("http://a.example/b?x=1", "http://a.example/b?x=2"),
        ("http://a.example/b?x=1", "http://a.example/b?x=1&x=1"),
        ("http://a.example/b?x=a%26y", "http://a.example/b?x=a&y"),
        ("http://a.example/b?x=a%2Bb", "http://a.example/b?x=a+b"),
        ("http://a.example/?x=1", "http://a.example/b?x=1"),
    ],
)
def test_not_the_same(one: str, other: str) -> None:
    assert normal(one) != normal(other)


@pytest.mark.parametrize(
    ("path", "expected"),
    [  # RFC 3986 section 5.4, as paths that are merged with /b/c/d;p already
        ("/b/c/./g", "/b/c/g"),
        ("/b/c/g/", "/b/c/g/"),
        ("/b/c/.", "/b/c/"),
        ("/b/c/./", "/b/c/"),
        ("/b/c/..", "/b/"),
        ("/b/c/../", "/b/"),
        ("/b/c/../g", "/b/g"),
        ("/b/c/../..", "/"),
        ("/b/c/../../g", "/g"),
        ("/b/c/../../../g", "/g"),
        ("/./g", "/g"),
        ("/../g", "/g"),
        ("/b/c/g.", "/b/c/g."),
        ("/b/c/.g", "/b/c/.g"),
        ("/b/c/g..", "/b/c/g.."),
        ("/b/c/..g", "/b/c/..g"),
        ("/b/c/./../g", "/b/g"),
        ("/b/c/./g/.", "/b/c/g/"),
        ("/b/c/g/./h", "/b/c/g/h"),
        ("/b/c/g/../h", "/b/c/h"),
        ("/b/c/g;x=1/./y", "/b/c/g;x=1/y"),
        ("/b/c/g;x=1/../y", "/b/c/y"),
    ],
)
def test_dot_segments(path: str, expected: str) -> None:
    assert normal(f"http://a{path}") == f"http://a{expected}"


@given(st.lists(st.tuples(st.text(max_size=5), st.text(max_size=5)), max_size=5).flatmap(
    lambda pairs: st.tuples(st.just(pairs), st.permutations(pairs))
))  # fmt: skip
def test_a_query_has_no_order(
    both: tuple[list[tuple[str, str]], list[tuple[str, str]]],
) -> None:
    one, other = (urlencode(each, encoding="utf-8", errors="replace") for each in both)
    assert normal(f"http://a.example/?{one}") == normal(f"http://a.example/?{other}")


def test_a_folder_has_a_slash_or_not() -> None:
    urls = "ftp://a.example/b", "ftp://a.example/b/"
    assert len({key_of(Asked("LIST", url)) for url in urls}) == 1
    assert len({key_of(Asked("MKDIR", url)) for url in urls}) == 1
    assert len({key_of(Asked("READ", url)) for url in urls}) == 2


def test_the_other_end_counts_as_much() -> None:
    ends = "ftp://a.example/b", "ftp://a.example:21/./b", "ftp://a.example/c"
    keys = [key_of(Asked("COPY", "ftp://a.example/", to=end)) for end in ends]
    assert keys[0] == keys[1] != keys[2]


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@given(values)
def test_json_is_compared_by_value(value: object) -> None:
    one = json.dumps(value, sort_keys=True, indent=1).encode()
    other = json.dumps(value, ensure_ascii=False).encode("utf-8", "surrogatepass")
    assert form_of([one], JSON).is_like(form_of([other[:3], other[3:]], "application/x+json"))


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (b"1", b"1.0", True),
        (b"100", b"1E2", True),
        (b"0", b"-0.0", True),
        (b"0.10", b"1e-1", True),
        (b"1e999999999", b"1e999999998", False),
        (b"9007199254740993", b"9007199254740992", False),
        (b"1", b"true", False),
        (b"1", b'"1"', False),
        (b"null", b'"null"', False),
        (b"[]", b"{}", False),
        (b'[["a",1]]', b'{"a":1}', False),
        (b"[1,2]", b"[2,1]", False),
        (b'{"a":1,"b":2}', b'{"b":2,"a":1}', True),
        (b'"\\u00e9"', '"é"'.encode(), True),
        (b"{", b"{ ", False),  # no JSON: as bytes
        (b"[" * 100_000, b"[" * 100_000, True),
    ],
)
def test_json(one: bytes, other: bytes, same: bool) -> None:
    assert form_of([one], JSON).is_like(form_of([other], JSON)) is same


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (b"a=1&b=2", b"b=2&a=1", True),
        (b"a=+x", b"a=%20x", True),  # the form encoding's blank
        (b"a=%FF", b"a=%FE", False),
        (b"a=1&a=1", b"a=1", False),
        (b"a=", b"", False),
    ],
)
def test_forms(one: bytes, other: bytes, same: bool) -> None:
    assert form_of([one], FORM).is_like(form_of([other], FORM)) is same


def test_other_bodies_are_the_same_by_their_bytes() -> None:
    assert not form_of([b'{"a":1}'], "text/plain").is_like(form_of([b'{"a": 1}'], "text/plain"))
    assert form_of([b"ab", b"c"]).is_like(form_of([b"a", b"bc"]))
    assert form_of([]) == form_of([b""], JSON) == NOTHING
    size = limits.RECORDED_FORM + 1
    large = form_of([b" " * size], JSON)
    assert (large.kind, large.size) == ("bytes", size)
