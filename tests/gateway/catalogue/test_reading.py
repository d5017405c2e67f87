"""A whole file: every mistake at once, and a complete catalogue that loads."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.document.mistakes import CatalogueFaults, Mistake
from gateway.catalogue.keys.explain import KEYS
from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import load_catalogue
from gateway.wire.ready import PROFILES
from tests.gateway.catalogue.example import SECRETS, TEXT, example
from tests.gateway.catalogue.marked import NO_SECRETS, check, mistakes


def test_the_complete_example_loads() -> None:
    catalogue = example()
    assert sorted(catalogue.sources) == sorted(
        ["TIDES", "SCORE", "SIGNUP", "BERTH", "NOTICES", "LIST", "LOG"]
    )
    assert sorted(catalogue.places) == ["ATTIC", "CLUB", "MODEM", "WIRE"]
    assert set(catalogue.profiles) == {"NARROW", *PROFILES}
    assert [each.port for each in catalogue.listeners if each.device is None] == [8128, 0]
    assert catalogue.listeners[2].device is not None
    assert catalogue.sources["TIDES"].plan.width == 5 + 2 + 6 + 2 + 4
    assert catalogue.origins == {
        "http": {
            ("files.example", 443),
            ("tides.example", 443),
            ("scores.example", 8443),
            ("harbour.example", 80),
        },
        "ftp": {("attic.example", 21)},
        "stream": {("wire.example", 7000), ("wire.example", 23)},
    }
    for scheme in ("http", "https", "dav", "davs"):
        assert ("files.example", 443) in catalogue.origins_for(scheme)
        assert ("attic.example", 21) not in catalogue.origins_for(scheme)
    assert catalogue.origins_for("ftps") == {("attic.example", 21)}
    assert catalogue.origins_for("udp") == frozenset()


def test_an_empty_file_is_all_defaults() -> None:
    assert load_catalogue("", "f", NO_SECRETS.get) == Catalogue()
    assert load_catalogue("# nothing\n", "f", NO_SECRETS.get) == Catalogue()


def test_all_mistakes_of_a_file_at_once_in_its_order() -> None:
    found = check("""
[gateway]
wiat = 30
^^^^ wait
urls = ["https://data.example/"]
         ^^^^^^^^^^^^^^^^^^^^^ data.example

[[listen]]
profile = "narow"
           ^^^^^ narrow
speaks = "http"
          ^^^^

[profile.narrow]
cols = 3000
       ^^^^

[place.ftp]
       ^^^
base = "ftp://files.example/"

[source.tides]
url = "https://tides.example/{sation}"
                              ^^^^^^ station
args = ["station"]
formt = "json"
^^^^^ format
keep = "10 min"
        ^^^^^^ 10m
sort = "TIEM"
        ^^^^ TIME
auth = { header = "X-Key", secret = "hunter2" }
                                     ^^^^^^^ "env:NAME"

[[source.tides.field]]
name = "TIME"
at = "$.when"
kind = "tmie"
        ^^^^ time
width = 5

[[source.tides.field]]
               ^^^^^
name = "HEIGHT"
decimals = 2
^^^^^^^^
""")
    assert [each.line for each in found] == sorted(each.line for each in found)


def test_golden_rendering_of_several_mistakes() -> None:
    text = """\
[source.tides]
url = "https://tides.example/{sation}"
args = ["station"]
keep = "10 min"

[[source.tides.field]]
name = "TIME"
wdith = 5
"""
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(text, "harbour.toml", NO_SECRETS.get)
    assert (
        caught.value.render()
        == """\
harbour.toml:2:31: source.tides.url
    2 | url = "https://tides.example/{sation}"
      |                               ^^^^^^
        found:   {sation}, which is no arg
        allowed: station
        nearest: station

harbour.toml:4:9: source.tides.keep
    4 | keep = "10 min"
      |         ^^^^^^
        found:   "10 min"
        allowed: 0s to 3660d: seconds, or text as 90s 10m 2h 1d
        nearest: 10m

harbour.toml:8:1: source.tides.field[1].wdith
    8 | wdith = *
      | ^^^^^
        found:   a key that is not known here
        allowed: name at kind width decimals scale offset align fill missing null map in out \
