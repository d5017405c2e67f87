"""Task -> NotPossible where the line's charset has other codes than its program is written with.

Status lines, checks and requests are made of digits, letters and a few signs. A program compares and sends
these by ASCII's codes, and its SET is sent while the line may still be ASCII. So a charset is fit for it that
has them at ASCII's codes, or has just the letters the other way round, as `caseswap`. That is looked up in
the charset's own table, so codecs and mapping files are treated alike.
"""

from collections.abc import Iterable
from typing import Final

from adapters.errors import NotPossible
from gateway.listings.program import Task
from gateway.wire.charsets import encode_text, find_charset, has, shown_charset
from gateway.wire.settings import Settings

_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_SIGNS: Final = " *+-.=0123456789"


def letters_swapped(settings: Settings) -> bool:
    """Whether the capitals of replies, the digits A to F of checks among them, have small letters' codes."""
    return encode_text(_LETTERS, settings.printed) == _LETTERS.lower().encode("ascii")


def check_encoded(task: Task, trait: str) -> None:
    """For programs that hold their texts as the line has them; letters may be the other way round."""
    charset = task.settings.printed
    wrong = _displaced(_SIGNS + task.setup, charset)
    if not letters_swapped(task.settings):
        wrong |= {each for each in _LETTERS if encode_text(each, charset) != each.encode("ascii")}
    _refuse(wrong, task.settings, trait)
    for each in "".join(value for _, value in task.args):
        if not has(each, charset) and not (each.isascii() and has(each.swapcase(), charset)):
            raise NotPossible(f"charset={shown_charset(task.settings.charset)} lacks {each!a} of an arg")


def check_as_is(task: Task, trait: str, texts: Iterable[str]) -> None:
    """For programs whose strings are sent as they stand in the listing, `texts` and what all of them send.

    Letters may be the other way round, but not where a check is worked out: its digits would be too.
    """
    charset = task.settings.printed
    wrong = _displaced(_SIGNS + _LETTERS, charset)
    if task.settings.check != "none":
        wrong |= {each for each in _LETTERS if encode_text(each, charset) != each.encode("ascii")}
    read = find_charset(charset).characters
    sent = {*_SIGNS, *_LETTERS, *"".join(texts)}
    _refuse(wrong | {each for each in sent if read[ord(each)].lower() != each.lower()}, task.settings, trait)


def _displaced(text: str, charset: str) -> set[str]:
    """The characters that a reply has at neither of the two codes of their letter, or not at their own."""
    return {each for each in text if encode_text(each, charset).lower() != each.lower().encode("ascii")}


def _refuse(wrong: set[str], settings: Settings, trait: str) -> None:
    if not wrong:
        return
    found = ["digits"] if any(each.isdigit() for each in wrong) else []
    found += ["letters"] if any(each.isalpha() for each in wrong) else []
    found += sorted("the blank" if each == " " else each for each in wrong if not each.isalnum())
    raise NotPossible(
        f"charset={shown_charset(settings.charset)} has other codes than ASCII for {' '.join(found)},"
        f" and {trait} programs need ASCII's"
        + (f" with check={settings.check}" if letters_swapped(settings) else "")
    )
