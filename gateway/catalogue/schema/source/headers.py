"""headers of a source -> (name, value template) pairs that can be sent (RFC 9110 section 5)."""

import re
from typing import Final

from gateway.catalogue.schema.source.slot_check import SlotCheck
from gateway.catalogue.schema.table import Table

_TOKEN: Final = re.compile(r"[!#$%&'*+\-.^_`|~0-9A-Za-z]+")
_FORM: Final = "a header's name: letters, digits and -"
_BY_GATEWAY: Final = frozenset(
    {
        *("host", "content-length", "transfer-encoding", "content-encoding", "accept-encoding", "range"),
        *("connection", "keep-alive", "proxy-connection", "te", "trailer", "upgrade", "expect"),
        *("if-match", "if-none-match", "if-modified-since", "if-unmodified-since", "if-range"),
    }
)
"""Fields that the gateway sends itself: framing, codings and validators."""

_CREDENTIALS: Final = frozenset({"authorization", "proxy-authorization"})


def name_fault(name: str) -> tuple[str, str] | None:
    """What is wrong with a header's name, and what is allowed; None where nothing is."""
    if not _TOKEN.fullmatch(name):
        return "no header's name", _FORM
    if name.lower() in _BY_GATEWAY:
        return f"{name}, which the gateway sets itself", "other headers"
    return None


def read_headers(table: Table, check: SlotCheck) -> tuple[tuple[str, str], ...]:
    """The pairs in the order of the file. Values may hold `{arg}`."""
    headers: list[tuple[str, str]] = []
    seen: dict[str, str] = {}
    for path, name, value in table.text_table("headers"):
        fault = name_fault(name)
        if fault is not None:
            table.report.at_key(path, *fault)
        elif name.lower() in _CREDENTIALS:
            allowed = 'auth = { bearer = true, secret = "env:NAME" }, or basic = USER'
            table.report.at_key(path, "a secret in this file", allowed, "auth")
        elif name.lower() in seen:
            table.report.at_key(path, f"{name}, which is there as {seen[name.lower()]}", "each header once")
        elif not value.isascii():
            table.report.at_value(path, "characters beyond ASCII", "printable ASCII, or %hh")
        else:
            seen[name.lower()] = name
            headers.append((name, value.strip(" ")))
        check.text(path, value)
    return tuple(headers)
