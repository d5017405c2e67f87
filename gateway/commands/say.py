"""`headrace say`: requests from the shell, their exact replies on standard output, without a socket."""

import argparse
import asyncio
import logging
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing

from adapters.errors import HeadraceError
from gateway.catalogue.model import Catalogue
from gateway.commands import sites, wiring
from gateway.service.clients.granting import Fulfiller, failure, with_margin
from gateway.service.clocks import CLOCK, Clock
from gateway.service.logs import LEVELS
from gateway.service.members.answers import MemberAnswers
from gateway.service.sites import Site
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.wishes import Granted, Wish, time_is_up
from gateway.wire.charsets import encode_text
from gateway.wire.lines import Data, Line
from gateway.wire.replies import Lines

_log = logging.getLogger(__name__)
_SHOW_AFTER = 0.5  # seconds of waiting before a bar is worth showing


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "say",
        help="send requests from the shell",
        description="Print the exact reply to each REQUEST, as one connection would get it, without a socket."
        " A request with blanks is one argument: headrace say 'ASK tides' MORE. After a 350 the next"
        " arguments are lines of data, each beginning with >, and an argument . ends them:"
        " headrace say 'STORE shelf:note.txt' '>Hello' . Where the first listener's profile has a window,"
        " each '' is the empty line that the gateway waits for; 'SET window=0' first gives replies whole.",
        epilog="It exits with 1 when a reply was an error (code 4xx or 5xx), or when the last transfer was"
        f" not ended. {epilog}",
    )
    wiring.add_config(parser)
    parser.add_argument(
        "--log", choices=LEVELS, default="warning", help="how much to log (default: %(default)s)"
    )
    sites.add_options(parser)
    parser.add_argument("request", nargs="+", metavar="REQUEST", help="one request line")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Say each request; 1 where a reply was an error."""
    try:
        ready = sites.ready(options)
    except sites.SiteFault as fault:
        print(fault, file=sys.stderr)
        return wiring.WRONG_USAGE
    return wiring.WRONG_USAGE if ready is None else asyncio.run(_say(*ready, options.request))


async def _say(catalogue: Catalogue, site: Site | None, requests: Sequence[str]) -> int:
    parts = wiring.Parts(catalogue, site=site)
    failed = whole = False

    def put(status_line: str, lines: Lines) -> None:
        nonlocal failed
        failed = failed or status_line[0] in "45"
        sys.stdout.buffer.writelines(lines)
        sys.stdout.buffer.flush()

    try:
        answers = MemberAnswers(
            lambda: catalogue.members, parts.answers(lambda: catalogue), parts.clock.epoch
        )
        with closing(answers):
            whole = await converse(catalogue, answers, requests, put, parts.clock)
    finally:
        await parts.aclose()
    return 1 if failed or not whole else 0


async def converse(
    catalogue: Catalogue,
    answers: Fulfiller,
    requests: Iterable[str],
    put: Callable[[str, Lines], None],
    clock: Clock = CLOCK,
) -> bool:
    """Run `requests` through one session of the first listener's profile.

    `put` gets each reply's status line, and its lines, or as many as a window lets out.

    False: the last transfer was not ended, so that nothing came of it.
    """
    world = World(lambda: catalogue, clock.now, timed=not clock.frozen)
    session = Session(world, catalogue.listeners[0].profile)
    left = iter(requests)
    for request in left:
        session.reader.feed(encode_text(request, session.reader.settings.charset) + b"\r")
        while (event := session.reader.next_event()) is not None:
            lines = (
                await _reply(session, event, answers, catalogue.gateway.wait)
                if isinstance(event, Line | Data)
                else None
            )
            session.reader.take_output()
            if lines:
                put(session.status_shown, lines)
        if session.closing:
            unsent = len(list(left))
            if unsent:
                print(f"headrace: {unsent} requests after BYE not sent", file=sys.stderr)
            break
    undone = session.unfinished
    session.lost()
    if undone:
        print(f"headrace: the last transfer was not ended: {undone}", file=sys.stderr)
    return not undone


async def _reply(session: Session, event: Line | Data, answers: Fulfiller, seconds: float) -> Lines | None:
    steps = session.respond(event)
    deadline = time.monotonic() + seconds
    try:
        wish = next(steps)
        while True:
            try:
                granted = answers.now(wish) or await _granted(wish, answers, deadline)
            except HeadraceError as error:
                wish = steps.throw(error)
            except Exception as error:  # noqa: BLE001 - every request is answered, whatever failed
                _log.exception("a request failed")
                wish = steps.throw(failure(wish, error))
            else:
                wish = steps.send(granted)
    except StopIteration as stop:
        lines: Lines | None = stop.value
        return lines


async def _granted(wish: Wish, answers: Fulfiller, deadline: float) -> Granted:
    waiting = asyncio.create_task(answers.answer(wish, with_margin(deadline - time.monotonic())))
    try:
        in_time = await _show_waiting(waiting, deadline)
    except asyncio.CancelledError:  # Ctrl-C
        waiting.cancel()
        await asyncio.wait({waiting})
        raise
    if not in_time:
        raise time_is_up(wish)
    return waiting.result()


async def _show_waiting(waiting: "asyncio.Task[object]", deadline: float) -> bool:
    """Wait until it is done; show a bar on a terminal where that takes long. False: it was not in time."""
    await asyncio.wait({waiting}, timeout=_SHOW_AFTER)
    if not waiting.done() and sys.stderr.isatty():
        await _show_bar(waiting, deadline)
    await asyncio.wait({waiting}, timeout=max(0.0, deadline - time.monotonic()))
    in_time = waiting.done()
    if not in_time:
        waiting.cancel()
        await asyncio.wait({waiting})
    return in_time


async def _show_bar(waiting: "asyncio.Task[object]", deadline: float) -> None:
    from rich.console import Console  # noqa: PLC0415 - four megabytes that a gateway never needs
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn  # noqa: PLC0415

    total = max(deadline - time.monotonic(), 0.1)
    columns = (TextColumn("waiting for the far server"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        bar = progress.add_task("", total=total)
        while not waiting.done() and time.monotonic() < deadline:
            await asyncio.wait({waiting}, timeout=0.1)
            progress.update(bar, completed=total - (deadline - time.monotonic()))
