"""the members' file (TOML) <-> Members: who may log in, with what, and what they may do then.

`headrace member` writes it. Passwords stand there as salted hashes only; a key of RFC 6238 codes cannot be
kept so, since codes are made from it: that is why the file is private, and why nothing but the names of its
tables is shown of it.
"""

import re
import tomllib
from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Final

import tomli_w

from gateway.catalogue.access import Member
from gateway.catalogue.document.mistakes import CatalogueFaults, Mistake, nearest, printable
from gateway.catalogue.schema.names import ALLOWED_NAME, is_name

_KEYS: Final = ("rights", "password", "key")
_HASH: Final = re.compile(r"\$argon2id\$v=[0-9]+\$m=[0-9]+,t=[0-9]+,p=[0-9]+\$[A-Za-z0-9+/]+\$[A-Za-z0-9+/]+")
_KEY: Final = re.compile(r"[A-Z2-7]{16,128}")  # RFC 4648 section 6, without padding; RFC 4226 section 4, R6
_HEADER: Final = re.compile(r"[ \t]*\[[ \t]*[\"']?(?P<name>[^\]\"'#]*?)[\"']?[ \t]*\]")
_LINE: Final = re.compile(r"at line ([0-9]+)")
_HEAD: Final = "# Who may log in. `headrace member` writes this file; keep it private.\n\n"


def read_members(text: str, filename: str, rights: Collection[str]) -> Mapping[str, Member]:
    """The members by name in upper case. `rights` are the names of those that there are, in upper case.

    CatalogueFaults tells every mistake; `filename` is for that.
    """
    shown = "\n".join(line if _HEADER.match(line) else "" for line in text.split("\n"))
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = _LINE.search(str(error))
        number = int(line[1]) if line is not None else text.count("\n") + 1
        fault = Mistake(number, 1, 1, "the file", "no TOML", "what headrace member writes")
        raise CatalogueFaults((fault,), shown, filename) from None
    found: dict[str, Member] = {}
    mistakes: list[Mistake] = []
    for name, values in document.items():
        wrong = _wrong(name, values, rights)
        if name.upper() in found:
            wrong = (
                f"{printable(name)}, once more in another case",
                "names that differ in more than case",
                "",
            )
        if wrong is not None:
            line_number, length = _place(shown, name)
            mistakes.append(Mistake(line_number, 1, length, printable(name), *wrong))
        else:
            found[name.upper()] = _member(name, values)
    if mistakes:
        raise CatalogueFaults(tuple(mistakes), shown, filename)
    return MappingProxyType(found)


def _member(name: str, values: Mapping[str, str]) -> Member:
    upper, rights = name.upper(), values.get("rights", "").upper()
    return Member(upper, rights, values.get("password", ""), values.get("key", ""))


def _place(shown: str, name: str) -> tuple[int, int]:
    """The line of a table's header, from 1, and how much of it is marked; the first where there is none."""
    for number, line in enumerate(shown.split("\n"), 1):
        header = _HEADER.match(line)
        if header is not None and header["name"] == name:
            return number, header.end()
    return 1, 1


def _wrong(name: str, values: object, rights: Collection[str]) -> tuple[str, str, str] | None:
    """What is found, what is allowed, and the nearest right word; None where nothing is wrong."""
    if not isinstance(values, dict):
        return "no table", "[NAME], a table for each member", ""
    if not is_name(name):
        return f"the name {printable(name)}", ALLOWED_NAME, ""
    for key, value in values.items():
        if key not in _KEYS:
            return f"the key {printable(key)}", " ".join(_KEYS), nearest(key, _KEYS)
        if not isinstance(value, str):
            return f"{key}, which is no text", "a text", ""
    wanted = values.get("rights", "").upper()
    if wanted and wanted not in rights:
        known = " ".join(sorted(each.lower() for each in rights)) or "the catalogue has none: [rights.NAME]"
        return f"rights {printable(wanted.lower())}", known, nearest(wanted, rights).lower()
    if values.get("password") and _HASH.fullmatch(values["password"]) is None:
        return "a password that is no hash", "what headrace member add writes", ""
    if values.get("key") and _KEY.fullmatch(values["key"]) is None:
        return "a key that is none", "base 32, of 16 to 128 characters", ""
    if not (values.get("password") or values.get("key")):
        return "neither password nor key", "one of them", ""
    return None


def members_text(members: Mapping[str, Member]) -> str:
    """The file for these members, by name."""
    document = {}
    for name, each in sorted(members.items()):
        values = {"rights": each.rights.lower(), "password": each.password, "key": each.key}
        document[name.lower()] = {key: value for key, value in values.items() if value}
    return _HEAD + tomli_w.dumps(document)
