"""Several TOML faults in one run, and nothing reported that only follows from one of them."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.catalogue.document.parsing import parse
from gateway.catalogue.model import Number
from tests.gateway.catalogue.marked import check, marked


def test_all_faults_of_a_file_at_once() -> None:
    text, places = marked("""
[source.tides]
about = "High water
        ^^^^^^^^^^^
url = https://tides.example/
      ^^^^^^^^^^^^^^^^^^^^^^ "https://tides.example/"
args = [
       ^
  "station",
format = "json"
keep 10
     ^^
[[source.tides.field]]
name = "TIME"
""")
    parsed = parse(text)
    assert [(each.line, each.column, each.length, each.nearest) for each in parsed.mistakes] == places
    assert parsed.document == {"source": {"tides": {"format": "json", "field": [{"name": "TIME"}]}}}
    assert set(parsed.damaged) == {("source", "tides")}


def test_faults_of_toml_and_of_meaning_in_one_run_without_follow_ups() -> None:
    # The url is unreadable, so it is neither missing nor is its arg unused; width is no consequence of it.
    check("""
[source.tides]
url = "https://tides.example/{station}
      ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
args = ["station"]
formt = "json"
^^^^^ format
[[source.tides.field]]
name = "TIME"
width = 300
        ^^^ 255
""")


def test_a_lost_header_takes_its_table_and_all_claims_of_absence_along() -> None:
    check("""
[[listen]]
profile = "narrow"
[profile.narrow
^^^^^^^^^^^^^^^
colz = 5
[source.tides
^^^^^^^^^^^^^
url = "https://tides.example/"
[[source.tides.field]]
name = "TIME"
at = ["$.when", "$.then"]
kin = "time"
^^^ kind
""")


def test_a_table_that_is_there_twice_is_left_out_once() -> None:
    check("""
[source.tides]
url = "https://tides.example/"
[[source.tides.field]]
name = "TIME"
width = 5
[source.tides]
        ^^^^^
url = "https://other.example/"
[[source.tides.field]]
name = "TIME"
width = 5
""")


def test_reading_stops_after_so_many_faults() -> None:
    parsed = parse("a = b c\n" * (limits.SYNTAX_MISTAKES + 5))
    assert len(parsed.mistakes) == limits.SYNTAX_MISTAKES
    assert not parsed.whole


def test_decimals_keep_their_digits() -> None:
    document = parse("a = 1.10\nb = +1_000.50\nc = 6e-30\nd = 1\n").document
    assert document == {"a": Number("1.10"), "b": Number("1000.50"), "c": Number("6e-30"), "d": 1}


@given(st.text(st.sampled_from("[]{}=\"'\\.,#\n \tab1-u:é\x00"), max_size=80))
def test_any_text_is_read_or_has_a_mistake_inside_it(text: str) -> None:
    parsed = parse(text)
    try:
        document = tomllib.loads(
            text, parse_float=lambda each: Number(each.replace("_", "").removeprefix("+"))
        )
    except tomllib.TOMLDecodeError:
        assert parsed.mistakes
        lines = text.split("\n")
        for each in parsed.mistakes:
            assert 1 <= each.line <= len(lines)
            assert 1 <= each.column <= len(lines[each.line - 1]) + 1
            assert each.length >= 1
            assert each.render(text, "f")
    else:
        assert not parsed.mistakes
        assert parsed.document == document
