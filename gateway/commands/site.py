"""`headrace site`: what is in a folder of recordings, and its way to general tools and back."""

import argparse
import hashlib
import sys
import tempfile
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Final

from adapters.recorded.drafts import content_of
from adapters.recorded.exchange import Exchange, Failure, Message
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.recorded.tree.table import printable
from adapters.redaction import Redactor
from gateway.archives.messages import Store
from gateway.archives.outcome import ArchiveFault, LeftOut
from gateway.catalogue.schema.table import duration
from gateway.commands import sites, wiring
from gateway.service.clocks import CLOCK
from gateway.service.sites import credential_names

_GZIP: Final = b"\x1f\x8b"
_WARC: Final = b"WARC/"
_HEAD_BYTES: Final = 4_096  # enough for a gzip header with a file's name
_LONG_AGO: Final = 1_000 * 366 * 86_400  # seconds; no recording is older


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "site",
        help="list recordings, write them as WARC, take in WARC and HAR",
        description="Look into a folder of recordings, and exchange it with general tools: WARC (ISO 28500)"
        " both ways, HAR 1.2 (what a browser's developer tools save) in.",
        epilog=epilog,
    )
    wiring.add_config(parser)
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    listing = actions.add_parser("list", help="one line a recording, oldest first")
    listing.add_argument(
        "--older", metavar="AGE", type=_age, help="only those older than AGE, such as 90s, 12h or 30d"
    )
    listing.set_defaults(act=_list)
    export = actions.add_parser("export", help="write all of them to a new WARC file")
    export.set_defaults(act=_export)
    taking = actions.add_parser("import", help="take in WARC and HAR files, in a new folder or an old one")
    taking.set_defaults(act=_import)
    for action in (listing, export, taking):
        action.add_argument("site", metavar="SITE", help="the folder of recordings")
    export.add_argument(
        "file", metavar="FILE", help="a new file; .gz at its end makes it gzipped, record by record"
    )
    taking.add_argument("files", metavar="FILE", nargs="+", help="a WARC file, gzipped or not, or a HAR file")
    parser.set_defaults(run=run)


def _age(text: str) -> timedelta:
    seconds = duration(text)
    if seconds is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no age such as 90s, 15m, 12h or 30d")
    return timedelta(seconds=min(seconds, _LONG_AGO))


def run(options: argparse.Namespace) -> int:
    """Do it; 1 where something could not be had, 2 for a folder or a catalogue that is wrong."""
    try:
        taking = _opened(options)
    except sites.SiteFault as fault:
        print(fault, file=sys.stderr)
        return wiring.WRONG_USAGE
    if taking is None:
        return wiring.WRONG_USAGE
    code: int = options.act(options, taking)
    return code


@dataclass(frozen=True, slots=True)
class _Taking:
    """A folder, and what hides the secrets of what is taken in."""

    folder: Folder
    hiding: Hiding

    def take_in(self, entries: Iterable[Exchange | LeftOut]) -> tuple[int, Counter[str]]:
        """How many were kept, and why how many were not. ArchiveFault and OSError as `entries` has them."""
        taken, left_out = 0, Counter[str]()
        before = {id(each): each for each in self.folder.exchanges()}
        for each in entries:
            if isinstance(each, LeftOut):
                left_out[each.why] += 1
                continue
            if self._is_there(each, before):
                left_out["that are there already"] += 1
                continue
            try:
                self.folder.add(each)
            except ValueError as error:
                left_out[f"that cannot be kept: {error}"] += 1
            else:
                taken += 1
        return taken, left_out

    def _is_there(self, exchange: Exchange, before: Mapping[int, Exchange]) -> bool:
        """Whether it is one of those before, or one of those in a row that one of them stands for."""
        alike = list[Exchange]()
        for place, kept in enumerate(self.folder.until(exchange.asked, exchange.at)):
            same_time = kept.at == exchange.at
            stands_for_it = not place and kept.times > 1 and exchange.times == 1
            if (same_time and kept.took == exchange.took) or stands_for_it:
                alike.append(kept)
            if not same_time:
                break
        alike = [kept for kept in alike if id(kept) in before]
        told = self._told(exchange, hide=True) if alike else None
        return any(self._told(kept) == told for kept in alike)

    def _told(self, exchange: Exchange, *, hide: bool = False) -> tuple[object, ...]:
        """What an answer comes to: its kind, its status, and its body as it is kept."""
        reply, content = exchange.reply, content_of(exchange.reply)
        digest = hashlib.sha256()
        chunks: Iterable[bytes] = () if content is None else content.chunks()
        for chunk in self.hiding.body(same_size=True).run(chunks) if hide else chunks:
            digest.update(chunk)
        status = reply.status if isinstance(reply, Message) else None
        return type(reply), status, content is None, digest.digest()


