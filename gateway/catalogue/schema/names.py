"""[source.NAME], [place.NAME], [profile.NAME] -> names that a client can type, each once in any case."""

import re
from collections.abc import Iterator, Mapping
from typing import Final

from adapters import limits
from gateway.catalogue.document.positions import Path
from gateway.catalogue.keys.key import SCHEMES
from gateway.catalogue.schema.report import Report, shown
from gateway.catalogue.schema.table import Table

_NAME: Final = re.compile(rf"[A-Za-z0-9-]{{1,{limits.NAME_CHARACTERS}}}")
_OTHER_SCHEMES: Final = (
    "about acct blob coap coaps data dns gemini git gopher icap imap imaps ipp ipps irc ircs jabber "
    "javascript ldap ldaps magnet mailto mms mqtt mqtts nfs nntp pop redis rsync rtmp rtsp rtsps sftp sip "
    "sips skype smb snmp ssh stun stuns svn tel tftp turn turns urn view-source vnc webcal ws wss xmpp"
)
URL_SCHEMES: Final = frozenset(SCHEMES) | frozenset(_OTHER_SCHEMES.split())
"""Words that no name may be: the gateway's schemes, and those of IANA's list that people type (from memory).

Registered schemes that are everyday nouns, and that nobody types before a colon, stay free for names: news,
tag, geo, feed, info.
"""

ALLOWED_NAME: Final = f"1 to {limits.NAME_CHARACTERS} of A-Z 0-9 -, and no URL scheme"


def is_name(name: str) -> bool:
    """Whether it is a name that requests can hold."""
    return _NAME.fullmatch(name) is not None and name.lower() not in URL_SCHEMES


def check_name(report: Report, path: Path, name: str) -> bool:
    """Whether a name is one that requests can hold."""
    if not _NAME.fullmatch(name):
        near = re.sub(r"[^A-Za-z0-9-]+", "-", name)[: limits.NAME_CHARACTERS].strip("-")
        near = near if name.isascii() else ""  # a word without some of its letters is no name
        report.at_key(path, f"the name {shown(name)}", ALLOWED_NAME, near)
        return False
    if name.lower() in URL_SCHEMES:
        report.at_key(path, f"the name {name}, which is a URL scheme", ALLOWED_NAME)
        return False
    return True


def named_tables(top: Table, key: str) -> Iterator[tuple[str, Path, Mapping[str, object]]]:
    """The tables below `key`: name in upper case, path, values. What is wrong with a name is reported.

    A table with a wrong name comes out all the same, so that its own mistakes show in the same run; a second
    one of the same name does not.
    """
    seen: dict[str, str] = {}
    for name, values in (top.table(key) or {}).items():
        path = (*top.at(key), name)
        if not isinstance(values, dict):
            many = isinstance(values, list) and all(isinstance(each, dict) for each in values)
            found = f"[[{key}.{name}]]" if many else shown(values)
            top.report.at_key(path, found, f"a table: [{key}.NAME]", f"[{key}.{name}]" if many else "")
            continue
        folded = name.upper()
        if folded in seen:
            found = f"the name {name}, which is {seen[folded]} in another case"
            top.report.at_key(path, found, "names that differ in more than case")
            continue
        seen[folded] = name
        check_name(top.report, path, name)
        yield folded, path, values
