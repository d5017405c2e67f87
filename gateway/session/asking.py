"""ASK, TELL, PICK, LAYOUT and SOURCES: the requests about sources -> wishes and records."""

import difflib
from collections.abc import Generator, Mapping, Sequence
from dataclasses import replace

from adapters.errors import NotPossible, NotThere, WrongWords
from gateway.catalogue.model import LinesBody, Source
from gateway.extract.fields.text import Lettering, cut
from gateway.extract.plan import Record
from gateway.session.picking import pick_plan
from gateway.session.state import Explanation, State, Transfer
from gateway.session.wishes import Outcome, PickWish, SourceWish, Wish
from gateway.wire.replies import Reply

Steps = Generator[Wish, Outcome, Reply]


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
    if state.explained is not None:
        state.explained.outcome = outcome
    sheet = outcome.sheet
    reply = state.paged(sheet.records, sheet.width, limited=sheet.limited, stale=outcome.stale)
    if state.cursor is not None:
        state.cursor.outcome = outcome
    return reply


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
        state.check_width(source.plan.width)
        check_args(source, words[1:])
        request = state.explained.request if state.explained else "TELL"
        state.transfer = Transfer(source, tuple(state.typed(word) for word in words[1:]), request)
        return Reply(350, state.settings)
    return (yield from _records(state, source, words[1:]))


def tell_lines(state: State, transfer: Transfer) -> Steps:
    """The end of a TELL's data lines."""
    state.explained = Explanation(transfer.request)
    outcome = yield SourceWish(transfer.source, transfer.args, state.style, transfer.text.getvalue())
    return _show(state, outcome)


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
    outcome = yield SourceWish(source, tuple(state.typed(word) for word in args), state.style)
    return _show(state, outcome)


def pick(state: State, words: Sequence[str]) -> Steps:
    """PICK ref rows [path[:width[kind]] ...]."""
    if len(words) < 2:
        raise WrongWords("Wanted: PICK ref rows [path ...]")
    plan = pick_plan(state.typed(words[1]), [state.typed(word) for word in words[2:]])
    plan = replace(plan, letters=state.world.catalogue().gateway.letters)
    state.check_width(plan.width)
    outcome = yield PickWish(state.typed(words[0]), plan, state.style)
    return _show(state, outcome)


_NAME_WIDTH, _NUMBER_WIDTH, _KIND_WIDTH = 12, 3, 8


def layout(state: State, words: Sequence[str]) -> Reply:
    """LAYOUT source: one record a field; columns count from 1 and include the mark."""
    source = _wanted(state, words, "LAYOUT source")
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
    for source in catalogue.sources.values():
        about = lettering.clean(source.about)
        text = f"{source.name:12} {source.plan.width + state.settings.mark:3} {cut(about, rest)}"
        records.append(Record(text[:width].ljust(width), cut=("ABOUT",) if len(about) > rest else ()))
    return state.paged(records, width)
