"""Short names, CONTRACT section 5 `names`: unique in their listing, 8 and 3, and always the same."""

import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.fields.text import Lettering
from gateway.extract.folders.short import short_names

FORM = re.compile(r"[A-Z0-9_-]{1,8}(\.[A-Z0-9_-]{1,3})?")
NAMES = st.one_of(
    st.binary(min_size=1, max_size=20),
    st.text("abAB.-_ é1~", min_size=1, max_size=14).map(str.encode),
    st.sampled_from(
        [b"README.TXT", b"readme.txt", b"Readme.text", b".readme", b"a" * 9, b"A" * 8, b"AAAAAA-2"]
    ),
)


@pytest.mark.parametrize(
    ("name", "short"),
    [
        (b"TIDES.TXT", "TIDES.TXT"),
        (b"tides.txt", "TIDES.TXT"),
        (b"my_file-1", "MY_FILE-1"[:8]),
        (b"harbour-notes.text", "HARBOUR-.TEX"),
        ("Flut höhe.bas".encode(), "FLUTHOHE.BAS"),
        (b"archive.tar.gz", "ARCHIVET.GZ"),
        (b".profile", "PROFILE"),
        (b"...", "NAME"),
        (b"+++.txt", "NAME.TXT"),
        (b"name.", "NAME"),
        ("潮汐".encode(), "CHAOXI"),
    ],
)
def test_one_name_alone(name: bytes, short: str) -> None:
    assert short_names([name]) == (short,)


def test_letters_are_those_of_the_listing() -> None:
    """CONTRACT section 4, `letters`: own spellings go before the general table."""
    lettering = Lettering("ascii", {"ö": "oe"})
    assert short_names(["Möwe.txt".encode(), b"moewe.txt"], lettering) == ("MOEWE-2.TXT", "MOEWE.TXT")
    assert short_names(["Möwe.txt".encode()]) == ("MOWE.TXT",)


def test_a_name_that_is_short_already_goes_before_one_that_is_made_so() -> None:
    assert short_names([b"tides!.txt", b"tides.txt"]) == ("TIDES-2.TXT", "TIDES.TXT")


def test_a_number_takes_the_place_of_the_end() -> None:
    names = [b"harbour notes %02d.txt" % number for number in range(12)]
    assert short_names(names)[:2] == ("HARBOURN.TXT", "HARBOU-2.TXT")
    assert short_names(names)[8:] == ("HARBOU-9.TXT", "HARBO-10.TXT", "HARBO-11.TXT", "HARBO-12.TXT")


def test_two_names_that_differ_in_case_only_both_have_one() -> None:
    assert short_names([b"readme", b"README"]) == ("README-2", "README")


@given(st.lists(NAMES, max_size=30))
def test_short_names_are_unique_and_of_that_form(names: list[bytes]) -> None:
    shorts = short_names(names)
    assert len(shorts) == len(names) == len(set(shorts))
    assert all(FORM.fullmatch(short) for short in shorts)


@given(st.lists(NAMES, max_size=20, unique=True), st.randoms(use_true_random=False))
def test_the_order_of_the_listing_changes_nothing(names: list[bytes], chance: random.Random) -> None:
    mixed = chance.sample(names, len(names))
    assert dict(zip(names, short_names(names), strict=True)) == dict(
        zip(mixed, short_names(mixed), strict=True)
    )


@given(st.lists(NAMES, max_size=20, unique=True))
def test_a_short_name_keeps_itself(names: list[bytes]) -> None:
    for name, short in zip(names, short_names(names), strict=True):
        if FORM.fullmatch(name.decode("latin-1")):
            assert short == name.decode("ascii")


def test_many_names_with_one_beginning_are_numbered_without_end() -> None:
    names = [b"the same beginning %05d" % number for number in range(20_000)]
    assert len(set(short_names(names))) == 20_000
