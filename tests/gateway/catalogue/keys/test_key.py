"""What a key says of itself."""

from adapters.registry import BUILT_IN
from gateway.catalogue.keys.key import FOLD_KINDS, READY, SCHEMES, STREAMS, WIDTHS, Key, Shape, words_of
from gateway.extract.plan import Fold, Kind


def test_allowed_says_range_words_or_type() -> None:
    assert Key("t", "k", Shape.INTEGER, "m", low=1, high=9).allowed == "1 to 9"
    assert Key("t", "k", Shape.WORD, "m", words=("a", "b")).allowed == "a b"
    assert Key("t", "k", Shape.FLAG, "m").allowed == "true or false"
    assert Key("t", "k", Shape.TEXT, "m", note="a host").allowed == "a host"
    duration = Key("t", "k", Shape.DURATION, "m", low=90, high=86_400).allowed
    assert duration == "90s to 1d: seconds, or text as 90s 10m 2h 1d"


def test_words_of() -> None:
    assert words_of(Kind) == ("text", "int", "fixed", "date", "time", "flag", "code", "hex")


def test_a_count_is_no_date() -> None:
    assert Kind.DATE not in FOLD_KINDS[Fold.COUNT]
    assert FOLD_KINDS[Fold.FIRST] == frozenset(Kind)


def test_default_widths_are_what_the_contract_says() -> None:
    """CONTRACT section 4: a date is YYYY-MM-DD, a time HH:MM, a flag 1 or 0."""
    assert dict(WIDTHS) == {Kind.DATE: len("YYYY-MM-DD"), Kind.TIME: len("HH:MM"), Kind.FLAG: 1}


def test_every_scheme_has_an_adapter_and_those_with_documents_are_named_to_people() -> None:
    assert set(SCHEMES) == set(BUILT_IN)
    assert set(READY) == set(SCHEMES) - set(STREAMS)