zone cut required fold
        nearest: width"""
    )


@pytest.mark.parametrize("end", ["\r\n", "\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_and_a_byte_order_mark_change_no_place(end: str, mark: str) -> None:
    text = mark + end.join(["[gateway]", "wiat = 30", ""])
    (mistake,) = mistakes(text)
    assert (mistake.line, mistake.column, mistake.length) == (2, 1, 4)
    (mistake,) = mistakes(mark + "wiat = 30" + end)
    assert (mistake.line, mistake.column) == (1, 1)


@given(st.integers(0, TEXT.count("\n") - 1))
def test_a_lost_line_never_breaks_the_reader(number: int) -> None:
    """Whatever line is missing from a good file: it loads, or mistakes are reported, and that is all."""
    lines = TEXT.split("\n")
    del lines[number]
    text = "\n".join(lines)
    try:
        load_catalogue(text, "f", SECRETS.get)
    except CatalogueFaults as faults:
        assert faults.mistakes
        assert faults.render()


@given(
    st.integers(0, len(TEXT) - 1),
    st.sampled_from(['"', "[", "]", "{", "=", "\n", " ", "x", "#", "", "\x00", "é"]),
)
def test_a_changed_character_never_breaks_the_reader_nor_shows_a_secret(at: int, mark: str) -> None:
    text = TEXT[:at] + mark + TEXT[at + 1 :]
    try:
        load_catalogue(text, "f", SECRETS.get)
    except CatalogueFaults as faults:
        lines = text.split("\n")
        for each in faults.mistakes:
            assert 1 <= each.line <= len(lines)
            assert 1 <= each.column <= len(lines[each.line - 1]) + 1
        assert "club-secret" not in faults.render()


_JUNK = st.recursive(
    st.one_of(st.integers(-5, 300), st.booleans(), st.text(max_size=5), st.floats(allow_nan=False, width=16)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=2), st.dictionaries(st.sampled_from("ab"), inner, max_size=2)
    ),
    max_leaves=4,
)
_NAMES = sorted({key.name for key in KEYS} | {"nonsense"})


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(each):08X}" for each in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + "}"
    return repr(value)


@given(
    st.sampled_from(["source.a", "place.a", "profile.a", "gateway"]),
    st.dictionaries(st.sampled_from(_NAMES), _JUNK, max_size=6),
    st.dictionaries(st.sampled_from(_NAMES), _JUNK, max_size=6),
)
def test_no_value_of_any_key_breaks_the_reader(
    table: str, values: dict[str, object], field: dict[str, object]
) -> None:
    pairs = "".join(f"{key} = {_toml(value)}\n" for key, value in values.items() if key != "field")
    fields = "".join(f"{key} = {_toml(value)}\n" for key, value in field.items())
    text = f"[{table}]\n{pairs}" + (f"[[source.a.field]]\n{fields}" if table == "source.a" else "")
    try:
        load_catalogue(text, "f", NO_SECRETS.get)
    except CatalogueFaults as faults:
        assert all(each.found and each.allowed and each.key for each in faults.mistakes)
        assert faults.render()


@pytest.mark.parametrize("mark", list('"[]{}=,'))
def test_one_lost_mark_is_one_mistake(mark: str) -> None:
    """Each quote, bracket or brace taken out of a good file, in turn: nothing is reported but that."""
    for at in (match.start() for match in re.finditer(re.escape(mark), TEXT)):
        if "#" in TEXT[TEXT.rfind("\n", 0, at) : at]:
            continue
        text = TEXT[:at] + TEXT[at + 1 :]
        try:
            load_catalogue(text, "f", SECRETS.get)
        except CatalogueFaults as faults:
            (mistake,) = faults.mistakes
            line = text.count("\n", 0, at) + 1
            # A slot without its brace is none, so its arg is what is wrong: it stands a few lines above.
            assert abs(mistake.line - line) <= 1 or "used nowhere" in mistake.found


@pytest.mark.parametrize("slip", ["double", "swap", "drop"])
def test_one_misspelt_key_is_one_mistake_with_the_right_word(slip: str) -> None:
    """Each key of four letters or more, misspelt in turn."""
    for match in re.finditer(r"^([a-z]{4,}) =", TEXT, re.MULTILINE):
        word, at = match[1], match.start()
        wrong = {
            "double": word[:2] + word[1:],
            "swap": word[:1] + word[2] + word[1] + word[3:],
            "drop": word[:-2] + word[-1],
        }
        if wrong[slip] == word:
            continue
        text = TEXT[:at] + wrong[slip] + TEXT[at + len(word) :]
        found = mistakes_with(text)
        line = text.count("\n", 0, at) + 1
        assert [each.line for each in found] == [line], word
        as_near = {"page", "pace"} if wrong[slip] == "pae" else {word}  # either was meant
        assert found[0].nearest in as_near


def mistakes_with(text: str) -> tuple[Mistake, ...]:
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(text, "f", SECRETS.get)
    return caught.value.mistakes
