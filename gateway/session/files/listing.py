"""BASE, LIST and NAME: where refs begin, and what is in a folder -> records."""

from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from typing import Final

from adapters.errors import HeadraceError, WrongWords
from gateway.catalogue.targets import inside
from gateway.extract.folders import Folder, Order, list_records
from gateway.extract.plan import Record
from gateway.session.files.numbering import NumberedEntries
from gateway.session.files.refs import is_number, typed_ref
from gateway.session.state import State
from gateway.session.steps import Steps, granted, worked
from gateway.session.wishes import Listed, ListWish
from gateway.wire.replies import Reply

_ENTRY_BYTES: Final = 32  # of a document: what laying out one entry takes as long as


def base(state: State, words: Sequence[str]) -> Reply:
    """BASE [ref]: set, resolved against the old one, or clear. Nothing is asked whether it is there.

    RFC 3986 section 5.2.3 holds: what stands after the last slash of a base gives way to a relative ref.
    """
    if len(words) > 1:
        raise WrongWords("Wanted: BASE [ref]")
    state.base = typed_ref(state, words[0]) if words else None
    return Reply(200, state.settings)


def list_folder(state: State, words: Sequence[str]) -> Steps:
    """LIST [ref]: one record an entry; without a ref, the BASE itself. `#n` is then an entry of it."""
    if len(words) > 1 or (not words and state.base is None):
        raise WrongWords("Wanted: LIST ref" if not words else "Wanted: LIST [ref]")
    try:
        ref = typed_ref(state, words[0] if words else "")
    finally:
        state.numbered = None  # a listing that fails leaves no older numbers behind
    listed = yield from granted(ListWish(ref), Listed)
    settings, entries = state.settings, listed.listing.entries
    lay_out = partial(
        list_records,
        entries,
        state.style,
        settings.cols,
        mark=settings.mark,
        order=Order(settings.order),
        short=settings.names == "8.3",
        partial=listed.listing.partial,
        letters=state.world.catalogue().gateway.letters,
    )
    folder = yield from worked(_ENTRY_BYTES * len(entries), lay_out)
    state.check_width(folder.sheet.width)
    state.numbered = NumberedEntries(listed.folder, folder.entries)
    _remember(state, listed, folder)
    facts = [("ENTRIES", f"{len(folder.entries)} in all")]
    if listed.listing.partial:
        facts.append(("LIMIT", "the far server's listing is not whole"))
    state.account(listed.provenance, facts)
    sheet = folder.sheet
    return state.paged(sheet.records, sheet.width, limited=sheet.limited, account=listed.provenance)


def name(state: State, words: Sequence[str]) -> Reply:
    """NAME #n: the whole ref of an entry or link, over as many records as it needs."""
    if len(words) != 1 or not is_number(words[0]):
        raise WrongWords("Wanted: NAME #n")
    whole, room = typed_ref(state, words[0]).whole, state.room
    state.check_width(room)
    pieces = [whole[start : start + room] for start in range(0, len(whole), room)]
    return state.paged([Record(piece.ljust(room)) for piece in pieces], room)


def _remember(state: State, listed: Listed, folder: Folder) -> None:
    """What the short names shown stand for. An entry that is kept outside the place has its number only."""
    catalogue, place = state.world.catalogue(), listed.folder.place
    found: dict[str, bytes | str] = {}
    for short, index in folder.shorts.items():
        entry = folder.entries[index]
        if entry.url is None:
            found[short] = entry.name
        elif place is not None and entry.url.startswith(place.base):
            with suppress(HeadraceError):  # a URL that no ref may have
                found[short] = inside(catalogue, entry.url, place).url
    if found:
        state.short_names.remember(listed.folder, found)
