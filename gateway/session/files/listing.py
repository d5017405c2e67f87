"""BASE, LIST and NAME: where refs begin, and what is in a folder -> records."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from typing import Final

from adapters.errors import HeadraceError, WrongWords
from adapters.files import Entry
from gateway.catalogue.calling.targets import Ref, inside
from gateway.catalogue.model import Catalogue
from gateway.extract.folders import Folder, Order, list_records
from gateway.extract.plan import Record
from gateway.session.files.listed_names import Behind, Names, names_of
from gateway.session.files.numbering import NoNumbers, NumberedEntries
from gateway.session.files.refs import is_number, numbered_name, typed_ref, wanted
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
        raise wanted("BASE [ref]", too_many=True)
    ref = typed_ref(state, words[0]) if words else None
    if ref is not None:
        state.access.check_ref(ref)
    state.base = ref
    return Reply(200, state.settings)


def list_folder(state: State, words: Sequence[str]) -> Steps:
    """LIST [ref]: one record an entry; without a ref, the BASE itself. `#n` is then an entry of it."""
    try:
        if len(words) > 1:
            raise wanted("LIST [ref]", too_many=True)
        if not words and state.base is None:
            raise WrongWords("No BASE is set; wanted LIST ref")
        ref = typed_ref(state, words[0] if words else "")
    finally:
        state.numbered = NoNumbers()  # a listing that fails leaves no older numbers behind
    listed = yield from granted(ListWish(ref), Listed)
    settings, entries = state.settings, listed.listing.entries
    catalogue = state.world.catalogue()
    lay_out = partial(
        list_records,
        entries,
        state.style,
        settings.cols,
        mark=settings.mark,
        order=Order(settings.order),
        short=settings.names == "8.3",
        partial=listed.listing.partial,
        letters=catalogue.gateway.letters,
    )
    known = partial(_known, lay_out, catalogue, listed.folder)
    folder, names = yield from worked(_ENTRY_BYTES * len(entries), known)
    state.check_width(folder.sheet.width)
    state.numbered = NumberedEntries(listed.folder, folder.entries)
    state.listed_names.remember(listed.folder, names)
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
    whole, room = numbered_name(state, words[0]), state.room
    state.check_width(room)
    pieces = [whole[start : start + room] for start in range(0, len(whole), room)]
    return state.paged([Record(piece.ljust(room)) for piece in pieces], room, exact=True)


def _known(lay_out: Callable[[], Folder], catalogue: Catalogue, where: Ref) -> tuple[Folder, Names]:
    """A folder laid out, and what the names shown stand for."""
    folder = lay_out()
    behind = [_behind(catalogue, where, entry) for entry in folder.entries]
    short = {word: behind[place] for word, place in folder.shorts.items()}
    return folder, names_of(zip(folder.names, behind, strict=True), short)


def _behind(catalogue: Catalogue, where: Ref, entry: Entry) -> Behind:
    """What an entry's name stands for. One that is kept outside the place has its number only."""
    if entry.url is None:
        return entry.name
    if where.place is not None and entry.url.startswith(where.place.base):
        with suppress(HeadraceError):  # a URL that no ref may have
            return inside(catalogue, entry.url, where.place).url
    return None
