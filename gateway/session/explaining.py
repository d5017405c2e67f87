"""WHY: how the last reply came about -> records."""

import textwrap
from collections.abc import Sequence

from adapters.errors import WrongMoment, WrongWords
from gateway.extract.fields.text import Lettering
from gateway.session.state import State
from gateway.session.wishes import Done, Outcome, Provenance
from gateway.wire.replies import Reply

_NAME = 8
_TOOK = "TOOK"


def named_records(pairs: Sequence[tuple[str, str]], room: int) -> list[str]:
    """name(8) text(rest): a text longer than the rest goes on in records with a blank name."""
    rest = max(room - _NAME - 1, 1)
    records = []
    for name, text in pairs:
        for index, piece in enumerate(textwrap.wrap(text, rest) or [""]):
            records.append(f"{name[:_NAME] if index == 0 else '':8} {piece}".ljust(room))
    return records


def why(state: State, words: Sequence[str]) -> Reply:
    """WHY: the last reply explained."""
    if words:
        raise WrongWords("WHY takes no words")
    explained = state.explained
    if explained is None:
        raise WrongMoment("Nothing to explain yet")
    lettering, begun = Lettering(state.style.charset), _begun(state)
    pairs = [("REQUEST", explained.request), ("REPLY", explained.reply)]
    if explained.sentence:
        pairs.append(("ERROR", explained.sentence))
    if explained.fault is not None:
        pairs += [("FROM", explained.fault.far)] if explained.fault.far else []
        pairs += [*explained.fault.notes, *_took(explained.fault.steps)]
    else:
        pairs += _told(explained.account, explained.facts)
    pairs += begun
    cleaned = [(name, lettering.clean(text)) for name, text in pairs if name != _TOOK or state.world.timed]
    return state.plain(named_records(cleaned, state.room), state.room)


def _told(
    account: Outcome | Provenance | Done | None, facts: Sequence[tuple[str, str]]
) -> Sequence[tuple[str, str]]:
    """What an account holds; what goes on without the client is asked anew how far it is."""
    if account is None:
        return facts
    if isinstance(account, Done):
        return [*facts, *account.progress()]
    pairs = [("FROM", f"{account.origin}, {account.how}"), ("AGE", f"{account.age:.0f} s"), *facts]
    if isinstance(account, Outcome):
        pairs.append(("ROWS", f"{len(account.sheet.records)} in all"))
    if account.stale:
        pairs.append(("STALE", "the far server failed; this is an old copy"))
    if isinstance(account, Outcome):
        pairs += _harm(account)
    return pairs + _took(account.steps)


def _begun(state: State) -> list[tuple[str, str]]:
    """What earlier requests began and goes on without the client; what has ended is told once."""
    explained, pairs, left = state.explained, list[tuple[str, str]](), []
    for each in state.begun:
        ended = each.ended()  # asked first, so that the end is in what is told
        if explained is None or each is not explained.account:
            pairs += each.progress()
        if not ended:
            left.append(each)
    state.begun = left
    return pairs


def _harm(outcome: Outcome) -> list[tuple[str, str]]:
    pairs = []
    if outcome.sheet.limited:
        pairs.append(("LIMIT", "rows were left out by the source's limit"))
    if outcome.sheet.cuts:
        pairs.append(("CUT", _counted(outcome.sheet.cuts)))
    if outcome.sheet.misfits:
        pairs.append(("MISFIT", _counted(outcome.sheet.misfits)))
    return pairs


def _took(steps: Sequence[tuple[str, float]]) -> list[tuple[str, str]]:
    return [(_TOOK, f"{label} {seconds * 1000:.1f} ms") for label, seconds in steps]


def _counted(fields: Sequence[tuple[str, int]]) -> str:
    return ", ".join(f"{name} {count}" for name, count in fields)
