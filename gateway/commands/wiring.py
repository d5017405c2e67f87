"""Options -> a gateway's parts: the one place that joins catalogue, adapters, cache and answers."""

import argparse
import asyncio
import errno
import logging
import os
import stat
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Final, TypeVar
from urllib.parse import unquote_to_bytes

from adapters import limits
from adapters.disks import to_spare
from adapters.errors import HeadraceError
from adapters.redaction import HIDDEN
from adapters.registry import SCHEMES
from adapters.trust import trust_context
from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.model import Catalogue, Place, Source
from gateway.catalogue.reading import load_catalogue
from gateway.catalogue.schema.values.secrets import OpenToOthers
from gateway.commands import membership
from gateway.service.adapters import Adapters
from gateway.service.answers import Answers
from gateway.service.caching.cache import Cache
from gateway.service.caching.store import Store
from gateway.service.clocks import CLOCK, Clock
from gateway.service.files.desk import FileDesk
from gateway.service.files.jobs import Jobs
from gateway.service.files.spooling import SpoolRoom
from gateway.service.layouts import Layouts
from gateway.service.logs import Redactor
from gateway.service.members.accounts import Accounts
from gateway.service.running.metrics import Number
from gateway.service.sites import Site
from gateway.service.streams.calls import Calls

_log = logging.getLogger(__name__)
WRONG_USAGE = 2
Entry = TypeVar("Entry", Place, Source)


DEFAULT_CONFIG: Final = "headrace.toml"


def add_config(parser: argparse.ArgumentParser) -> None:
    """The option that every subcommand takes."""
    parser.add_argument(
        "--config", metavar="FILE", default=DEFAULT_CONFIG, help="the catalogue (default: %(default)s)"
    )


def read_secret(folder: Path, reference: str) -> str | None:
    """The secret at `env:NAME`, `file:PATH` (from `folder`) or `credential:NAME` (systemd.exec(5),
    Credentials), or None where there is none to read. OpenToOthers where others may change its file; where
    they may read it, the log says so.

    Only an ordinary file is opened: what nobody writes to a FIFO would be waited for.
    """
    kind, _, name = reference.partition(":")
    if kind == "env":
        return os.environ.get(name)
    try:
        if kind == "credential":
            given = os.environ.get("CREDENTIALS_DIRECTORY")
            path = None if given is None else Path(given) / name
        else:
            path = folder / _expanded(name)
        if path is None or not path.is_file():
            return None
        with path.open(encoding="utf-8") as file:
            mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
            if mode & stat.S_IWOTH:
                raise OpenToOthers(mode)
            if mode & stat.S_IROTH:
                _log.info("others may read %s (mode %04o): chmod 600", path.name, mode)
            return file.read().rstrip("\r\n")
    except (OSError, ValueError):
        return None


def check_ca(folder: Path, name: str) -> str | None:
    """None where the certificate file `name` (from `folder`) can be used, else why not: "which ..."."""
    try:
        path = folder / _expanded(name)
        if not path.exists():
            return "is not there"
        if not path.is_file():
            return "is no ordinary file"
        trust_context(str(path))
    except (OSError, HeadraceError):
        return "cannot be read as PEM certificates"
    return None


def read_table(folder: Path, name: str) -> str | None:
    """The text of the mapping file `name` (from `folder`), at most a byte too long, or None for none.

    Only its comments can hold anything but ASCII, in whatever encoding. Only an ordinary file is opened.
    """
    try:
        path = folder / _expanded(name)
        if not path.is_file():
            return None
        with path.open("rb") as file:
            return file.read(limits.TABLE_BYTES + 1).decode("latin-1")
    except (OSError, ValueError):
        return None


def folder_of(base: str) -> Path:
    """The folder that a `file` URL is."""
    return Path(os.fsdecode(unquote_to_bytes(base.removeprefix("file://"))))


def standing(path: Path) -> Path:
    """The path, or what there is of it: where the rest would be made."""
    return next(each for each in (path, *path.absolute().parents) if each.exists())


def check_folder(base: str) -> str | None:
    """None where the `file` URL `base` is a folder that can be looked into, else why not: "which ..."."""
    path = folder_of(base)
    try:
        if not path.exists():
            return "is not there"
        if not path.is_dir():
            return "is no folder"
    except OSError:
        return "may not be looked into"
    return None if os.access(path, os.R_OK | os.X_OK) else "may not be looked into"


def _expanded(name: str) -> Path:
    """A path as a shell would take it; OSError where its `~user` is nobody's."""
    try:
        return Path(name).expanduser()
    except RuntimeError as error:
        raise OSError(errno.ENOENT, f"no such home folder: {name.partition('/')[0]}") from error


def complaint(path: Path, error: Exception) -> str:
    """One line, or all mistakes, for a catalogue that cannot be had."""
    if isinstance(error, CatalogueFaults):
        return error.render()
    if isinstance(error, FileNotFoundError) and error.filename is not None:
        return f"headrace: no catalogue at {path}; name one with --config FILE"
    if isinstance(error, UnicodeDecodeError):
        return f"headrace: {path} is not UTF-8 (byte {error.start + 1})"
    reason = error.strerror if isinstance(error, OSError) else error
    return f"headrace: cannot read {path}: {reason}"


NO_SECRET: Final = HIDDEN
"""What stands in for a secret that is not there, where no far server will see it: as recordings hide it."""


