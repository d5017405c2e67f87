"""PICK's words (CONTRACT section 3); the suffix rule has its table in test_conversation."""

import pytest

from adapters.errors import PathFault, TooLarge, WrongWords
from gateway.session.picking import pick_plan


def test_paths_of_two_languages_are_wrong_words() -> None:
    with pytest.raises(WrongWords):
        pick_plan("$.a", ["title"])
    with pytest.raises(WrongWords):
        pick_plan("-", ["title", "$.a"])


def test_a_path_that_cannot_be_used() -> None:
    with pytest.raises(PathFault):
        pick_plan("$.a[", [])
    with pytest.raises(PathFault):
        pick_plan("-", ["$.a[:5t"])


def test_records_no_client_takes() -> None:
    pick_plan("-", ["a:127", "b:127"])
    with pytest.raises(TooLarge):
        pick_plan("-", ["a:127", "b:128"])
