"""`headrace doctor`: what stands in the way of a gateway that is to run for years, and what to do."""

import argparse
import os
import shutil
import ssl
import stat
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path
from typing import Final

from adapters import limits
from gateway.catalogue.calling.addresses import is_literal_host
from gateway.commands import wiring
from gateway.commands.doctor_live import names, web
from gateway.commands.findings import DAY, SOON, Finding, Patient
from gateway.service import damage
from gateway.service.running.descriptors import resource, wanted
from gateway.service.spool import aside
from gateway.service.spool.folder import look

_WRITTEN: Final = datetime(2026, 11, 1, tzinfo=UTC)  # no clock that is right tells an earlier time


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "doctor",
        help="look for what stands in the way of running for years",
        description="Check the catalogue, permissions, the clock, certificates, the disk, devices and who can"
        " reach the gateway. It changes nothing and asks no far server; with --live it looks up their names,"
        " and asks each web server once, for its certificate and its clock.",
        epilog=f"It exits with 1 when something is to be done. {epilog}",
    )
    wiring.add_config(parser)
    parser.add_argument("--live", action="store_true", help="look up far servers, and ask those of the web")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """0 where nothing is to be done, 1 where something is, 2 where the catalogue is wrong."""
    path = Path(options.config)
    catalogue = wiring.catalogue_or_complaint(path)
    if catalogue is None:
        return wiring.WRONG_USAGE
    patient = Patient(catalogue, path.absolute().parent, time.time())
    findings = [each for look in (*_LOOKS, *((names, web) if options.live else ())) for each in look(patient)]
    for each in findings:
        print(each.line)
    to_do = sum(not each.caution for each in findings)
    if not findings:
        print("Nothing to be done.")
    elif not to_do:
        print("Nothing has to be done.", file=sys.stderr)
    return 1 if to_do else 0


def secrets(patient: Patient) -> Iterator[Finding]:
    """Files of secrets that others may read (CWE-732)."""
    for each in sorted(each.text for each in patient.catalogue.secrets if each.text.startswith("file:")):
        path = patient.folder / Path(each.removeprefix("file:")).expanduser()
        if path.stat().st_mode & stat.S_IROTH:
            yield Finding(each, "everybody on this computer may read it", f"chmod 600 {path}")


def state(patient: Patient) -> Iterator[Finding]:
    """The state folder: there or to be made, writable, for nobody else, and with room."""
    path = Path(patient.catalogue.gateway.state)
    there = wiring.standing(path)
    if not os.access(there, os.W_OK | os.X_OK):
        yield Finding(f"the state folder {path}", "it cannot be written", "give it to the gateway's user")
    elif there == path and path.stat().st_mode & stat.S_IWOTH:
        yield Finding(f"the state folder {path}", "others may change what it keeps", f"chmod 700 {path}")
    free = shutil.disk_usage(there).free
    wanted = limits.STORE_BYTES + limits.SPOOL_RESERVE_BYTES
    if free < wanted:
        why = f"{free >> 20} MiB are free, and copies alone may take {wanted >> 20}"
        yield Finding(f"the disk of {there}", why, "make room, or name another state folder")


def damaged(patient: Patient) -> Iterator[Finding]:
    """What the gateway found damaged and set aside: transfers are somebody's work, the rest is rebuilt."""
    folder = Path(patient.catalogue.gateway.state)
    spool = folder / "spool"
    for each in damage.lying_aside(folder):
        why = "it was damaged, and begun anew"
        yield Finding(str(each), why, "look at the disk; remove it when you need it no more", caution=True)
    if not spool.is_dir():
        return
    try:
        found, foreign = aside.lying_aside(spool), look(spool).foreign
    except OSError as error:
        yield Finding(f"the spool {spool}", f"it cannot be read: {error.strerror}", "look at its rights")
        return
    if found:
        numbers = " ".join(str(each.number) for each in found)
        why = f"damaged transfers lie aside in it: {numbers}"
        yield Finding(
            f"the spool {spool}", why, "headrace spool says which; headrace spool drop N forgets one"
        )
    if foreign:
        why = f"{foreign} of its files are not the gateway's"
        yield Finding(f"the spool {spool}", why, "see what put them there", caution=True)


def clock(patient: Patient) -> Iterator[Finding]:
    """A clock that stands wrong spoils certificates, codes and ages."""
    if patient.now < _WRITTEN.timestamp():
        told = datetime.fromtimestamp(patient.now, UTC).date()
        yield Finding("the clock", f"it says {told}, which is past", "set it, or have it set by NTP")


def certificates(patient: Patient) -> Iterator[Finding]:
    """The catalogue's own trust anchors, and how long they last."""
    places, sources = patient.catalogue.places.values(), patient.catalogue.sources.values()
    named = [*(each.ca for each in places), *(each.ca for each in sources)]
    for name in sorted({each for each in named if each}):
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.load_verify_locations(name)
        ends = [ssl.cert_time_to_seconds(str(each["notAfter"])) for each in context.get_ca_certs()]
        days = int((max(ends, default=0) - patient.now) // DAY)
        if days < 0:
            yield Finding(name, "all its certificates have expired", "ask for new ones")
        elif days < SOON:
            yield Finding(
                name, f"its last certificate expires in {days} days", "ask for new ones", caution=True
            )


def descriptors(patient: Patient) -> Iterator[Finding]:
    """Whether so many clients fit."""
    if resource is None:
        return
    clients = patient.catalogue.gateway.clients
    least = wanted(clients, len(patient.catalogue.reserved))
    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard != resource.RLIM_INFINITY and hard < least:
        why = f"{hard} are allowed, and {clients} clients want {least}"
        yield Finding("open files", why, "LimitNOFILE= in the unit, or fewer [gateway] clients")


def devices(patient: Patient) -> Iterator[Finding]:
    """Serial devices that are not there, or not for us."""
    for each in patient.catalogue.listeners:
        if each.device is None:
            continue
        path = each.device.path
        if not Path(path).exists():
            why = "it is not there; the gateway waits for it"
            yield Finding(path, why, "plug it in, or look for its name in /dev/serial/by-id", caution=True)
        elif not os.access(path, os.R_OK | os.W_OK):
            yield Finding(path, "it may not be used", "add the gateway's user to its group, mostly dialout")


def doors(patient: Patient) -> Iterator[Finding]:
    """Who can reach the gateway, and do everything."""
    for each in patient.catalogue.listeners:
        if each.device is None and not each.rights and each.networks is None and _is_open(each.host):
            where = f"{each.host}:{each.port}"
            why = "whoever reaches it may do all that the catalogue names"
            yield Finding(where, why, "set networks or rights at that [[listen]]", caution=True)


_LOOKS: Final[tuple[Callable[[Patient], Iterator[Finding]], ...]] = (
    secrets,
    state,
    damaged,
    clock,
    certificates,
    descriptors,
    devices,
    doors,
)


def _is_open(host: str) -> bool:
    return host != "localhost" and not (is_literal_host(host) and ip_address(host).is_loopback)
