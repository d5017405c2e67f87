"""[gateway] -> GatewaySettings."""

import ipaddress
import unicodedata
from dataclasses import replace
from types import MappingProxyType

from gateway.catalogue.calling.addresses import read_host, split_url
from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.document.positions import Path
from gateway.catalogue.model import GatewaySettings
from gateway.catalogue.schema.table import Table


def read_gateway(top: Table) -> GatewaySettings:
    """The `[gateway]` table, or all defaults."""
    values = top.table("gateway")
    if values is None:
        return GatewaySettings()
    table = Table(top.report, "gateway", top.at("gateway"), values)
    defaults = GatewaySettings()
    urls = tuple(host for path, text in table.texts("urls") if (host := _pattern(table, path, text)))
    allow = tuple(entry for path, text in table.texts("allow") if (entry := _entry(table, path, text)))
    wait, idle, stall = (table.seconds(key) for key in ("wait", "idle", "stall"))
    return replace(
        defaults,
        urls=urls,
        allow=allow,
        state=table.text("state") or defaults.state,
        wait=defaults.wait if wait is None else float(wait),
        letters=MappingProxyType(_letters(table)),
        clients=table.integer("clients") or defaults.clients,
        idle=defaults.idle if idle is None else float(idle),
        stall=defaults.stall if stall is None else float(stall),
        metrics=table.integer("metrics"),
        members=table.text("members") or defaults.members,
        per_address=table.integer("per_address"),
        at_once=table.integer("at_once") or defaults.at_once,
        queue=table.integer("queue"),
    )


def _pattern(table: Table, path: Path, text: str) -> str:
    """A host, or `*.` and a domain; "" where it is neither."""
    star = "*." if text.startswith("*.") else ""
    host = _host(table, path, text, len(star))
    return star + host if host else ""


def _entry(table: Table, path: Path, text: str) -> str:
    """An address, a network or a host; "" where it is none."""
    try:
        return str(ipaddress.ip_network(text)) if "/" in text else str(ipaddress.ip_address(text))
    except ValueError:
        if "/" not in text or "://" in text:
            return _host(table, path, text, 0)
        try:
            near = str(ipaddress.ip_network(text, strict=False))
        except ValueError:
            near = ""
        found = f"{text}, which has host bits set" if near else "no network"
        table.report.at_value(path, found, "a network such as 192.0.2.0/24 or 2001:db8::/32", near)
        return ""


def _host(table: Table, path: Path, text: str, start: int) -> str:
    try:
        return read_host(text[start:])
    except TextFault as fault:
        fault.start += start
        if "://" in text:
            fault.start, fault.length, fault.near = 0, len(text), _host_of(text)
        table.report.inside(path, fault)
        return ""


def _host_of(text: str) -> str:
    try:
        return split_url(text).host
    except TextFault:
        return ""


def _letters(table: Table) -> dict[str, str]:
    letters: dict[str, str] = {}
    for path, character, spelling in table.text_table("letters"):
        composed = unicodedata.normalize("NFC", character)
        if len(composed) != 1 or not composed.isprintable():
            table.report.at_key(path, f"{len(composed)} characters", "one printable character")
        elif not spelling.isascii():
            table.report.at_value(path, "letters beyond ASCII", "printable ASCII")
        else:
            letters[composed] = spelling
    return letters
