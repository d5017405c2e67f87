"""What stands behind D -> a dial string: whom to call, and how (V.250 section 6.3.1).

The recommendation's strings are digits. How its modifiers apply to names is our choice:

- A `T` or `P` that comes first is always tone or pulse, so that a name which begins so is typed behind one:
  `ATDTtower`. What then follows is kept as typed, without its blanks.
- `,` `!` `@` and `;` are modifiers wherever they stand, for they are in no name, host or port. Each `,` waits
  S8 seconds before the call is made, wherever in the string it is; `!` does nothing; `@` allows NO ANSWER;
  `;` ends the string, and the next D goes on with it.
- `W`, and a further `T` or `P`, is a modifier only in a number, and a letter in a name.
- A number is of digits, `*`, `#`, `+`, A to D, modifiers and the marks `( ) - . /`, which are ignored; at
  least one of its digits is 0 to 9.
"""

import re
from dataclasses import dataclass
from typing import Final

_NUMBER: Final = re.compile(r"[A-D0-9*#+TPW().\-/]*[0-9][A-D0-9*#+TPW().\-/]*")
_NO_DIGIT: Final = re.compile(r"[^A-D0-9*#+]")
_EVERYWHERE: Final = str.maketrans("", "", " ,!@")


@dataclass(frozen=True, slots=True)
class DialString:
    """Whom to call: `text` as typed, without modifiers. `pauses`: how often to wait S8 seconds before."""

    text: str = ""
    pauses: int = 0
    quiet_wanted: bool = False

    @property
    def number(self) -> str:
        """The text as a telephone number, or nothing."""
        text = self.text.upper()
        return _NO_DIGIT.sub("", text) if _NUMBER.fullmatch(text) else ""

    @property
    def tone_wanted(self) -> bool:
        """Whether it is a number with W: dialled only where there is a tone."""
        return bool(self.number) and "W" in self.text.upper()

    def joined(self, more: "DialString") -> "DialString":
        """With the part that was dialled next."""
        return DialString(
            self.text + more.text, self.pauses + more.pauses, self.quiet_wanted or more.quiet_wanted
        )


def dial_string(typed: str) -> DialString:
    """What was typed between D and `;` or the end of the line."""
    typed = typed.lstrip(" ")
    if typed[:1] in {"T", "P", "t", "p"}:
        typed = typed[1:]
    return DialString(typed.translate(_EVERYWHERE), typed.count(","), "@" in typed)
