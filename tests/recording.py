"""demo_site/recording, as the live demo answers: python -m tests.recording [--write]

The demo is started, its sample session and everything else that can be asked of it is recorded, and its
origins, which are free ports, get the invented names of demo_site.offline. The time stands still meanwhile.
"""

import asyncio
import sys
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from shutil import copytree, rmtree
from typing import Any, Final

from adapters.port import Validators
from adapters.recorded.exchange import Content, Exchange, Message
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from demo_site.areas.running import Areas, DemoAreas
from demo_site.catalogue import demo_catalogue
from demo_site.offline import AREAS, HTTP_URL, HTTPS_URL, RECORDING
from demo_site.sample import SAMPLES
from demo_site.servers import DemoServers
from gateway.catalogue.calling.targets import read_ref
from gateway.catalogue.model import Catalogue
from gateway.commands import sites, wiring
from gateway.commands.say import converse
from gateway.service.clocks import Clock
from gateway.service.files.walking import Bounds, Walk
from gateway.service.logs import Redactor
from gateway.service.sites import Mode
from gateway.wire.replies import Lines

MOMENT: Final = datetime(2024, 5, 17, 5, 30, tzinfo=UTC)
"""When everything was recorded, as the recording says."""

MORE: Final = (
    "SET window=0",
    *(f"ASK {source} {station}" for source in ("TIDES", "WATER") for station in ("MOLE", "GATE", "BAR")),
    *(f"ASK {name}" for name in ("FERRIES", "LINES", "NOTICES", "NEWS", "MUSEUM", "FINDS", "MARKET")),
    *(f"ASK {name}" for name in ("PILOTS", "BERTHS", "BUSY", "SCORES")),
    "TELL SCORE MOLE 8200",
    "TELL SIGN",
    ">The tide is in.",
    ".",
    "READ ledger:greeting.txt",
    "STORE shelf:note.txt",
    ">A note for the shelf.",
    ".",
    "LIST shelf:",
    "COPY shelf:note.txt ledger:note.txt",
    "RENAME ledger:note.txt ledger:notes.txt",
    "ERASE ledger:notes.txt",
    "ERASE shelf:note.txt",
    "MKDIR ledger:lamps",
    "APPEND ledger:greeting.txt",
    ">And good night.",
    ".",
    "TEXT ledger:greeting.txt",
    "TEXT site:library/index.html",
    "TEXT quay:nothing-here.txt",
    "LIST quay:nothing-here/",
)
PLACES: Final = ("quay:", "library:", "shelf:", "ledger:")


def record(folder: Path) -> Folder:
    """The recording, made in `folder`, which is new."""
    with (
        tempfile.TemporaryDirectory() as scratch,
        DemoServers(Path(scratch)) as servers,
        DemoAreas(Path(scratch)) as areas,
    ):
        path = Path(scratch, "headrace.toml")
        origins = servers.http_url, servers.https_url, servers.ca_file
        path.write_text(demo_catalogue(*origins, areas=areas.urls, state=Path(scratch, "state")), "utf-8")
        catalogue = wiring.read_catalogue(path)
        redactor = Redactor()
        wiring.learn_secrets(redactor, catalogue)
        site = sites.open_site(Path(scratch, "site"), Mode.RECORD, catalogue, redactor)
        site = replace(site, clock=Clock(MOMENT))
        asyncio.run(_record(catalogue, wiring.Parts(catalogue, site=site)))
        kept = Folder(folder, Hiding(redactor), lambda: MOMENT)
        names = _names(servers, areas.urls)
        for exchange in site.folder.exchanges():
            kept.add(_fixed(_renamed(exchange, names)))
    return kept


def _names(servers: DemoServers, urls: Areas) -> Mapping[bytes, bytes]:
    """Each origin of the running demo, and its invented name."""
    pairs = [(servers.http_url, HTTP_URL), (servers.https_url, HTTPS_URL)]
    pairs += [(urls.quay, AREAS.quay), (urls.ledger, AREAS.ledger), (urls.shelf, AREAS.shelf)]
    pairs.append((urls.ledger.replace("dav:", "http:"), AREAS.ledger.replace("dav:", "http:")))
    return {one.rstrip("/").encode(): other.rstrip("/").encode() for one, other in pairs}


async def _record(catalogue: Catalogue, parts: wiring.Parts) -> None:
    def put(_: str, __: Lines) -> None:
        """What is said is in the recording."""

    sample = [line for each in SAMPLES for line in (each.request, *each.lines)]
    try:
        for requests in (sample, MORE):
            await converse(catalogue, parts.answers(lambda: catalogue), requests, put, parts.clock)
        for place in PLACES:
            far = parts.desk(lambda: catalogue).far(read_ref(catalogue, place))
            await Walk(far, Bounds(), lambda _: None).run()
    finally:
        await parts.aclose()


def _renamed(value: Any, names: Mapping[bytes, bytes]) -> Any:
    """The same with every origin under its invented name, wherever it stands."""
    if isinstance(value, Content):
        return Content(_replaced(value.read(), names))
    if isinstance(value, str):
        return _replaced(value.encode(), names).decode()
    if isinstance(value, datetime):
        return value if value < MOMENT else MOMENT
    if isinstance(value, Validators):  # tags of inodes and times; the site's own are in headers
        return Validators()
    if isinstance(value, tuple):
        return tuple(_renamed(each, names) for each in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(
            value, **{each.name: _renamed(getattr(value, each.name), names) for each in fields(value)}
        )
    return value


def _replaced(data: bytes, names: Mapping[bytes, bytes]) -> bytes:
    for name in sorted(names, key=len, reverse=True):
        data = data.replace(name, names[name])
    return data


def _fixed(exchange: Exchange) -> Exchange:
    """Without what no two recordings have in common."""
    reply = exchange.reply
    if isinstance(reply, Message):
        headers = tuple((name, value) for name, value in reply.headers if name.lower() != "date")
        reply = replace(reply, headers=headers)
    return replace(exchange, reply=reply, at=MOMENT, took=0.0)


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below `folder`."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def differences(one: Mapping[str, bytes], other: Mapping[str, bytes]) -> Iterable[str]:
    """The files that are not the same in both."""
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))


def main() -> int:
    """Compare, or write anew; 1 where what stands there is not what the demo says."""
    with tempfile.TemporaryDirectory() as scratch:
        made = Path(scratch, "recording")
        record(made)
        if "--write" in sys.argv:
            rmtree(RECORDING, ignore_errors=True)
            copytree(made, RECORDING)
        different = differences(contents(made), contents(RECORDING))
    print(*different, sep="\n")
    return 1 if different else 0


if __name__ == "__main__":
    sys.exit(main())
