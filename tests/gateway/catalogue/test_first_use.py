"""What a first-time user sees: no secret in any message, and no advice that leads astray."""

import re

import pytest

from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.reading import load_catalogue
from tests.gateway.catalogue.marked import NO_SECRETS, check, field, mistakes, source


def rendered(text: str) -> str:
    """Everything that is said about a file with mistakes."""
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(text, "f.toml", NO_SECRETS.get)
    return caught.value.render()


SCHEMED = {
    "place": ('[place.p]\nbase = "FTP://a.example/"\n', 9, 3),
    "source": (source("", url='url = "ftp://a.example/x"'), 8, 3),
    "choices": (
        source('args = ["s"]\nchoices = { s = { a = "http", b = "ftp" } }', url='url = "{s}://a.example/x"'),
        8,
        17,
    ),
}


@pytest.mark.parametrize(("text", "column", "length"), SCHEMED.values(), ids=SCHEMED.keys())
def test_schemes_without_an_adapter(text: str, column: int, length: int) -> None:
    load_catalogue(text, "f", NO_SECRETS.get)
    load_catalogue(text, "f", NO_SECRETS.get, schemes={"http", "ftp"})
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(text, "f", NO_SECRETS.get, schemes={"http", "https"})
    (mistake,) = caught.value.mistakes
    assert (mistake.column, mistake.length) == (column, length)
    assert (mistake.found, mistake.allowed) == ("not in this version yet", "http https")


@pytest.mark.parametrize("kind", ["text", "code"])
def test_a_mapped_text_wider_than_its_field(kind: str) -> None:
    (mistake,) = check(field('width = 3\nmap = { H = "high", L = "low" }\n             ^^^^', kind))
    assert (mistake.found, mistake.allowed) == ("4 characters", "at most 3, the field's width")


def test_a_mapped_number_is_not_measured() -> None:
    check(field('width = 3\nmap = { H = "1.50", L = "0000" }\nscale = 0.1'))
    check(field('width = 3\nmap = { H = "0.001" }\ndecimals = 1', "fixed"))


NUMBERS = {
    "gap": ("1.5", source("gap = 1.5")),
    "limit": ("inf", source("limit = inf")),
    "at": ("1.5", field("width = 2\nat = [1.5]")),
    "wait": ("nan", "[gateway]\nwait = nan\n"),
}


@pytest.mark.parametrize(("written", "text"), NUMBERS.values(), ids=NUMBERS.keys())
def test_numbers_are_shown_as_written(written: str, text: str) -> None:
    (mistake,) = mistakes(text)
    assert mistake.found == written


CONTROLS = {
    "comment": "# a\x00b\n",
    "text": source('about = "a\x00b"'),
    "key": "a\x00b = 1\n",
    "bare": "[gateway]\nwait = a\x00\x1b[2Jb\n",
    "escaped key": '[gateway]\n"a\\u0000b" = 1\n',
    "name": '[source."a\\u001b"]\n[source."A\\u001b"]\n',
    "table list": '[[source."a\\u001b"]]\n',
    "arg": source('args = ["a\\u001b"]'),
    "header": source('headers = { "a\\u001b" = "x" }'),
    "place": source("", url='url = "a\\u001b:x"'),
    "line": "[gateway]\nwiat = 1 # \x07\x85\x9b\n",
}


@pytest.mark.parametrize("text", CONTROLS.values(), ids=CONTROLS.keys())
def test_no_control_character_comes_out(text: str) -> None:
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]", rendered(text))


def test_no_control_character_of_a_file_name_comes_out() -> None:
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue("wiat = 1\n", "a\x1b[2Jb", NO_SECRETS.get)
    assert "\x1b" not in caught.value.render()


LISTENERS = {
    "both wrong": '[[listen]]\n[[listen]]\nhost = "localhost:1"\n        ^^^^^^^^^^^\n'
    'port = "8130"\n        ^^^^ 8130',
    "host": '[[listen]]\n[[listen]]\nhost = "a b"\n        ^^^',
    "port": "[[listen]]\n[[listen]]\nport = 8.5\n       ^^^",
    "the first": '[[listen]]\nhost = "a b"\n        ^^^\n[[listen]]',
    "the first misspelt": "[[listen]]\nprt = 9\n^^^ port\n[[listen]]",
}


@pytest.mark.parametrize("snippet", LISTENERS.values(), ids=LISTENERS.keys())
def test_no_clash_follows_from_what_was_wrong(snippet: str) -> None:
    check(snippet)


@pytest.mark.parametrize(
    ("written", "near"),
    [
        ("1w", "7d"),
        ("2 weeks", "14d"),
        ("10ms", ""),
        ("1 month", ""),
        ("1y", ""),
        ("10 min.", "10m"),
        ("3 Hours", "3h"),
        ("45", "45"),
        ("soon", ""),
    ],
)
def test_the_nearest_duration_is_as_long_as_what_was_meant(written: str, near: str) -> None:
    (mistake,) = mistakes(source(f'keep = "{written}"'))
    assert mistake.nearest == near


def test_no_name_is_made_of_what_is_left_of_a_word() -> None:
    (mistake,) = mistakes(field("width = 4").replace('"X"', '"Größe"'))
    assert mistake.nearest == ""
    (mistake,) = mistakes(source("").replace("source.a", 'source."größe"'))
    assert mistake.nearest == ""
    (mistake,) = mistakes(source("").replace("source.a", 'source."my tides"'))
    assert mistake.nearest == "my-tides"


def test_a_misspelt_key_of_another_table_is_told_where_it_belongs() -> None:
    (mistake,) = check(source("widht = 4\n^^^^^"))
    assert mistake.found == "width is a key of [[source.NAME.field]], not of [source.NAME]"


@pytest.mark.parametrize("word", ["apikey", "api_key", "password", "token", "key"])
def test_a_key_for_a_secret_is_told_where_secrets_go(word: str) -> None:
    (mistake,) = mistakes(source(f'{word} = "x"'))
    assert mistake.nearest == "auth"
    assert mistake.allowed == 'auth = { header = "NAME", secret = "env:NAME" }'
    (mistake,) = mistakes(f'[place.p]\nbase = "https://a.example/"\n{word} = "x"\n')
    assert mistake.nearest == "secret"
    assert mistake.allowed == 'user = "NAME" and secret = "env:NAME"'


def test_a_secret_in_the_file_is_called_that() -> None:
    (mistake,) = mistakes(source('auth = { bearer = true, secret = "hunter2abc" }'))
    assert mistake.found == "the secret itself, or a text without env: or file: in front"


@pytest.mark.parametrize(
    ("lines", "allowed"),
    [
        ("cols = 80\nmost = 60", "cols at most 60, which is most"),
        ("most = 20", "most at least 40, which is cols"),
        ('eol = "9b"\nbits = 7', "bits = 8 with eol 9b, or another eol"),
    ],
)
def test_settings_that_do_not_go_together_are_named(lines: str, allowed: str) -> None:
    (mistake,) = mistakes(f"[profile.p]\n{lines}\n")
    assert mistake.allowed == allowed
