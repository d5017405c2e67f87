"""[hear.PORT] -> the ports that are reserved for calls in."""

import re
from typing import Final

from gateway.catalogue.model import LineEnd, ReservedPort
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.encodings import read_encoding, without_raw
from gateway.catalogue.schema.values.hosts import read_listening_host

_NUMBER: Final = re.compile(r"[1-9][0-9]{0,4}")
_HIGHEST: Final = 65_535


def read_reserved(top: Table) -> dict[int, ReservedPort]:
    """The ports by number."""
    found: dict[int, ReservedPort] = {}
    for name, values in (top.table("hear") or {}).items():
        path = (*top.at("hear"), name)
        if not isinstance(values, dict):
            top.report.at_key(path, shown(values), "a table: [hear.PORT]")
            continue
        if _NUMBER.fullmatch(name) is None or int(name) > _HIGHEST:
            top.report.at_key(path, f"the port {shown(name)}", f"1 to {_HIGHEST}, as [hear.8200]")
            continue
        table = Table(top.report, "hear", path, values)
        default = ReservedPort(int(name))
        host, busy, waiting = read_listening_host(table), table.text("busy"), table.seconds("waiting")
        raw = table.flag("raw") or False
        without_raw(table, raw=raw)
        found[int(name)] = ReservedPort(
            port=int(name),
            host=host or default.host,
            banner=table.text("banner", empty=True) or "",
            busy=busy or default.busy,
            waiting=default.waiting if waiting is None else float(waiting),
            telnet=table.flag("telnet") or False,
            lines=table.member("lines", LineEnd),
            charset=read_encoding(table),
            raw=raw,
        )
    return found
