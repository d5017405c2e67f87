"""`headrace record`: fetch sources and places now, and keep what far servers answer for days without them."""

import argparse
import asyncio
import itertools
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from adapters import limits
from adapters.errors import HeadraceError
from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.catalogue.model import Catalogue, Source
from gateway.commands import sites, wiring
from gateway.commands.say import converse
from gateway.service.files.walking import Bounds, Walk, Walked
from gateway.service.logs import LEVELS
from gateway.wire.replies import Lines
from gateway.wire.words import join_words, split_words


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "record",
        help="keep what far servers answer, for serve --offline",
        description="Fetch each WHAT and keep what far servers answer in the folder SITE. WHAT is a source,"
        " alone or with its args in one argument ('TIDES MOLE'; alone, every choice of its args is asked"
        " for), or a ref: a document (site:notes.txt), or a folder with a slash or colon at its end (quay:)"
        " with everything in it. With no WHAT: every source that can be asked, and nothing else.",
        epilog="Secrets, keys and cookies are left out; what was left out is listed at the end. Ask other"
        f" people's servers no more than they allow. {epilog}",
    )
    wiring.add_config(parser)
    parser.add_argument(
        "--site",
        dest="record",
        metavar="SITE",
        required=True,
        help="the folder, made where it is not there",
    )
    for name, default, meaning in (
        ("depth", limits.WALK_DEPTH, "folders inside one another"),
        ("most", limits.WALK_DOCUMENTS, "documents of one place"),
        ("bytes", limits.WALK_BYTES, "bytes of one place"),
    ):
        parser.add_argument(
            f"--{name}",
            type=_positive,
            metavar="N",
            default=default,
            help=f"at most N {meaning} (%(default)s)",
        )
    parser.add_argument(
        "--log", choices=LEVELS, default="error", help="how much to log (default: %(default)s)"
    )
    parser.add_argument("what", nargs="*", metavar="WHAT", help="a source, with its args, or a ref")
    parser.set_defaults(run=run, offline=None, record_missing=False, clock=None, faults=None)


def _positive(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above 0")
    return int(text)


@dataclass(slots=True)
class _Wanted:
    requests: list[str] = field(default_factory=list)
    refs: list[Ref] = field(default_factory=list)


def run(options: argparse.Namespace) -> int:
    """Record; 1 where something could not be had or kept, 2 for words or a catalogue that are wrong."""
    try:
        ready = sites.ready(options)
        if ready is None:
            return wiring.WRONG_USAGE
        catalogue, site = ready
        assert site is not None
        wanted = _wanted(catalogue, options.what)
    except (sites.SiteFault, HeadraceError) as fault:
        print(fault if isinstance(fault, sites.SiteFault) else f"headrace: {fault.sentence}", file=sys.stderr)
        return wiring.WRONG_USAGE
    before = sum(1 for _ in site.folder.exchanges())
    bounds = Bounds(options.depth, options.most, options.bytes)
    try:
        good = asyncio.run(_record(catalogue, wiring.Parts(catalogue, site=site), wanted, bounds))
    finally:  # after Ctrl-C too
        sites.tell_hidden(site.folder.hidden)
        sites.tell_unkept(site.folder.unkept)
        after = sum(1 for _ in site.folder.exchanges())
        print(f"{options.record}: {after} recordings, {after - before} of them new")
    return 0 if good and not site.folder.unkept else 1


def _wanted(catalogue: Catalogue, what: Sequence[str]) -> _Wanted:
    wanted = _Wanted()
    askable = [source for source in catalogue.sources.values() if not source.changes]
    if not what:
        for source in askable:
            wanted.requests += _requests(source, ())
        if not wanted.requests:
            raise HeadraceError("nothing to record: name a source with its args in quotes, or a place")
        return wanted
    for text in what:
        words = split_words(text)
        named = catalogue.sources.get(words[0].upper()) if words else None
        if named is None:
            wanted.refs.append(_ref(catalogue, text))
        elif named.changes:
            raise HeadraceError(
                f"{named.name} changes something; record it as it happens, with serve --record"
            )
        else:
            wanted.requests += _requests(named, words[1:])
    return wanted


def _ref(catalogue: Catalogue, text: str) -> Ref:
    try:
        return read_ref(catalogue, text)
    except HeadraceError as fault:
        told = fault.sentence if ":" in text else "no source of that name, and no ref such as place:path"
        raise HeadraceError(f"{text!r}: {told}") from fault


def _requests(source: Source, args: Sequence[str]) -> list[str]:
    """The request as typed, or one for each choice of the args that were not."""
    choices = arg_choices(source, args)
    if choices is None:
        return [join_words(["ASK", source.name, *args])]  # the reply says what is missing
    return [join_words(["ASK", source.name, *each]) for each in choices]


def arg_choices(source: Source, typed: Sequence[str] = ()) -> list[tuple[str, ...]] | None:
    """All args to ask a source with: those that were typed, and each choice of the others.

    None where some were typed and the others have no choices; where none was typed, they are left out, which
    standard error is told.
    """
    open_args = source.args[len(typed) :]
    if any(not arg.choices for arg in open_args):
        if typed:
            return None
        print(
            f"headrace: {source.name} wants {_names(source)}: left out, as it has no choices to ask for",
            file=sys.stderr,
        )
        return []
    picked = itertools.islice(itertools.product(*(arg.choices for arg in open_args)), limits.WALK_CHOICES)
    return [(*typed, *each) for each in picked]


def _names(source: Source) -> str:
    return " ".join(arg.name.upper() for arg in source.args)


async def _record(catalogue: Catalogue, parts: wiring.Parts, wanted: _Wanted, bounds: Bounds) -> bool:
    good = True
    try:
        for request in wanted.requests:
            good = await _ask(catalogue, parts, request) and good
        for ref in wanted.refs:
            good = await _walk(catalogue, parts, ref, bounds) and good
    finally:
        await parts.aclose()
    return good


async def _ask(catalogue: Catalogue, parts: wiring.Parts, request: str) -> bool:
    """One source: what came of it is one line."""
    shown = ""

    def put(status_line: str, lines: Lines) -> None:
        nonlocal shown
        shown = status_line
        if status_line[:1] != "2":  # the sentence
            shown += f" {b''.join(lines).decode('latin-1').partition(status_line)[2].strip()}"

    await converse(
        catalogue, parts.answers(lambda: catalogue), ["SET plain window=0 check=none", request], put
    )
    good = shown[:1] == "2"
    print(f"{request}: {shown}")
    return good


async def _walk(catalogue: Catalogue, parts: wiring.Parts, ref: Ref, bounds: Bounds) -> bool:
    far = parts.desk(lambda: catalogue).far(ref)
    with _progress(ref.whole) as step:
        walked = await Walk(far, bounds, step).run()
    for url, sentence in walked.failed:
        print(f"  {url}: {sentence}", file=sys.stderr)
    print(f"{ref.whole} {walked.folders} folders, {walked.documents} documents, {walked.size} bytes")
    if walked.cut:
        print(f"  left out beyond {walked.cut}: see --depth, --most and --bytes", file=sys.stderr)
    return not walked.failed and not walked.cut


@contextmanager
def _progress(title: str) -> Iterator[Callable[[Walked], None]]:
    """A bar on a terminal; elsewhere nothing."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console  # noqa: PLC0415 - four megabytes that a gateway never needs
    from rich.progress import Progress  # noqa: PLC0415

    with Progress(console=Console(stderr=True), transient=True) as progress:
        bar = progress.add_task(title, total=None)
        yield lambda walked: progress.update(bar, total=walked.known or None, completed=walked.documents)
