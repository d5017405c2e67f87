"""[[listen]] -> listeners, none in another's way."""

import ipaddress
from collections.abc import Iterable

from gateway.catalogue.addresses import read_host
from gateway.catalogue.mistakes import TextFault, nearest
from gateway.catalogue.model import Listener
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table


def read_listeners(top: Table, profiles: Iterable[str]) -> tuple[Listener, ...]:
    """The listeners of the file, or the one that there is without any. `profiles` are in upper case."""
    names = tuple(profiles)
    listeners: list[Listener] = []
    sure: list[bool] = []  # whether its host and port are what the file says
    for path, values in top.tables("listen"):
        table = Table(top.report, "listen", path, values)
        port, host = table.integer("port"), _host(table)
        default = Listener()
        listener = Listener(
            host=host or default.host,
            port=default.port if port is None else port,
            profile=_profile(table, names) or default.profile,
            greeting=table.flag("greeting") or False,
        )
        read = {"host": host, "port": port}
        sure.append(
            table.settled(*read) and not any(key in table and value is None for key, value in read.items())
        )
        known = (index for index, each in enumerate(listeners) if sure[index] and _clash(each, listener))
        clash = next(known, None)
        if clash is not None and sure[-1]:
            found = f"{listener.host}:{listener.port}, where [[listen]] number {clash + 1} listens"
            report = top.report.at_value if "port" in table else top.report.at_key
            report(table.at("port") if "port" in table else path, found, "another port, or 0 for a free one")
        listeners.append(listener)
    return tuple(listeners) or (Listener(),)


def _host(table: Table) -> str | None:
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


def _profile(table: Table, names: tuple[str, ...]) -> str | None:
    text = table.text("profile")
    if text is None or text.upper() in names:
        return text and text.upper()
    if table.report.intact(("profile",)):
        near = nearest(text, names).lower()
        known = " ".join(sorted(each.lower() for each in names))
        table.wrong("profile", f"{shown(text)}, which is no profile", near, known)
    return None


def _clash(one: Listener, other: Listener) -> bool:
    if one.port == 0 or one.port != other.port:
        return False
    hosts = {_address(one.host), _address(other.host)}
    return len(hosts) == 1 or not hosts.isdisjoint({"0.0.0.0", "::"})  # noqa: S104 (compared, not bound)


def _address(host: str) -> str:
    return "127.0.0.1" if host == "localhost" else host
