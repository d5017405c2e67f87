"""The one error tree: its docstring, its codes, its sentences."""

import inspect
import re

import pytest

from adapters import errors
from adapters.errors import HeadraceError, happened_at
from gateway.wire.codes import CODES


def every_error() -> list[type[HeadraceError]]:
    found, todo = [], [HeadraceError]
    while todo:
        each = todo.pop()
        todo += each.__subclasses__()
        found.append(each)
    return found


@pytest.mark.parametrize("error", every_error(), ids=lambda error: error.__name__)
def test_every_error_has_a_code_of_the_contract_and_a_short_plain_sentence(
    error: type[HeadraceError],
) -> None:
    assert error.code in CODES
    assert 400 <= error.code < 600
    default = inspect.signature(error).parameters["sentence"].default
    sentence = error("Something is wrong" if default is inspect.Parameter.empty else default).sentence
    assert sentence.isascii()
    assert len(sentence) <= 40


def test_the_error_tree_is_the_one_in_its_docstring() -> None:
    assert errors.__doc__ is not None
    told = dict(re.findall(r"^ +([A-Z]\w+) +(\d{3}) ", errors.__doc__, re.MULTILINE))
    built = {each.__name__: str(each.code) for each in every_error() if not each.__name__.startswith("_")}
    built.pop("FarFault")  # a family without a code of its own
    assert told == built


def test_where_it_happened() -> None:
    """Who knows first is believed; anything else passes by."""
    known = HeadraceError()
    known.far = "ftp://other.example:21"
    for fault, far in ((HeadraceError(), "dav://h.example:80"), (known, "ftp://other.example:21")):
        with pytest.raises(HeadraceError) as caught, happened_at("dav://h.example:80"):
            raise fault
        assert caught.value is fault
        assert caught.value.far == far
    with pytest.raises(OSError, match="as it was"), happened_at("dav://h.example:80"):
        raise OSError("as it was")
