"""Request words and quoting (CONTRACT sections 1 and 3)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import NotARequest, WrongWords
from gateway.wire.words import REQUESTS, join_words, parse_request, request_word, split_words, without_prompt

# The contract's own list of request words, section 3 and (HALT) section 5.
CONTRACT_WORDS = (  # noqa: SIM905 a list of quoted words hides the words
    "ASK TELL PICK LAYOUT SOURCES MORE AGAIN WHY BASE LIST NAME TEXT READ STORE APPEND COPY ERASE RENAME"
    " MKDIR TALK HEAR SET LOGIN TIME NOOP HELP BYE HALT"
).split()


def test_every_word_of_the_contract_is_known() -> None:
    assert sorted(REQUESTS) == sorted(CONTRACT_WORDS)


def test_no_two_words_share_their_first_three_letters() -> None:
    assert len({name[:3] for name in REQUESTS}) == len(REQUESTS)


@pytest.mark.parametrize("name", CONTRACT_WORDS)
def test_a_word_may_be_cut_to_three_letters_or_more_in_any_case(name: str) -> None:
    for length in range(3, len(name) + 1):
        assert request_word(name[:length]).name == name
        assert request_word(name[:length].lower()).name == name
    with pytest.raises(NotARequest):
        request_word(name + "S")
    if len(name) > 3:
        with pytest.raises(NotARequest):
            request_word(name[:2])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ()),
        ("   ", ()),
        ("a  b", ("a", "b")),
        ('"a b" c', ("a b", "c")),
        ("'a b' c", ("a b", "c")),
        ('"say ""hi"""', ('say "hi"',)),
        ("'it''s'", ("it's",)),
        ("O'BRIEN", ("O'BRIEN",)),
        ("$['a']", ("$['a']",)),
        ('""', ("",)),
        ("''''", ("'",)),
        ('"it\'s"', ("it's",)),
        ('x"y z"', ('x"y', 'z"')),
    ],
)
def test_words(text: str, words: tuple[str, ...]) -> None:
    assert split_words(text) == words


@pytest.mark.parametrize("text", ['"', "a 'b", '"a""', '"a"b', "''a"])
def test_quotes_that_are_wrong_words(text: str) -> None:
    with pytest.raises(WrongWords):
        split_words(text)


@given(
    st.lists(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=12), max_size=6)
)
def test_quoted_words_come_back(words: list[str]) -> None:
    for quote in "\"'":
        line = " ".join(quote + word.replace(quote, quote * 2) + quote for word in words)
        assert split_words(line) == tuple(words)


@given(
    st.lists(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=12), max_size=6)
)
def test_joined_words_come_back(words: list[str]) -> None:
    assert split_words(join_words(words)) == tuple(words)


def test_a_basics_prompt_is_ignored() -> None:
    request = parse_request(without_prompt("? ask Tides 'North Pier'"))
    assert (request.name, request.words) == ("ASK", ("Tides", "North Pier"))


@pytest.mark.parametrize("line", ["?", "AS", "ASKED", "PING 1", "."])
def test_what_is_not_a_request(line: str) -> None:
    with pytest.raises(NotARequest):
        parse_request(line)
