"""Positions against tomllib: the same paths, and at each place the text of that key or value."""

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.document.positions import Cause, LineIndex, Path, characters, find_positions

# A writer of TOML in as many spellings as TOML 1.0.0 has for the same thing.

_TEXT = st.text(st.characters(codec="utf-8"), max_size=12)
_KEY = st.one_of(st.from_regex(r"[A-Za-z0-9_-]{1,8}", fullmatch=True), _TEXT)
_GAPS = st.sampled_from(["", " ", "\t", "  "])
_LINES = st.sampled_from(["", " ", "\n", " # a ] comment }\n\t", "\n\n"])
_NUMBERS = st.sampled_from(
    [
        *("0", "-17", "1_000", "0xFF", "1.50", "-0.0", "6.02e23", "inf", "true", "false"),
        *("1979-05-27T07:32:00Z", "1979-05-27 07:32:00", "1979-05-27", "07:32:00.5"),
    ]
)


def escaped(text: str, mark: str) -> str:
    out = ""
    for each in text:
        if each in {'"', "\\"}:
            out += "\\" + each
        elif each == "\n" and mark == '"""':
            out += "\n"
        elif each != "\t" and (ord(each) < 0x20 or ord(each) == 0x7F):
            out += f"\\u{ord(each):04x}"
        elif ord(each) > 0xFFFF:
            out += f"\\U{ord(each):08X}"
        else:
            out += each
    return out


@st.composite
def strings(draw: st.DrawFn, text: str, *, long: bool = True) -> str:
    forms = [f'"{escaped(text, "")}"']
    plain = all(each == "\t" or (ord(each) >= 0x20 and ord(each) != 0x7F) for each in text)
    if plain and "'" not in text:
        forms.append(f"'{text}'")
    if long:
        forms.append(f'"""\n{escaped(text, chr(34) * 3)}"""')
        forms.append(f'"""\\\n  {escaped(text, chr(34) * 3)}\\\n"""' if not text[:1].isspace() else '""""""')
        lined = all(each in "\t\n" or (ord(each) >= 0x20 and ord(each) != 0x7F) for each in text)
        if lined and "'''" not in text and not text.endswith("'"):
            forms.append(f"'''\n{text}'''")
    return draw(st.sampled_from(forms))


@st.composite
def keys(draw: st.DrawFn, names: list[str]) -> str:
    words = []
    for name in names:
        bare = name.isascii() and name.replace("-", "a").replace("_", "a").isalnum()
        words.append(name if bare and draw(st.booleans()) else draw(strings(name, long=False)))
    gap = draw(_GAPS)
    return f"{gap}.{gap}".join(words)


@st.composite
def values(draw: st.DrawFn, depth: int) -> str:
    choice = draw(st.integers(0, 3 if depth else 1))
    if choice == 0:
        return draw(_NUMBERS)
    if choice == 1:
        return draw(strings(draw(_TEXT)))
    if choice == 2:
        parts = draw(st.lists(values(depth - 1), max_size=3))
        text = "[" + draw(_LINES)
        for index, part in enumerate(parts):
            last = index == len(parts) - 1
            comma = "" if last and draw(st.booleans()) else ","
            text += part + draw(_LINES) + comma + draw(_LINES)
        return text + "]"
    names = draw(st.lists(_KEY, max_size=3, unique=True))
    pairs = [
        f"{draw(keys([name, 'z'][: draw(st.integers(1, 2))]))} = {draw(values(depth - 1))}" for name in names
    ]
    return "{" + draw(_GAPS) + ", ".join(pairs) + draw(_GAPS) + "}"


@st.composite
def documents(draw: st.DrawFn) -> str:
    """Statements that may repeat each other; those that tomllib refuses are left out again."""
    text = ""
    for _ in range(draw(st.integers(0, 8))):
        names = draw(st.lists(st.sampled_from(["a", "b", "c", "d e", "f.g", "ü"]), min_size=1, max_size=3))
        form = draw(st.integers(0, 3))
        line = draw(_GAPS)
        if form == 0:
            line += f"[{draw(_GAPS)}{draw(keys(names))}{draw(_GAPS)}]"
        elif form == 1:
            line += f"[[{draw(keys(names))}]]"
        else:
            line += f"{draw(keys(names))}{draw(_GAPS)}={draw(_GAPS)}{draw(values(2))}"
        line += draw(st.sampled_from(["\n", " # comment = [\n", "\t\n\n"]))
        try:
            tomllib.loads(text + line)
        except tomllib.TOMLDecodeError:
            continue
        text += line
    return text


