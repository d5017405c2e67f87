"""[[listen]] -> listeners, none in another's way."""

from collections.abc import Collection, Iterable, Mapping
from functools import partial

from gateway.catalogue.document.mistakes import nearest
from gateway.catalogue.document.positions import Path
from gateway.catalogue.model import Listener, ReservedPort, Speaks
from gateway.catalogue.schema.devices import read_device
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.hosts import read_listening_host, same_port
from gateway.catalogue.schema.values.networks import read_by_address, read_networks


def read_listeners(
    top: Table, profiles: Iterable[str], reserved: Mapping[int, ReservedPort], rights: Collection[str]
) -> tuple[Listener, ...]:
    """The listeners of the file, or the one that there is without any. `profiles` and `rights` are the names
    that there are, in upper case.
    """
    names = tuple(profiles)
    listeners: list[Listener] = []
    sure: list[bool] = []  # whether its host and port are what the file says
    for path, values in top.tables("listen"):
        table = Table(top.report, "listen", path, values)
        port, host = table.integer("port"), read_listening_host(table)
        default = Listener()
        resume, seconds = _resume(table)
        listener = Listener(
            host=host or default.host,
            port=default.port if port is None else port,
            profile=_profile(table, names) or default.profile,
            greeting=table.flag("greeting") or False,
            by_address=read_by_address(table, "by_address", partial(_known, "profile", table, names)),
            resume=resume,
            resume_for=default.resume_for if seconds is None else float(seconds),
            device=read_device(table),
            speaks=table.member("speaks", Speaks) or default.speaks,
            rings=_rings(table, reserved),
            networks=read_networks(table, "networks") if "networks" in table else None,
            rights=_rights(table, rights),
            rights_by_address=read_by_address(
                table, "rights_by_address", partial(_known, "rights", table, rights)
            ),
        )
        _modem_alone(table, listener.speaks)
        read = {"host": host, "port": port}
        sure.append(
            table.settled(*read, "device")
            and not any(key in table and value is None for key, value in read.items())
        )
        if listener.device is not None:
            _twice(table, listener.device.path, listeners)
            listeners.append(listener)
            continue
        known = (index for index, each in enumerate(listeners) if sure[index] and _clash(each, listener))
        clash = next(known, None)
        if clash is not None and sure[-1]:
            found = f"{listener.host}:{listener.port}, where [[listen]] number {clash + 1} listens"
            report = top.report.at_value if "port" in table else top.report.at_key
            report(table.at("port") if "port" in table else path, found, "another port, or 0 for a free one")
        elif sure[-1]:
            _beside(table, listener, reserved)
        listeners.append(listener)
    if not listeners:
        _beside_the_only(top, reserved)
    return tuple(listeners) or (Listener(),)


def _clash(one: Listener, other: Listener) -> bool:
    return one.device is None and same_port((one.host, one.port), (other.host, other.port))


def _rings(table: Table, reserved: Mapping[int, ReservedPort]) -> int | None:
    """A reserved port's number; only at a listener that speaks modem."""
    number = table.integer("rings")
    if number is None:
        return None
    if str(table.raw("speaks")).lower() != Speaks.MODEM.value and table.settled("speaks"):
        found = "rings, where requests are spoken"
        table.report.at_key(table.at("rings"), found, 'speaks = "modem" beside it')
    if number not in reserved:
        if table.report.intact(("hear",)):
            known = " ".join(map(str, sorted(reserved))) or "this file reserves no ports: [hear.PORT]"
            table.wrong("rings", f"{number}, which is no reserved port", allowed=known)
        return None
    return number


def _modem_alone(table: Table, speaks: Speaks) -> None:
    """What is for clients that send requests has no use where modem is spoken."""
    for key in ("greeting", "resume"):
        if speaks is Speaks.MODEM and table.raw(key) is True:
            table.report.at_key(
                table.at(key), f"{key}, where modem is spoken", f'{key} where speaks = "requests"'
            )


def _beside(table: Table, listener: Listener, reserved: Mapping[int, ReservedPort]) -> None:
    """No listener where callers are taken."""
    found = reserved.get(listener.port)
    if found is not None and same_port((found.host, found.port), (listener.host, listener.port)):
        what = f"{listener.host}:{listener.port}, which [hear.{listener.port}] reserves"
        report = table.report.at_value if "port" in table else table.report.at_key
        where = table.at("port") if "port" in table else table.path
        report(where, what, "another port, or 0 for a free one")


def _beside_the_only(top: Table, reserved: Mapping[int, ReservedPort]) -> None:
    """Nor where the listener is that there is without any in the file."""
    default = Listener()
    found = reserved.get(default.port)
    if found is not None and same_port((found.host, found.port), (default.host, default.port)):
        path = (*top.at("hear"), str(found.port))
        top.report.at_key(path, f"{default.port}, where the gateway itself listens", "another port")


def _twice(table: Table, path: str, listeners: Iterable[Listener]) -> None:
    for number, each in enumerate(listeners, 1):
        if each.device is not None and each.device.path == path:
            found = f"{path}, which is [[listen]] number {number}'s"
            table.report.at_value(table.at("device"), found, "each device once")


def _profile(table: Table, names: tuple[str, ...]) -> str | None:
    text = table.text("profile")
    return None if text is None else _known("profile", table, names, table.at("profile"), text)


def _rights(table: Table, names: Collection[str]) -> str:
    text = table.text("rights")
    return "" if text is None else _known("rights", table, names, table.at("rights"), text) or ""


def _known(section: str, table: Table, names: Collection[str], path: Path, text: str) -> str | None:
    """The name of a [section.NAME] in upper case, or None where there is none so named."""
    if text.upper() in names:
        return text.upper()
    if table.report.intact((section,)):
        near = nearest(text, names).lower()
        known = " ".join(sorted(each.lower() for each in names)) or f"this file has none: [{section}.NAME]"
        table.report.at_value(path, f"{shown(text)}, which is no {section}", known, near)
    return None


def _resume(table: Table) -> tuple[bool, int | None]:
    resume, seconds = table.flag("resume"), table.seconds("resume_for")
    if "resume_for" in table and (resume is False or table.lacks("resume")):
        table.report.at_key(table.at("resume_for"), "resume_for without resume", "resume = true beside it")
    return resume or False, seconds