def read_catalogue(path: Path, *, offline: bool = False, text: str | None = None) -> Catalogue:
    """The checked catalogue; relative paths in it count from its own folder.

    `offline`: no far server will be asked, so that secrets, certificates and folders need not be there.
    `text` is read instead of the file, which then need not be there.
    OSError, UnicodeDecodeError or CatalogueFaults where it cannot be had.
    """
    folder = path.parent
    catalogue = load_catalogue(
        path.read_text(encoding="utf-8") if text is None else text,
        str(path),
        lambda reference: read_secret(folder, reference) or (NO_SECRET if offline else None),
        (lambda _: None) if offline else partial(check_ca, folder),
        SCHEMES,
        check_folder=(lambda _: None) if offline else check_folder,
        read_table=partial(read_table, folder),
    )
    state = str(folder / _expanded(catalogue.gateway.state))
    members = folder / _expanded(catalogue.gateway.members)
    return replace(
        catalogue,
        gateway=replace(catalogue.gateway, state=state, members=str(members)),
        members=membership.read_file(members, catalogue.rights),
        places={name: _rooted(folder, place) for name, place in catalogue.places.items()},
        sources={name: _rooted(folder, source) for name, source in catalogue.sources.items()},
    )


def _rooted(folder: Path, entry: Entry) -> Entry:
    return entry if entry.ca is None else replace(entry, ca=str(folder / _expanded(entry.ca)))


def catalogue_or_complaint(path: Path, *, offline: bool = False) -> Catalogue | None:
    """The catalogue, or None after everything that is wrong stands on standard error."""
    try:
        return read_catalogue(path, offline=offline)
    except (CatalogueFaults, OSError, UnicodeDecodeError) as error:
        print(complaint(path, error), file=sys.stderr)
        return None


def tell(*lines: str) -> None:
    """Lines on standard error. What goes on is not to end because nobody can be told, as on a full disk."""
    with suppress(OSError):
        print(*lines, sep="\n", file=sys.stderr, flush=True)


def learn_secrets(redactor: Redactor, catalogue: Catalogue) -> None:
    """Teach the log's redactor every secret of the catalogue."""
    for secret in catalogue.secrets.values():
        if secret != NO_SECRET:
            redactor.learn(secret)


class Parts:
    """What answers are made of; `aclose` ends connections and closes the store and the spool.

    With a `site` nothing is kept on disk beside it: a document of another day would hide what is to be
    recorded, or what was. `clock` and `adapters` are instead of the site's, or of this machine's.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        keep_on_disk: bool = True,
        site: Site | None = None,
        *,
        clock: Clock | None = None,
        adapters: Adapters | None = None,
    ) -> None:
        self._state = state = Path(catalogue.gateway.state)
        self.clock = clock or (CLOCK if site is None else site.clock)
        self._wait = catalogue.gateway.wait
        self._adapters = adapters or (Adapters() if site is None else Adapters(site.make))
        keep_on_disk = keep_on_disk and site is None
        self._store = Store(state) if keep_on_disk else None
        self.accounts = Accounts(state / "accounts.json" if keep_on_disk else None, self.clock.now)
        self._cache = Cache(self._adapters.fetch, self._store, self.clock.epoch)
        self._layouts = Layouts()
        self._jobs = Jobs()
        self._spool = SpoolRoom(state)
        if keep_on_disk:
            self._spool.look()

    def answers(self, catalogue: Callable[[], Catalogue]) -> Answers:
        """Answers over these parts for whatever catalogue is in force."""
        desk = self.desk(catalogue)
        return Answers(catalogue, self._cache, desk, self._layouts, Calls(catalogue, self._adapters))

    def desk(self, catalogue: Callable[[], Catalogue]) -> FileDesk:
        """What deals with documents and folders."""
        return FileDesk(catalogue, self._adapters, self._spool.opened, self._jobs, self._layouts)

    async def aclose(self, *, keep_accounts: bool = True) -> None:
        """Nothing is used afterwards. Changes under way have `wait` seconds to end by themselves."""
        await self._jobs.aclose(self._wait)
        self._spool.close()
        await self._cache.aclose()
        await self._adapters.aclose()
        await self._layouts.aclose()
        if keep_accounts:
            await self.save_accounts()

    @property
    def at_work(self) -> bool:
        """Whether a change is under way, which its client may have left."""
        return self._jobs.under_way > 0

    @property
    def numbers(self) -> list[Number]:
        """What they count."""
        breaker, spool = self._adapters.breaker, self._spool
        return [
            Number("far_servers_left_alone", "Far servers that are not asked just now", lambda: breaker.open),
            Number(
                "selections_stopped", "Selections that ran away", lambda: self._layouts.stopped, counts=True
            ),
            Number("changes", "Changes and transfers that are under way", lambda: self._jobs.under_way),
            Number("spool_jobs", "Transfers that wait in the spool", lambda: spool.count),
        ]

    def troubles(self) -> list[str]:
        """Why nothing can be kept on the disk; on any thread."""
        if self._store is None:
            return []
        there = standing(self._state)
        if not os.access(there, os.W_OK | os.X_OK):
            return ["The state folder cannot be written"]
        full = to_spare(there, limits.SPOOL_RESERVE_BYTES) <= 0
        return ["The disk of the state folder is full"] if full else []

    async def save_accounts(self) -> None:
        """Write down what clients have had today."""
        await asyncio.to_thread(self.accounts.save, self.accounts.snapshot())


def cannot_listen(error: OSError, other: str = "take another with --port N") -> str:
    """Why, and what to do where the port is another's: end that, or do what `other` says."""
    advice = f"; end what listens there, or {other}" if error.errno == errno.EADDRINUSE else ""
    return f"headrace: cannot listen: {error.strerror or error}{advice}"
