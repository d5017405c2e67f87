"""Replies with digests: the forms are from memory of the draft and of servers; the digest is of `hashlib`."""

import hashlib

import pytest

from adapters.ftp.digests import LENGTHS, read_digits

DIGITS = hashlib.sha256(b"invented").hexdigest()


@pytest.mark.parametrize(
    "text",
    [
        f"SHA-256 0-8 {DIGITS} name",
        f"Computing SHA-256 digest SHA-256 0-8 {DIGITS.upper()} name",
        DIGITS.upper(),
        f'"name" {DIGITS}',
    ],
)
def test_digits(text: str) -> None:
    assert read_digits(text, "sha256") == DIGITS


@pytest.mark.parametrize(
    "text", ["", "SHA-256 0-8", DIGITS[1:], "0" + DIGITS, DIGITS.replace(DIGITS[0], "g")]
)
def test_no_digits(text: str) -> None:
    assert read_digits(text, "sha256") is None


@pytest.mark.parametrize(("algorithm", "length"), LENGTHS.items())
def test_lengths(algorithm: str, length: int) -> None:
    assert len(hashlib.new(algorithm).hexdigest()) == length
