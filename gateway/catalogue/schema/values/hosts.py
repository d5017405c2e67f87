"""`host` of a listener -> an address or a host name."""

import ipaddress

from gateway.catalogue.calling.addresses import read_host
from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.schema.table import Table


def read_listening_host(table: Table) -> str | None:
    """An address in its own spelling, or a host name; None where nothing, or nothing usable, is said."""
    text = table.text("host")
    if text is None:
        return None
    try:
        return str(ipaddress.ip_address(text))
    except ValueError:
        pass
    try:
        return read_host(text)
    except TextFault as fault:
        table.report.inside(table.at("host"), fault)
        return None


def same_port(one: tuple[str, int], other: tuple[str, int]) -> bool:
    """Whether two addresses to listen at, as host and port, are in each other's way; port 0 never is."""
    if one[1] == 0 or one[1] != other[1]:
        return False
    hosts = {_address(one[0]), _address(other[0])}
    return len(hosts) == 1 or not hosts.isdisjoint({"0.0.0.0", "::"})  # noqa: S104 (compared, not bound)


def _address(host: str) -> str:
    return "127.0.0.1" if host == "localhost" else host
