"""`headrace unit`: systemd units for one catalogue, that leave the gateway no more than it needs."""

import argparse
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from adapters import limits
from gateway.catalogue.model import Catalogue, SerialDevice
from gateway.commands import wiring
from gateway.service.doors import where

_STATES: Final = Path("/var/lib")
_STOP_SECONDS: Final = 15  # beyond `wait`, before systemd kills what does not end
_WATCHDOG_SECONDS: Final = 30  # without a word from the loop, before systemd starts the gateway anew
_PRIVILEGED: Final = 1_024  # ports below need a capability

_FIXED: Final = """\
DynamicUser=yes
UMask=0077
LimitCORE=0
NoNewPrivileges=yes
ProtectSystem=strict
ProtectHome=read-only
ProtectProc=invisible
ProcSubset=pid
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
PrivateTmp=yes
PrivateMounts=yes
RemoveIPC=yes
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
KeyringMode=private
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged
SystemCallErrorNumber=EPERM"""
"""systemd.exec(5). AF_NETLINK is for looking names up, AF_UNIX for the processes that pick values."""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "unit",
        help="print a systemd unit",
        description="Print a systemd unit that runs headrace serve with this catalogue, and leaves it as"
        " little else as it can. Read it, save it as /etc/systemd/system/headrace.service, then: systemctl"
        " enable --now headrace. `headrace unit socket` prints headrace.socket, with which systemd itself"
        " opens the ports, and `headrace unit activated` the service for that: it needs no right to low"
        " ports, and a client that comes while the gateway starts waits instead of being refused.",
        epilog=f'The state folder has to be below {_STATES}: [gateway] state = "{_STATES}/headrace".'
        f" {epilog}",
    )
    parser.add_argument(
        "what",
        nargs="?",
        choices=("service", "activated", "socket"),
        default="service",
        help="which unit (default: %(default)s)",
    )
    wiring.add_config(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """1 where no unit can be made for this catalogue as it is, 2 where that is wrong."""
    path = Path(options.config).absolute()
    catalogue = wiring.catalogue_or_complaint(path, offline=True)
    if catalogue is None:
        return wiring.WRONG_USAGE
    faults = [*_faults(catalogue)]
    for each in faults:
        print(f"headrace: {each}", file=sys.stderr)
    if faults:
        return 1
    if options.what == "socket":
        print("\n".join(_socket(catalogue, path)))
        return 0
    print("\n".join(_lines(catalogue, path, activated=options.what == "activated")))
    for each in _cautions(catalogue):
        print(f"headrace: {each}", file=sys.stderr)
    return 0


def _state(catalogue: Catalogue) -> Path | None:
    """The state folder as seen from /var/lib; None where it is not there."""
    try:
        return Path(catalogue.gateway.state).relative_to(_STATES)
    except ValueError:
        return None


def _faults(catalogue: Catalogue) -> Iterator[str]:
    if _state(catalogue) is None:
        yield f'the state folder is not below {_STATES}: [gateway] state = "{_STATES}/headrace"'
    for secret in sorted(each.text for each in catalogue.secrets if each.text.startswith("env:")):
        name = secret.removeprefix("env:").lower().replace("_", "-")
        yield f'{secret} is not there in a unit: secret = "credential:{name}", its file in /etc/credstore'


def _cautions(catalogue: Catalogue) -> Iterator[str]:
    """What whoever installs it has to see to."""
    state = Path(catalogue.gateway.state)
    if not Path(catalogue.gateway.members).is_relative_to(state):
        yield f'members: the unit can read them in its state folder only: members = "{state}/members.toml"'
    for secret in sorted(each.text for each in catalogue.secrets if each.text.startswith("file:")):
        yield f"{secret} has to be readable for the unit's user, whom nobody knows: credential:NAME is better"
    for folder in _written(catalogue):
        yield f"{folder} is written by the unit's own user: let its group in, and add SupplementaryGroups="


def _ports(catalogue: Catalogue) -> list[tuple[str, int]]:
    """Host and port of all that listens."""
    doors = [(each.host, each.port) for each in catalogue.listeners if each.device is None and each.port]
    return [*doors, *((each.host, each.port) for each in catalogue.reserved.values())]


def _socket(catalogue: Catalogue, path: Path) -> Iterator[str]:
    yield f"# Made by headrace unit for {path}: systemd.socket(5) explains it."
    yield from ("[Unit]", "Description=The ports of headrace", "", "[Socket]")
    for host, port in _ports(catalogue):
        yield f"ListenStream={where('127.0.0.1' if host == 'localhost' else host, port)}"
    yield f"Backlog={limits.BACKLOG}"
    yield "BindIPv6Only=ipv6-only"
    yield "FreeBind=yes"  # an address may come up later than the ports
    yield from ("", "[Install]", "WantedBy=sockets.target")


def _lines(catalogue: Catalogue, path: Path, *, activated: bool) -> Iterator[str]:
    program = shutil.which(sys.argv[0]) or sys.argv[0]
    yield f"# Made by headrace unit for {path}. Read it before you use it; systemd.exec(5) explains it."
    yield from ("[Unit]", "Description=headrace, a gateway for small machines")
    yield from ("Wants=network-online.target", "After=network-online.target")
    if activated:
        yield from ("Requires=headrace.socket", "After=headrace.socket")
    yield from ("", "[Service]", "Type=notify", f"WatchdogSec={_WATCHDOG_SECONDS}")
    yield f"ExecStart={_quoted(str(Path(program).absolute()))} serve --config {_quoted(str(path))}"
    yield from ("ExecReload=/bin/kill -HUP $MAINPID", "Restart=on-failure", "RestartSec=5")
    yield "KillMode=mixed"  # the processes that pick values are needed for the last replies
    yield f"TimeoutStopSec={round(catalogue.gateway.wait) + _STOP_SECONDS}"
    yield f"StateDirectory={_quoted(str(_state(catalogue)))}"
    yield "StateDirectoryMode=0700"
    for secret in sorted(each.text for each in catalogue.secrets):
        if secret.startswith("credential:"):
            yield f"LoadCredential={secret.removeprefix('credential:')}"
    for folder in _written(catalogue):
        yield f"ReadWritePaths={_quoted(str(folder))}"
    yield _FIXED
    low = not activated and any(port < _PRIVILEGED for _, port in _ports(catalogue))
    yield f"CapabilityBoundingSet={'CAP_NET_BIND_SERVICE' if low else ''}"
    yield f"AmbientCapabilities={'CAP_NET_BIND_SERVICE' if low else ''}"
    if not low:
        yield "PrivateUsers=yes"
    yield from _devices([each.device for each in catalogue.listeners if each.device is not None])
    yield from ("", "[Install]", "WantedBy=multi-user.target")
    if activated:
        yield "Also=headrace.socket"


def _devices(devices: list[SerialDevice]) -> Iterator[str]:
    if not devices:
        yield "PrivateDevices=yes"
        return
    yield "DevicePolicy=closed"
    for path in sorted({each.path for each in devices}):
        yield f"DeviceAllow={_quoted(path)} rw"
    yield "SupplementaryGroups=dialout"


def _written(catalogue: Catalogue) -> list[Path]:
    """The folders of this computer that clients may change."""
    places = catalogue.places.values()
    bases = {each.base for each in places if each.write and each.base.startswith("file://")}
    return sorted(map(wiring.folder_of, bases))


def _quoted(text: str) -> str:
    """One word of a unit's line (systemd.syntax(7), systemd.unit(5) on specifiers)."""
    text = text.replace("%", "%%").replace("$", "$$")
    if all(each.isalnum() or each in "/._-+:%@,=" for each in text):
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
