"""Digests that servers offer: RFC 9530 and its appendix B, RFC 3230, RFC 1864."""

import base64
import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Digest
from adapters.http.answer.digests import document_digest
from adapters.http.answer.fields import Fields

HELLO = b'{"hello": "world"}\n'
SHA256 = "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"  # RFC 9530 appendix B.1, of that body
CHECK = "Q2hlY2sgSW50ZWdyaXR5IQ=="  # RFC 1864 section 2: the digest that reads "Check Integrity!"


def told(*fields: tuple[str, str], whole: bool = True) -> Digest | None:
    return document_digest(Fields((name.encode(), value.encode()) for name, value in fields), whole=whole)


def encoded(name: str, body: bytes) -> str:
    return base64.b64encode(hashlib.new(name, body).digest()).decode()


@pytest.mark.parametrize("name", ["Repr-Digest", "Content-Digest"])
def test_the_example_of_the_rfc(name: str) -> None:
    expected = Digest("sha256", hashlib.sha256(HELLO).hexdigest())
    assert told((name, SHA256)) == expected
    assert told((name, SHA256.upper().replace(SHA256[8:].upper(), SHA256[8:]))) == expected


def test_the_example_of_content_md5() -> None:
    assert told(("Content-MD5", CHECK)) == Digest("md5", b"Check Integrity!".hex())


def test_the_obsolete_digest_field() -> None:
    """RFC 3230 section 4.3.2; `=` also ends the base64."""
    value = f"unixsum=30637, MD5={encoded('md5', b'x')},SHA={encoded('sha1', b'x')}"
    assert told(("Digest", value)) == Digest("sha1", hashlib.sha1(b"x").hexdigest())
    value = f"SHA-256={encoded('sha256', b'x')}"
    assert told(("Digest", value), whole=False) == Digest("sha256", hashlib.sha256(b"x").hexdigest())


def test_the_strongest_counts_and_the_representations_own_before_the_contents() -> None:
    strong = f"sha-512=:{encoded('sha512', b'x')}:"
    assert told(("Repr-Digest", f"md5=:{encoded('md5', b'x')}:, {strong};q=1, {SHA256}")) == Digest(
        "sha512", hashlib.sha512(b"x").hexdigest()
    )
    other = f"sha-256=:{encoded('sha256', b'part')}:"
    assert told(("Content-Digest", other), ("Repr-Digest", SHA256)) == told(("Repr-Digest", SHA256))


@pytest.mark.parametrize("name", ["Content-Digest", "Content-MD5"])
def test_of_a_part_only_what_is_of_the_whole_counts(name: str) -> None:
    """RFC 9530 section 2: Content-Digest is of the content, here a part."""
    value = CHECK if name == "Content-MD5" else SHA256
    assert told((name, value), whole=False) is None
    assert told((name, value), ("Repr-Digest", SHA256), whole=False) == told(("Repr-Digest", SHA256))


@pytest.mark.parametrize(
    "value",
    ["", "sha-256", "sha-256=:RK/0:", "sha-256=RK/0qy18=", "sha-256=:***:", "crc32c=:AAAAAA==:", "=:=:"],
)
def test_what_cannot_be_read_is_none(value: str) -> None:
    assert told(("Repr-Digest", value)) is None


@given(st.text(st.characters(max_codepoint=255, blacklist_characters="\r\n"), max_size=80))
def test_anything_at_all(value: str) -> None:
    fields = Fields([(name, value.encode("latin-1")) for name in (b"Repr-Digest", b"Digest", b"Content-MD5")])
    document_digest(fields, whole=True)
