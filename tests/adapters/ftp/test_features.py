"""FEAT: RFC 2389 section 3.2, RFC 3659 sections 3.3, 4.3, 7.8; HASH: draft-bryan-ftpext-hash, from memory."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.ftp.features import Features, read_features


def test_without_any() -> None:
    assert read_features([]) == Features(facts=False, size=False, modified=False)
    assert Features().size  # where FEAT itself is missing, SIZE may be there all the same


@pytest.mark.parametrize("line", [" MLST type*;size*;", " MLST", " mlst Type*;", "MLSD"])
def test_facts(line: str) -> None:
    assert read_features([line]).facts


def test_the_others() -> None:
    found = read_features([" SIZE", " MDTM", " UTF8", " REST STREAM"])
    assert found == Features(size=True, modified=True, utf8=True)


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ([" HASH SHA-256*;SHA-1;MD5"], ("sha256", "HASH", "")),
        ([" HASH MD5;SHA-1*;SHA-256;"], ("sha256", "HASH", "OPTS HASH SHA-256")),  # what proftpd says
        ([" HASH SHA-512;CRC32*"], ("sha512", "HASH", "OPTS HASH SHA-512")),
        ([" HASH CRC32*", " XMD5"], ("md5", "XMD5", "")),
        ([" XMD5", " XSHA256 filename;start;end", " XCRC"], ("sha256", "XSHA256", "")),
        ([" XCRC"], ("", "", "")),
    ],
)
def test_digests(lines: list[str], expected: tuple[str, str, str]) -> None:
    found = read_features(lines)
    assert (found.digest, found.digest_command, found.digest_option) == expected


@given(st.lists(st.text()))
def test_no_lines_raise(lines: list[str]) -> None:
    read_features(lines)
