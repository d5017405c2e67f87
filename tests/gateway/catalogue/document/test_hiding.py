"""What may be a secret is in no message, wherever a first-time user tries to put it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.document.hiding import Hiding
from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.document.positions import find_positions
from gateway.catalogue.reading import load_catalogue
from tests.gateway.catalogue.example import TEXT
from tests.gateway.catalogue.marked import NO_SECRETS, source


def rendered(text: str) -> str:
    """Everything that is said about a file with mistakes."""
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(text, "f.toml", NO_SECRETS.get)
    return caught.value.render()


SECRET = "hunter2abc"
LINES = {
    "unknown": f'key = "{SECRET}"',
    "unquoted": f"key = {SECRET}",
    "two words": f"key = x {SECRET}",
    "unclosed": f'key = "{SECRET}',
    "unclosed inline": f'auth = {{ query = "q", key = "{SECRET} }}',
    "colon": f"key: {SECRET}",
    "no equals sign": f'key "{SECRET}"',
    "list": f'key = ["{SECRET}"]',
    "table": f'key = {{ a = "{SECRET}" }}',
    "long text": f'key = """x\n{SECRET}"""',
    "below a header": f'[source.a.other]\nkey = "{SECRET}"',
    "dotted": f'auth.key = "{SECRET}"',
    "inline": f'auth = {{ query = "q", key = "{SECRET}" }}',
    "inline unquoted": f'auth = {{ query = "q", key = {SECRET} }}',
    "of another table": f'width = "{SECRET}"',
    "number": "key = 20261125",
    "beside": f'auth = {{ qwery = "{SECRET}", bearer = 3, secret = "env:KEY" }}',
    "header": f'headers = {{ "X-Api-Key" = "{SECRET}", Host = "x" }}',
    "another header": f'headers = {{ X-Pin = "{SECRET}", Host = "x" }}',
    "header with an arg": f'headers = {{ X-Pin = "{SECRET}{{b}}" }}',
    "header table": f'[source.a.headers]\nX-Pin = "{SECRET}{{b}}"',
    "unquoted header": f"headers = {{ X-Pin = {SECRET} }}",
    "long": f'secret = "{SECRET}{"x" * 99}"',
}


@pytest.mark.parametrize("line", LINES.values(), ids=LINES.keys())
def test_no_message_shows_what_may_be_a_secret(line: str) -> None:
    said = rendered(source(line))
    assert SECRET[:-2] not in said
    assert "20261125" not in said
    assert "*" in said or "\n" in line


URLS = {
    "wrong arg": 'url = "https://x.example/{b}?k=hunter2abc"',
    "several": 'url = "https://x.example/{b}?a=1&k=hunter2abc&z={c}"',
    "after an expression": 'url = "https://x.example/{b}{?c}&k=hunter2abc"',
    "in a place": 'url = "nowhere:x?k=hunter2abc"',
    "blank": 'url = "https://x.example/?k=a hunter2abc"',
    "literal": "url = 'https://x.example/{b}?k=hunter2abc'",
    "no scheme": 'url = "x.example/?k=hunter2abc"',
    "unquoted": "url = https://x.example/?k=hunter2abc",
    "unclosed": 'url = "https://x.example/?k=hunter2abc',
    "open expression": 'url = "https://x.example/?k=hunter2abc{b"',
    "fragment": 'url = "https://x.example/?k=1#hunter2abc"',
}


@pytest.mark.parametrize("line", URLS.values(), ids=URLS.keys())
def test_no_message_shows_the_values_of_a_query(line: str) -> None:
    assert SECRET not in rendered(source("", url=line))


def test_a_base_with_a_query_does_not_show_it() -> None:
    assert SECRET not in rendered(f'[place.p]\nbase = "https://x.example/?k={SECRET}"\n')


@pytest.mark.parametrize("table", ["place", "source", "profile"])
def test_a_value_where_a_table_must_be_is_not_shown(table: str) -> None:
    assert SECRET not in rendered(f'[{table}]\nkey = "{SECRET}"\n')


def test_expressions_stay_and_the_caret_stands_right() -> None:
    assert (
        '\n    2 | url = "https://x.example/{b}?k=***{c}&z=*"\n      |                           ^\n'
        in rendered(source('args = ["c"]', url='url = "https://x.example/{b}?k=abc{c}&z=1"'))
    )
    assert '\n    3 | key = "**********"\n      | ^^^\n' in rendered(source(f'key = "{SECRET}"'))


@pytest.mark.parametrize("line", ['rows = "$[?@.a==1].b["', "rows = \"$[?length(@.a)==1 && @.b=='x'\""])
def test_a_filter_is_no_query(line: str) -> None:
    assert line in rendered(source(line))


def test_harmless_headers_are_shown() -> None:
    line = 'headers = { Accept-Language = "en", Host = "x" }'
    assert 'Accept-Language = "en"' in rendered(source(line))


def test_a_text_in_a_broken_table_of_an_unknown_key_is_hidden() -> None:
    assert "hunter2" not in rendered(source('key ={"hunter2abc"'))
    assert "hunter2" not in rendered(source('key = { a = 1, "hunter2abc" }'))
    assert "hunter2" not in rendered(source("auth = { query = 'q', pin = {'hunter2abc' }"))


def test_a_value_behind_a_broken_header_is_hidden() -> None:
    assert "hunter2" not in rendered(source('[ey = "hunter2abc"'))
    assert "[sauce.a" in rendered("[sauce.a\n")


@given(st.data())
def test_one_wrong_character_does_not_uncover_an_unknown_keys_value(data: st.DataObject) -> None:
    line = data.draw(
        st.sampled_from(
            ['key = "hunter2abc"', "key = hunter2abc", "auth = { query = 'q', pin = 'hunter2abc' }"]
        )
    )
    begin = line.index("hunter2abc")
    at = data.draw(st.integers(0, begin - 1) | st.integers(begin + 10, len(line)))
    mark = data.draw(st.sampled_from(["", "x", " ", "=", '"', "'", "#", ".", "{", "}", "[", ",", ":"]))
    keep = data.draw(st.booleans())
    broken = line[:at] + mark + line[at + (0 if keep else 1) :]
    try:
        load_catalogue(source(broken), "f", NO_SECRETS.get)
    except CatalogueFaults as faults:
        assert "hunter2" not in faults.render().replace("#hunter2", "").replace("# hunter2", "")


def test_a_good_file_is_shown_but_for_headers_and_queries() -> None:
    hiding = Hiding(TEXT)
    hiding.see(find_positions(TEXT))
    assert len(hiding.text) == len(TEXT)
    changed = [old for old, new in zip(TEXT.split("\n"), hiding.text.split("\n"), strict=True) if old != new]
    assert changed == ['headers = { Accept-Language = "en", X-Day = "day {day}" }']


def test_what_is_hidden_is_known_again_in_a_message() -> None:
    text = 'key = "hunter2abc"\n'
    hiding = Hiding(text)
    hiding.see(find_positions(text))
    assert hiding.hides(6, 18)
    assert not hiding.hides(0, 5)
    assert hiding.told_by('"hunter2abc", which is wrong', [(6, 18)])
    assert not hiding.told_by("no text", [(6, 18)])
