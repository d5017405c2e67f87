"""ASK, TELL, PICK, LAYOUT and SOURCES: the requests about sources -> wishes and records."""

import difflib
import io
from collections.abc import Mapping, Sequence
from dataclasses import replace

from adapters import limits
from adapters.errors import HeadraceError, NotARequest, NotPossible, NotThere, TooLarge, WrongWords
from gateway.catalogue.model import LinesBody, Source
from gateway.extract.fields.text import Lettering, cut
from gateway.extract.plan import Record
from gateway.session.files.refs import typed_ref
from gateway.session.picking import pick_plan
from gateway.session.state import State
from gateway.session.steps import Asking, Steps, granted
from gateway.session.wishes import Outcome, PickWish, SourceWish
from gateway.wire.charsets import decode_line
from gateway.wire.lines import LineReader
from gateway.wire.replies import Reply


def named(kind: str, name: str, known: Mapping[str, Source]) -> Source:
    """The source called `name`, case-blind; NotThere tells the nearest."""
    found = known.get(name.upper())
    if found is not None:
        return found
    near = difflib.get_close_matches(name.upper(), known, 1)
    raise NotThere(f"No {kind} {name.upper()[:12]}" + (f"; {near[0]}?" if near else ""))


def _wanted(state: State, words: Sequence[str], usage: str) -> Source:
    if not words:
        raise WrongWords(f"Wanted: {usage}")
    return named("source", words[0], state.world.catalogue().sources)


def _show(state: State, outcome: Outcome) -> Reply:
    state.account(outcome)
    sheet = outcome.sheet
    return state.paged(
        sheet.records, sheet.width, limited=sheet.limited, stale=outcome.stale, account=outcome
    )


def ask(state: State, words: Sequence[str]) -> Steps:
    """ASK source [arg ...]: safe and cacheable."""
    source = _wanted(state, words, "ASK source [arg ...]")
    if source.changes:
        raise NotPossible(f"{source.name} changes something: TELL it")
    return (yield from _records(state, source, words[1:]))


def tell(state: State, words: Sequence[str]) -> Steps:
    """TELL source [arg ...]: for a source that changes something."""
    source = _wanted(state, words, "TELL source [arg ...]")
    if not source.changes:
        raise NotPossible(f"{source.name} changes nothing: ASK it")
    if isinstance(source.body, LinesBody):
        state.access.check_source(source)
        state.check_width(source.plan.width)
        check_args(source, words[1:])
        state.transfer = _Lines(state, source, tuple(state.typed(word) for word in words[1:]))
        return Reply(350, state.settings)
    return (yield from _records(state, source, words[1:]))


class _Lines:
    """The data lines of a TELL: kept in memory, and sent as one text."""

    complete = False
    undone = "nothing sent"

    def __init__(self, state: State, source: Source, args: tuple[str, ...]) -> None:
        self.request = state.request_shown
        self._state = state
        self._source = source
        self._args = args
        self._text = io.StringIO()
        self._size = 0
        self._fault: HeadraceError | None = None

    def begin(self, reader: LineReader) -> None:
        """Lines longer than a request."""
        reader.line_limit = limits.DATA_BYTES

    def take(self, data: bytes, ends: bool) -> Asking[None]:
        """One data line."""
        yield from ()
        self._size += len(data) + ends
        if self._size > limits.TRANSFER_BYTES:
            self.spoil(TooLarge("The data is too long"))
        if self._fault is not None:
            return
        try:
            self._text.write(decode_line(data, self._state.settings.charset) + "\n" * ends)
        except NotARequest as error:
            self.spoil(WrongWords(error.sentence.replace("a request", "text")))

    def spoil(self, error: HeadraceError) -> None:
        """The first fault is the one that is told."""
        self._fault = self._fault or error

    def flush(self) -> Asking[None]:
        """Everything is here."""
        yield from ()

    def deliver(self) -> Steps:
        """Ask with them."""
        if self._fault is not None:
            raise self._fault
        state = self._state
        wish = SourceWish(self._source, self._args, state.style, self._text.getvalue())
        return _show(state, (yield from granted(wish, Outcome)))

    def drop(self) -> None:
        """Nothing was sent."""


def request_of(source: Source) -> str:
    """The request that a source takes, args and all."""
    return " ".join(
        ("TELL" if source.changes else "ASK", source.name, *(arg.name.upper() for arg in source.args))
    )


def check_args(source: Source, args: Sequence[str]) -> None:
    """WrongWords unless the source takes that many args."""
    if len(args) != len(source.args):
        raise WrongWords(f"Wanted: {request_of(source)}")


def _records(state: State, source: Source, args: Sequence[str]) -> Steps:
    state.check_width(source.plan.width)
    check_args(source, args)
    wish = SourceWish(source, tuple(state.typed(word) for word in args), state.style)
    return _show(state, (yield from granted(wish, Outcome)))


def pick(state: State, words: Sequence[str]) -> Steps:
    """PICK ref rows [path[:width[kind]] ...]."""
    if len(words) < 2:
        raise WrongWords("Wanted: PICK ref rows [path ...]")
    plan = pick_plan(state.typed(words[1]), [state.typed(word) for word in words[2:]])
    plan = replace(plan, letters=state.world.catalogue().gateway.letters)
    state.check_width(plan.width)
    wish = PickWish(typed_ref(state, words[0]), plan, state.style)
    return _show(state, (yield from granted(wish, Outcome)))


_NAME_WIDTH, _NUMBER_WIDTH, _KIND_WIDTH = 12, 3, 8


def layout(state: State, words: Sequence[str]) -> Reply:
    """LAYOUT source: one record a field; columns count from 1 and include the mark."""
    source = _wanted(state, words, "LAYOUT source")
    state.access.check_source(source)
    if len(words) > 1:
        raise WrongWords("Wanted: LAYOUT source")
    width = _NAME_WIDTH + 2 * (1 + _NUMBER_WIDTH)
    with_kind = state.room >= width + 1 + _KIND_WIDTH
    if with_kind:
        width += 1 + _KIND_WIDTH
    state.check_width(width)
    records, start = [], 1 + state.settings.mark
    for each in source.plan.fields:
        text = f"{each.name[:_NAME_WIDTH]:12} {start:3} {each.width:3}"
        records.append(Record(f"{text} {each.kind.value:8}" if with_kind else text))
        start += each.width + source.plan.gap
    return state.paged(records, width)


def sources(state: State, words: Sequence[str]) -> Reply:
    """SOURCES: one record a source: name(12) record width(3) about(rest)."""
    if words:
        raise WrongWords("SOURCES takes no words")
    fixed = _NAME_WIDTH + 1 + _NUMBER_WIDTH
    width = max(state.room, fixed)
    state.check_width(width)
    rest = max(0, width - fixed - 1)
    catalogue, records = state.world.catalogue(), []
    lettering = Lettering(state.style.charset, catalogue.gateway.letters)
    access = state.access
    for source in catalogue.sources.values():
        if not access.may_ask(source):
            continue
        about = lettering.clean(source.about)
        text = f"{source.name:12} {source.plan.width + state.settings.added:3} {cut(about, rest)}"
        records.append(Record(text[:width].ljust(width), cut=("ABOUT",) if len(about) > rest else ()))
    return state.paged(records, width)
