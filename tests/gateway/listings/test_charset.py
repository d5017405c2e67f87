"""Which charsets a program can be written for: held against Python's own codecs, and tables made here."""

import pytest

from adapters.errors import NotPossible
from gateway.extract.plan import Kind
from gateway.listings.charset import check_as_is, check_encoded, letters_swapped
from gateway.listings.program import Column, Task, Writer
from gateway.listings.writers import WRITERS
from gateway.wire.charsets import shown_charset, table_charset
from gateway.wire.settings import Settings
from gateway.wire.tables.charset import ASCII, UNDEFINED
from gateway.wire.tables.installed import installed_names

SPOKEN = "200 00001 016 +. ASK TIDES MOLE *09AF SET buffer-256 eol=cr"
"""A status line, a checked request, a SET (CONTRACT sections 2, 3 and 5)."""
PLAIN = table_charset("plain", ASCII)
SWAPPED = table_charset("swapped", ASCII.swapcase())
CAPITALS = table_charset("caps", "".join(each if each < "`" else UNDEFINED for each in ASCII))

every_writer = pytest.mark.parametrize("writer", WRITERS.values(), ids=lambda each: each.name)


def moved(*pairs: str) -> str:
    """A table that is ASCII with the two characters of each pair in each other's places."""
    characters = list(ASCII)
    for each in pairs:
        characters[ord(each[0])], characters[ord(each[1])] = each[1], each[0]
    return table_charset("moved", "".join(characters))


def is_read_as_ascii(codec: str) -> bool:
    """By the codec itself; two codes may have one character there, so it is not asked to encode."""
    return SPOKEN.encode("ascii").decode(codec, "replace") == SPOKEN


def task(writer: Writer, charset: str, check: str = "none", arg: str = "MOLE") -> Task:
    eol = "lf" if writer.name == "structured" else "cr"
    made = Settings(eol=eol, charset=charset, check=check)
    columns = (Column("TIME", 1, 5, Kind.TIME),)
    return Task("TIDES", "", (("at", arg),), columns, 5 + made.added, f"SET {writer.setup}", made)


@every_writer
@pytest.mark.parametrize("codec", installed_names())
def test_a_codec_is_taken_if_it_has_ascii_where_ascii_has_it(codec: str, writer: Writer) -> None:
    """CPython's codecs are the source; among those of one byte a character, EBCDIC's are not so."""
    if is_read_as_ascii(codec):
        assert writer.write(task(writer, codec))
        return
    with pytest.raises(NotPossible) as caught:
        writer.write(task(writer, codec))
    assert f"charset={codec} has other codes than ASCII for digits letters" in caught.value.sentence


def test_some_codecs_are_not_taken() -> None:
    """So the test above has both kinds."""
    taken = [is_read_as_ascii(each) for each in installed_names()]
    assert taken.count(False) >= 5
    assert taken.count(True) >= 30


@every_writer
@pytest.mark.parametrize(
    ("charset", "named"),
    [
        (moved("0#"), "digits"),
        (moved("*#"), "*"),
        (moved("+#"), "+"),
        (moved(" #"), "the blank"),
        (moved("AB", "ab"), "letters"),
        (moved("-#", "=$"), "- ="),
    ],
    ids=["digit", "star", "plus", "blank", "letters", "SET's signs"],
)
@pytest.mark.parametrize("check", ["none", "crc"])
def test_one_moved_sign_is_enough(writer: Writer, check: str, charset: str, named: str) -> None:
    with pytest.raises(NotPossible) as caught:
        writer.write(task(writer, charset, check))
    assert caught.value.sentence == (
        f"charset=table:moved has other codes than ASCII for {named}, and {writer.name} programs need ASCII's"
    )
    assert caught.value.sentence.isascii()


@every_writer
@pytest.mark.parametrize("check", ["none", "sum", "crc"])
def test_a_table_counts_for_what_it_holds_not_for_its_name(writer: Writer, check: str) -> None:
    assert writer.write(task(writer, PLAIN, check)) == writer.write(task(writer, "ascii", check))
    if writer.name in {"c89", "6502", "z80"} or check == "none":
        assert letters_swapped(Settings(charset=SWAPPED))
        assert writer.write(task(writer, SWAPPED, check)) == writer.write(task(writer, "caseswap", check))
        return
    for charset in (SWAPPED, "caseswap"):
        with pytest.raises(NotPossible, match=f"with check={check}"):
            writer.write(task(writer, charset, check))


def test_signs_that_no_program_needs_may_be_anywhere() -> None:
    for writer in WRITERS.values():
        assert writer.write(task(writer, moved("#$", "{[", "~^")))


def test_where_there_are_capitals_only_programs_are_in_capitals() -> None:
    """The small letters of `buffer-256 eol=cr` have no codes there; `hash-channel` has none."""
    fit = {each.name for each in WRITERS.values() if _is_taken(each)}
    assert fit == {"hash-channel", "c89", "6502", "z80"}


def _is_taken(writer: Writer) -> bool:
    try:
        writer.write(task(writer, CAPITALS, "crc"))
    except NotPossible:
        return False
    return True


def test_an_arg_that_the_charset_lacks_is_told() -> None:
    for name in ("c89", "6502", "z80"):
        writer = WRITERS[name]
        with pytest.raises(NotPossible, match=r"charset=ascii lacks '\\xfc' of an arg"):
            writer.write(task(writer, "ascii", arg="M\u00fcle"))
        assert writer.write(task(writer, "latin1", arg="M\u00fcle"))
        assert writer.write(task(writer, CAPITALS, arg="mole"))


def test_both_ways_look_at_what_is_sent() -> None:
    made = task(WRITERS["c89"], moved("%#"))
    check_encoded(made, "x")
    check_as_is(made, "x", ["ASK TIDES MOLE"])
    with pytest.raises(NotPossible, match="for %, and x programs"):
        check_as_is(made, "x", ["ASK TIDES M%6Fle"])
    assert shown_charset(made.settings.charset) == "table:moved"