def _opened(options: argparse.Namespace) -> _Taking | None:
    """The folder, read; where there is a catalogue, its secrets are hidden in what is taken in."""
    path, config = Path(options.site), Path(options.config)
    redactor, names = Redactor(), list[str]()
    if options.act is _import and (config.exists() or options.config != wiring.DEFAULT_CONFIG):
        catalogue = wiring.catalogue_or_complaint(config, offline=True)
        if catalogue is None:
            return None
        wiring.learn_secrets(redactor, catalogue)
        names += credential_names(catalogue)
    if options.act is not _import and not path.is_dir():
        raise sites.SiteFault(f"headrace: no recordings at {path}")
    hiding = Hiding(redactor, names)
    folder = Folder(path, hiding, CLOCK.now)
    sites.load(folder)
    return _Taking(folder, hiding)


def _list(options: argparse.Namespace, taking: _Taking) -> int:
    folder = taking.folder
    before = None if options.older is None else CLOCK.now() - options.older
    for each in folder.exchanges() if before is None else folder.older(before):
        print(_line(each, folder))
    return 0


def _line(exchange: Exchange, folder: Folder) -> str:
    reply, content = exchange.reply, content_of(exchange.reply)
    if isinstance(reply, Message):
        what = str(reply.status)
    else:
        what = reply.name if isinstance(reply, Failure) else "done"
    try:
        size = "-" if content is None else str(content.size)
    except OSError:
        size = "gone"
    times = f" x{exchange.times}" if exchange.times > 1 else ""
    when, method = f"{exchange.at:%Y-%m-%dT%H:%M:%SZ}", exchange.asked.method
    return f"{when} {method:6} {what:>4} {size:>9} {printable(folder.shown(exchange))}{times}"


def _export(options: argparse.Namespace, taking: _Taking) -> int:
    from gateway.archives.warc.writing import write_warc  # noqa: PLC0415 - only here is it needed

    path = Path(options.file)
    try:
        with path.open("xb") as file:
            try:
                counts = write_warc(taking.folder.exchanges(), file, squeezed=path.suffix == ".gz")
            except BaseException:
                path.unlink()
                raise
    except FileExistsError:
        print(f"headrace: {path} is there already; name a new file", file=sys.stderr)
        return 1
    except OSError as error:
        print(f"headrace: {error.filename or path}: {error.strerror}; nothing was written", file=sys.stderr)
        return 1
    print(f"{path}: {counts.exchanges} recordings")
    if counts.unread:
        print(f"  only for headrace: {counts.unread} (listings, changes and failures have no form in WARC)")
    return 0


def _import(options: argparse.Namespace, taking: _Taking) -> int:
    folder, good = taking.folder, True
    before = sum(1 for _ in folder.exchanges())
    with tempfile.TemporaryDirectory(prefix="headrace-") as scratch:
        for name in options.files:
            try:
                taken, left_out = taking.take_in(_entries(Path(name), Store(Path(scratch))))
            except ArchiveFault as fault:
                print(f"headrace: {name}: {fault}", file=sys.stderr)
                good = False
                continue
            except OSError as error:
                print(f"headrace: {error.filename or name}: {error.strerror}", file=sys.stderr)
                good = False
                continue
            print(f"{name}: {taken} taken in")
            for why, count in sorted(left_out.items()):
                print(f"  left out: {count} {why}")
    sites.tell_hidden(folder.hidden)
    after = sum(1 for _ in folder.exchanges())
    print(f"{options.site}: {after} recordings, {after - before} of them new")
    return 0 if good else 1


def _is_warc(head: bytes) -> bool:
    """Whether what begins with `head`, gzipped, may be one, perhaps cut off."""
    try:
        first = zlib.decompressobj(zlib.MAX_WBITS | 16).decompress(head, len(_WARC))
    except zlib.error:
        return True  # damaged, which its reader tells
    return first.startswith(_WARC[: len(first)])


def _entries(path: Path, store: Store) -> Iterator[Exchange | LeftOut]:
    """What is in a file, by what it begins with."""
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    if head.startswith(_GZIP) and not _is_warc(head):
        raise ArchiveFault("gzipped, but no WARC; unpack a HAR file first")
    if head.startswith((_GZIP, _WARC)):
        from gateway.archives.warc.reading import read_warc  # noqa: PLC0415 - only here is it needed

        return read_warc(path, store)
    if head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{"):
        from gateway.archives.har import read_har  # noqa: PLC0415 - only here is it needed

        return read_har(path, store)
    raise ArchiveFault("neither WARC nor HAR")
