"""What a far server's author writes can never look like anything but one record."""

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.paths import compile_open_path
from gateway.extract.pipeline import extract
from gateway.extract.plan import Field, Kind, Plan, Style
from gateway.wire.replies import Reply, encode_lines
from gateway.wire.settings import Settings

FORGED = [
    "\r\n200 00001 040 ..\r\n",
    "\n421 00001 040 ..",
    "\u2028",
    "\u2029",
    "\x85",
    "\x9b",
    "\x1b[2J",
    "\xff\xf6",
    "\0",
]
TEXTS = st.lists(st.sampled_from(FORGED) | st.text(max_size=12), max_size=6).map("".join)
VALUES = st.recursive(
    TEXTS | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.booleans() | st.none(),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(TEXTS, inside, max_size=3),
    max_leaves=8,
)
CHARSETS = ["ascii", "latin1", "cp437", "caseswap", "koi8-r", "iso8859-8", "cp1256", "mac-roman", "cp864"]
SETTINGS = st.builds(
    Settings,
    charset=st.sampled_from(CHARSETS) | st.just("cp037"),
    bits=st.sampled_from([7, 8]),
    case=st.sampled_from(["mixed", "upper"]),
    guard=st.booleans(),
    mark=st.booleans(),
).filter(lambda settings: settings.bits == 8 or settings.charset != "cp037")


@given(st.lists(VALUES, min_size=1, max_size=5), st.sampled_from(Kind), st.integers(1, 60), SETTINGS)
def test_no_value_can_forge_a_line(values: list[object], kind: Kind, width: int, settings: Settings) -> None:
    plan = Plan((Field("VALUE", width, kind, (compile_open_path("$.v"),)),), rows=compile_open_path("$[*]"))
    body = json.dumps([{"v": value} for value in values]).encode()
    sheet = extract(body, "application/json", None, plan, Style(settings.printed))
    assert len(sheet.records) == len(values)
    reply = Reply(200, settings, [record.text for record in sheet.records], width)
    _, *lines = encode_lines(reply, b"\r\n", escape_iac=False)
    for line in lines:
        assert line.endswith(b"\r\n")
        assert len(line) == width + settings.mark + 2
        _check_printable(line[:-2], settings)


def _check_printable(data: bytes, settings: Settings) -> None:
    """Of seven bits nothing but ISO 646's printable positions; else no control or format character."""
    top = 0x7E if settings.bits == 7 or settings.charset in {"ascii", "caseswap"} else 0xFF
    assert all(0x20 <= byte <= top and byte != 0x7F for byte in data)
    text = data.decode("ascii" if settings.charset == "caseswap" else settings.charset)
    assert not any(unicodedata.category(each) in {"Cc", "Cf", "Zl", "Zp"} for each in text)


@pytest.mark.parametrize(
    "literal", ["1e999999999", "-1e-999999999", "9" * 20_000, "0." + "1" * 20_000, "1" + "0" * 4_301]
)
@pytest.mark.parametrize("kind", list(Kind))
def test_hostile_numbers_fill_their_field_and_take_no_time(literal: str, kind: Kind) -> None:
    plan = Plan((Field("VALUE", 12, kind, (compile_open_path("$.v"),)),))
    sheet = extract(b'{"v":' + literal.encode() + b"}", "application/json", None, plan, Style())
    assert len(sheet.records[0].text) == 12
