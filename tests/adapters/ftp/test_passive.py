"""227 and 229: the case under tests/cases, RFC 1123 section 4.1.2.6, RFC 2428 section 3."""

import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import WrongDocument
from adapters.ftp.passive import extended_port, passive_port

CASE = Path(__file__).parents[2] / "cases" / "ftp-empty-dir-550-and-pasv-address"


@pytest.mark.parametrize(
    ("line", "peer", "expected"), json.loads((CASE / "expected.json").read_text())["pasv"]
)
def test_the_case(line: str, peer: str, expected: str) -> None:
    text = line[4:]
    if expected == "error":
        with pytest.raises(WrongDocument):
            passive_port(text)
    else:
        assert f"{peer}:{passive_port(text)}" == expected


@pytest.mark.parametrize(
    ("text", "port"),
    [
        ("Entering Extended Passive Mode (|||6446|)", 6446),  # RFC 2428 section 3's own example
        ("Entering Extended Passive Mode (!!!6446!)", 6446),  # any delimiter from 33 to 126
        ("(see below) Extended Passive Mode OK (|||1024|)", 1_024),
        ("(|||65535|)", 65_535),
    ],
)
def test_extended(text: str, port: int) -> None:
    assert extended_port(text) == port


@pytest.mark.parametrize(
    "text",
    [
        "",
        "(|||0|)",
        "(|||25|)",
        "(|||1023|)",
        "(|||65536|)",
        "(|||99999|)",
        "(||6446|)",
        "(|||6446!)",
        "(|1|10.0.0.1|6446|)",
        "6446",
    ],
)
def test_no_extended_port(text: str) -> None:
    with pytest.raises(WrongDocument):
        extended_port(text)


@pytest.mark.parametrize(
    "text", ["", "(1,2,3,4,5)", "(1,2,3,4,0,0)", "(1,2,3,4,3,255)", "(300,2,3,4,5,6)", "x", "1,2,3,4,5,6666"]
)
def test_no_passive_port(text: str) -> None:
    with pytest.raises(WrongDocument):
        passive_port(text)


@given(
    st.integers(0, 255), st.integers(0, 255), st.text(st.characters(exclude_categories=["N"]), max_size=20)
)
def test_any_port_wherever_it_stands(high: int, low: int, around: str) -> None:
    text = f"{around}(10,0,0,1, {high},{low}){around}"
    if high >= 4:  # from 1,024 on: RFC 2577 section 3
        assert passive_port(text) == high * 256 + low


@given(st.text())
def test_no_text_raises_anything_else(text: str) -> None:
    for read in (passive_port, extended_port):
        try:
            assert 1_024 <= read(text) < 65_536
        except WrongDocument:
            assert re.fullmatch(r".*", text, re.DOTALL)
