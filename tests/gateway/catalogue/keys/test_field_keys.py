"""Options and kinds: what the contract says of them."""

from gateway.catalogue.keys.field_keys import FIELD_KEYS
from gateway.extract.plan import Align, Cut, Fold, Kind


def test_options_that_only_some_kinds_have() -> None:
    """CONTRACT section 4: `fixed` has decimals, dates and times have patterns and zones, only text is cut."""
    kinds = {key.name: key.kinds for key in FIELD_KEYS}
    assert kinds["decimals"] == frozenset({Kind.FIXED})
    assert kinds["in"] == kinds["out"] == kinds["zone"] == frozenset({Kind.DATE, Kind.TIME})
    assert kinds["cut"] == frozenset({Kind.TEXT})
    assert kinds["required"] is None
    assert kinds["map"] is None


def test_words_are_those_of_the_plan() -> None:
    words = {key.name: key.words for key in FIELD_KEYS}
    assert words["kind"] == tuple(each.value for each in Kind)
    assert words["fold"] == tuple(each.value for each in Fold)
    assert words["align"] == tuple(each.value for each in Align)
    assert words["cut"] == tuple(each.value for each in Cut)
