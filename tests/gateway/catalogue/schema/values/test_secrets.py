"""secret = "env:NAME": resolved while reading, never shown."""

import pytest

from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.model import SecretRef
from gateway.catalogue.reading import load_catalogue
from gateway.catalogue.schema.values.secrets import OpenToOthers
from tests.gateway.catalogue.marked import check, load, source

WRONG = {
    "literal": "auth = { bearer = true, secret = 'hunter2' }\n"
    '                                  ^^^^^^^ "env:NAME"',
    "not set": "auth = { bearer = true, secret = 'env:NOPE' }\n                                  ^^^^^^^^",
    "no file": "auth = { bearer = true, secret = 'file:nope' }\n                                  ^^^^^^^^^",
    "capitals": "auth = { bearer = true, secret = 'ENV:KEY' }\n"
    "                                  ^^^^^^^ env:KEY",
    "no name": "auth = { bearer = true, secret = 'env:' }\n                                  ^^^^",
    "blank name": "auth = { bearer = true, secret = 'env:A B' }\n                                  ^^^^^^^",
    "number": "auth = { bearer = true, secret = 123456 }\n                                 ^^^^^^",
    "none": "auth = { bearer = true }\n^^^^",
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    for mistake in check(source(lines)):
        said = mistake.found + mistake.allowed + mistake.nearest
        assert "hunter2" not in said
        assert "123456" not in said


def test_which_one_is_not_set_is_said() -> None:
    (mistake,) = check(source(WRONG["not set"]))
    assert "env:NOPE" in mistake.found


@pytest.mark.parametrize("value", ["", "\n", "a\x00b", "a\r\nX-Evil: 1", "schlüssel"])
def test_a_secret_that_cannot_travel_in_a_header_is_a_mistake_that_does_not_show_it(value: str) -> None:
    text = source("auth = { header = 'X-Key', secret = 'env:KEY' }")
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(text, "f", {"env:KEY": value}.get)
    (mistake,) = caught.value.mistakes
    assert "env:KEY" in mistake.found
    assert not value.strip() or value not in mistake.render(text, "f")


def test_a_password_may_hold_more_than_ascii() -> None:
    text = '[place.club]\nbase = "https://a.example/"\nuser = "u"\nsecret = "env:KEY"\n'
    catalogue = load_catalogue(text, "f", {"env:KEY": "schlüssel"}.get)
    assert catalogue.secrets == {SecretRef("env:KEY"): "schlüssel"}


def test_values_are_kept_without_their_line_end_and_out_of_sight() -> None:
    catalogue = load(source("auth = { basic = 'gate', secret = 'file:keys/club' }"))
    assert catalogue.secrets == {SecretRef("file:keys/club"): "p-5678"}
    assert "p-5678" not in repr(catalogue)


def test_nothing_is_asked_for_that_the_file_does_not_name() -> None:
    asked: list[str] = []

    def read(ref: str) -> str | None:
        asked.append(ref)
        return "x"

    load_catalogue(source("auth = { bearer = true, secret = 'env:KEY' }"), "f", read)
    assert asked == ["env:KEY"]


def test_a_file_that_others_may_change_is_told_with_what_to_do() -> None:
    def read_secret(reference: str) -> str | None:
        raise OpenToOthers(0o646)

    text = source("auth = { bearer = true, secret = 'file:keys/club' }")
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(text, "f", read_secret)
    (mistake,) = caught.value.mistakes
    assert mistake.found == "file:keys/club, which others may change (mode 0646)"
    assert mistake.allowed.endswith("chmod 600")
