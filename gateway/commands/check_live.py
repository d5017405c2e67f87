"""`headrace check --live`: does every source still give what it gave when it was recorded?"""

import argparse
import asyncio
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from adapters.errors import AskedTooOften, FarBusy, HeadraceError
from adapters.port import Call, Fetched
from adapters.recorded.asking import REQUEST
from gateway.catalogue.calling.calls import build_call
from gateway.catalogue.model import Catalogue, Source
from gateway.commands import sites, wiring
from gateway.commands.record import arg_choices
from gateway.drift.comparing import Finding, alone, compared
from gateway.drift.places import Document
from gateway.drift.report import Checked, report
from gateway.service.adapters import Adapters
from gateway.service.logs import Redactor, configure
from gateway.service.sites import Mode
from gateway.wire.words import join_words


def add_options(parser: argparse.ArgumentParser) -> None:
    """What `check` takes for it."""
    live = parser.add_argument_group("with --live")
    live.add_argument(
        "--live",
        action="store_true",
        help="also ask every source, with each choice of its args, and compare it with what was recorded",
    )
    live.add_argument(
        "--site",
        metavar="SITE",
        help="the folder of recordings; without it, only whether each field is found and fits",
    )
    live.add_argument("--quiet", action="store_true", help="say nothing where nothing has drifted: for cron")
    live.add_argument(
        "--apart", type=_seconds, metavar="SECONDS", default=1.0, help="between two requests (%(default)s)"
    )
    live.add_argument("sources", nargs="*", metavar="SOURCE", help="only these (all)")


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds <= 3600:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of seconds up to 3600")
    return seconds


def run(options: argparse.Namespace, catalogue: Catalogue) -> int:
    """Ask, compare and tell; 1 where anything has drifted, 2 where an option is wrong."""
    redactor = Redactor()
    wiring.learn_secrets(redactor, catalogue)
    configure("error", sys.stderr, redactor)
    unknown = [name for name in options.sources if name.upper() not in catalogue.sources]
    if unknown:
        print(f"headrace: no source {unknown[0].upper()}", file=sys.stderr)
        return wiring.WRONG_USAGE
    try:
        site = (
            None
            if options.site is None
            else sites.open_site(Path(options.site), Mode.PLAY, catalogue, redactor)
        )
    except sites.SiteFault as fault:
        print(fault, file=sys.stderr)
        return wiring.WRONG_USAGE
    wanted = {name.upper() for name in options.sources} or set(catalogue.sources)
    requests = list(_requests([each for each in catalogue.sources.values() if each.name in wanted]))
    if not requests:
        print(
            "headrace: nothing to ask: --live asks no source that changes something, and one with args only"
            " where the catalogue has choices for them",
            file=sys.stderr,
        )
        return wiring.WRONG_USAGE
    played = None if site is None else Adapters(site.make)
    checked = asyncio.run(_check(catalogue, requests, played, options.apart))
    for line in report(checked, quiet=options.quiet):
        print(redactor.without_known(line))
    return 1 if any(each.drift for each in checked) else 0


def _requests(sources: Sequence[Source]) -> Iterator[tuple[Source, tuple[str, ...]]]:
    for source in sources:
        if source.changes:
            continue
        for args in arg_choices(source) or ():
            yield source, args


async def _check(
    catalogue: Catalogue,
    requests: Sequence[tuple[Source, tuple[str, ...]]],
    played: Adapters | None,
    apart: float,
) -> list[Checked]:
    live, checked = Adapters(), list[Checked]()
    try:
        for number, (source, args) in enumerate(requests):
            if number:
                await asyncio.sleep(apart)
            checked.append(await _one(catalogue, source, args, live, played))
    finally:
        await live.aclose()
        if played is not None:
            await played.aclose()
    return checked


async def _one(
    catalogue: Catalogue, source: Source, args: tuple[str, ...], live: Adapters, played: Adapters | None
) -> Checked:
    request = join_words(["ASK", source.name, *args])
    REQUEST.set(request)
    wait = catalogue.gateway.wait
    try:
        call = build_call(catalogue, source, args)
        now = await live.fetch(call, wait)
    except (AskedTooOften, FarBusy) as fault:
        return Checked(request, unchecked=fault.sentence)
    except HeadraceError as fault:
        return Checked(request, failed=f"{fault.code} {fault.sentence}")
    compare = await _comparison(source, call, played, wait)
    try:
        findings = compare(_document(now))
    except HeadraceError as fault:
        return Checked(request, failed=f"{fault.code} {fault.sentence}")
    return Checked(request, tuple(findings))


async def _comparison(
    source: Source, call: Call, played: Adapters | None, wait: float
) -> Callable[[Document], list[Finding]]:
    """What looks at the document: beside the recorded one, where there is one that can be read."""
    if played is not None:
        try:
            before = _document(await played.fetch(call, wait))
            compared(source.plan, before, before)
        except HeadraceError:  # nothing was recorded, or an error, or nothing that the source reads
            return lambda now: alone(source.plan, now)
        return lambda now: compared(source.plan, before, now)
    return lambda now: alone(source.plan, now)


def _document(fetched: Fetched) -> Document:
    return Document(fetched.body, fetched.media_type, fetched.charset)