def paths(value: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    if path:
        yield path, value
    if isinstance(value, dict):
        for key, each in value.items():
            yield from paths(each, (*path, key))
    elif isinstance(value, list):
        for index, each in enumerate(value):
            yield from paths(each, (*path, index))


@given(documents())
def test_paths_are_those_of_tomllib_and_the_text_there_is_the_key(text: str) -> None:
    expected = dict(paths(tomllib.loads(text)))
    positions = find_positions(text)
    assert positions.lost is None
    assert set(positions.values) == set(expected)
    assert set(positions.keys) == {path for path in expected if isinstance(path[-1], str)}
    assert not positions.repeated
    lines = text.split("\n")
    for path, spot in positions.keys.items():
        word = text[spot.start : spot.end]
        assert list(tomllib.loads(f"{word} = 1")) == [path[-1]]
        assert lines[spot.line - 1][spot.column - 1 : spot.end_column - 1] == word
    for path, spot in positions.values.items():
        written = text[spot.start : spot.end]
        if not isinstance(expected[path], dict | list):
            assert str(tomllib.loads(f"x = {written}")["x"]) == str(expected[path])
        assert lines[spot.line - 1][spot.column - 1 : spot.end_column - 1] == written.split("\n")[0]


@given(_TEXT, st.data())
def test_characters_of_a_string_are_those_of_tomllib(text: str, data: st.DataObject) -> None:
    literal = data.draw(strings(text))
    found = characters(literal)
    assert "".join(each for each, _ in found) == tomllib.loads(f"x = {literal}")["x"]
    assert [offset for _, offset in found] == sorted({offset for _, offset in found})


@given(st.text(st.sampled_from("[]{}=\"'\\.,#\n \tab1-u"), max_size=60))
def test_any_text_comes_to_an_end_with_places_inside_it(text: str) -> None:
    positions = find_positions(text)
    for spot in [*positions.keys.values(), *positions.values.values()]:
        assert 0 <= spot.start <= spot.end <= len(text)
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert positions.lost is None


def test_places_of_a_small_document() -> None:
    text = '[source.tides]\nargs = ["a", "b"]\nauth.header = "X"\n[[source.tides.field]]\nname = \'N\'\n'
    positions = find_positions(text)
    assert {path: spot[:3] for path, spot in positions.keys.items()} == {
        ("source",): (1, 2, 8),
        ("source", "tides"): (1, 9, 14),
        ("source", "tides", "args"): (2, 1, 5),
        ("source", "tides", "auth"): (3, 1, 5),
        ("source", "tides", "auth", "header"): (3, 6, 12),
        ("source", "tides", "field"): (4, 16, 21),
        ("source", "tides", "field", 0, "name"): (5, 1, 5),
    }
    assert positions.values["source", "tides", "args", 1][:3] == (2, 14, 17)
    assert positions.values["source", "tides", "field", 0][:3] == (4, 16, 21)
    assert [each.table for each in positions.statements][-1] == ("source", "tides", "field", 0)


@pytest.mark.parametrize(
    ("text", "cause", "offset"),
    [
        ("= 1", Cause.KEY, 0),
        ("a 1", Cause.EQUALS, 2),
        ("a =\n", Cause.VALUE, 3),
        ('a = "x\n', Cause.STRING, 4),
        ('a = """x\n', Cause.LONG_STRING, 4),
        ("a = [1 2]", Cause.LIST, 7),
        ("a = {b = 1 c = 2}", Cause.TABLE, 11),
        ("[a", Cause.HEADER, 2),
        ("a = 1 2", Cause.REST, 6),
        ("a = " + "[" * 60 + "]" * 60, Cause.DEPTH, 54),
        ("a = " + "1" * 2_000, Cause.DIGITS, 4),
    ],
)
def test_where_and_why_it_is_lost(text: str, cause: Cause, offset: int) -> None:
    lost = find_positions(text).lost
    assert lost is not None
    assert (lost.cause, lost.offset) == (cause, offset)


def test_a_second_setting_is_told_with_its_place() -> None:
    repeated = find_positions("a = 1\nb = 2\n  a = 3\n").repeated
    assert [(path, spot.line, spot.column) for path, spot in repeated] == [(("a",), 3, 3)]


def test_offsets_and_places_are_each_others_inverse() -> None:
    text = "ab\n\nxy"
    places = LineIndex(text)
    for offset in range(len(text) + 1):
        spot = places.spot(offset, offset)
        assert places.offset(spot.line, spot.column) == offset
