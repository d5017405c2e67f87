"""HELP: a word -> what somebody who has only a terminal needs to know of it, as records."""

import textwrap
from collections.abc import Mapping, Sequence
from typing import Final

from adapters.errors import NotARequest, NotThere, WrongWords
from gateway import VERSION
from gateway.catalogue.model import Place, Source
from gateway.extract.fields.text import Lettering
from gateway.session.asking import request_of
from gateway.session.state import State
from gateway.wire.codes import CODES
from gateway.wire.ready import READY
from gateway.wire.replies import Reply
from gateway.wire.settings import SETTINGS, Settings, shown
from gateway.wire.words import REQUESTS, request_word

_TRANSFER: Final = (
    "After 350 send lines that each begin with >, then a line with only a dot.",
    "With count: after 350 exactly so many bytes.",
)
_BLANKS: Final = "HELP REF: how a ref is written."
_MORE: Final[Mapping[str, Sequence[str]]] = {
    "AGAIN": (
        "While a window waits: the window.",
        "With n: record n; with a window set, all from record n on.",
        "It never asks again.",
    ),
    "HALT": ("An empty line goes on with it, AGAIN repeats it.",),
    "SET": (
        "Alone it shows the settings.",
        "HELP PROFILES lists the names, HELP SETTINGS the keys.",
        "HELP cols tells of a setting.",
    ),
    "BASE": ("End a folder with /: BASE club:docs/", "Alone it clears the BASE.", _BLANKS),
    "LIST": (
        "Alone it lists the BASE.",
        "Then #n is entry n: TEXT #2",
        "Kinds: F document, D folder, L link.",
        "SET order=name size date sent: how it is sorted.",
        "SET names=long 8.3: which names it shows.",
        _BLANKS,
    ),
    "NAME": ("For entry n of the last LIST, or link n of the last TEXT.",),
    "TEXT": (
        "Links are shown as [n]; then #n is link n: TEXT #2",
        "flow joins the lines of a paragraph.",
        _BLANKS,
    ),
    "READ": (
        "SET bytes=hex raw ihex line: the form they are sent in.",
        "SET block=128: how long a block is; the first is B0.",
        _BLANKS,
    ),
    "STORE": ("It replaces what is there.", *_TRANSFER, _BLANKS),
    "APPEND": ("It makes the document where there is none.", *_TRANSFER, _BLANKS),
    "COPY": (
        "From the first to the second. It replaces what is there.",
        "COPY x place: keeps the name, and so does a folder that ends with /.",
        _BLANKS,
    ),
    "ERASE": ("A folder goes only when it is empty.", _BLANKS),
    "RENAME": ("From the first to the second. It does not replace what is there.", _BLANKS),
    "MKDIR": ("One folder, in one that is there.", _BLANKS),
    "TALK": (
        "After 200 the line is the far server's. To leave: a second of silence, +++, a second of silence.",
        "With lines: >text says a line, an empty line asks only, . leaves; each gets a reply.",
        "226: it is over.",
        "A place with documents, such as club: or club:docs/, has a counter: LIST, TEXT, READ, STORE and HELP"
        " there, by XMODEM or YMODEM.",
    ),
    "LOGIN": (
        "The secret is a password, or the code that an authenticator shows now.",
        "Alone it logs out. It goes over the line as it is typed: trust the line.",
    ),
    "HEAR": (
        "150, and 200 with the caller's address when somebody calls. Then as TALK, or TALK lines.",
        "A line before that ends the wait: 503.",
        "HEAR port who tells who waits to be answered, HEAR port refuse turns them away.",
    ),
}
"""Request -> what its usage and meaning leave open."""

_REF: Final = (
    "A ref says which document or folder:",
    "place:path, such as club:docs/a.txt; place: alone is the place itself. HELP PLACES lists them.",
    "#n, entry n of the last LIST or link n of the last TEXT.",
    "path alone, after BASE.",
    "A URL, where the gateway allows its host.",
    'A blank is %20, or the ref stands in quotes: TEXT "club:my notes"',
    "A name works as LIST shows it, too.",
)


def help_words(state: State, words: Sequence[str]) -> Reply:
    """HELP [word]: the contract's version first, then the requests, or what is to be said of the word."""
    if len(words) > 1:
        raise WrongWords("Wanted: HELP [word]")
    if not words:
        ready = " ".join(REQUESTS)
        texts = [
            "HELP word tells more, HELP REF of refs, HELP PLACES of places, HELP PROFILES of profiles,"
            " HELP SETTINGS of settings.",
            ready,
        ]
    else:
        texts = [*_about(words[0], state)]
    first = f"HEADRACE 1 {VERSION}"
    width = max(state.room, len(first))
    lines = [first, *(line for text in texts for line in textwrap.wrap(text, width))]
    return state.plain([line.ljust(width) for line in lines], width)


def _about(word: str, state: State) -> Sequence[str]:
    """Looked for among settings, codes, requests, topics, and then the catalogue's own names."""
    name = word.upper()
    if word.lower() in SETTINGS:
        setting = SETTINGS[word.lower()]
        return [f"SET {setting.name}={setting.values}", setting.meaning, f"Default {setting.default}"]
    if word.isascii() and word.isdigit() and len(word) == 3 and int(word) in CODES:
        return [f"{word} {CODES[int(word)]}"]
    try:
        request = request_word(word)
    except NotARequest as error:
        found = [*_topic(name, state), *_named(name, state)]
        if not found:
            raise NotThere("No help on that; see HELP and SOURCES") from error
        return found
    usage = f"{request.name} {request.usage}".strip()
    return [usage, request.meaning + ".", *_MORE.get(request.name, ())]


def _topic(name: str, state: State) -> Sequence[str]:
    catalogue, access = state.world.catalogue(), state.access
    if name == "REF":
        return _REF
    if name == "PLACES":
        places = [each for each in catalogue.places.values() if access.may_see(each)]
        return [_about_place(each) for each in places] or ["There are no places."]
    if name in ("SETTINGS", "SETTING"):
        return ["SET key=value changes one, SET alone shows all, HELP key tells more:", " ".join(SETTINGS)]
    if name in ("PROFILES", "PROFILE"):
        return [
            "SET name takes one, with all its settings:",
            " ".join(each.lower() for each in catalogue.profiles),
            "HELP name tells what one is for.",
        ]
    return ()


def _named(name: str, state: State) -> Sequence[str]:
    """A source, a place and a profile may have one name. What the client may not use is not told of."""
    catalogue, access = state.world.catalogue(), state.access
    source, place = catalogue.sources.get(name), catalogue.places.get(name.removesuffix(":"))
    source = source if source is not None and access.may_ask(source) else None
    place = place if place is not None and access.may_see(place) else None
    about_source = () if source is None else _about_source(source)
    about_place = (
        ()
        if place is None
        else ((_about_place(place), f"{'TALK' if place.is_stream else 'LIST'} {place.name}:"))
    )
    settings = catalogue.profiles.get(name)
    about_profile = () if settings is None else _about_profile(name, settings)
    return [*about_source, *about_place, *about_profile]


def _about_profile(name: str, settings: Settings) -> list[str]:
    ready = READY.get(name)
    trait = [f"Trait: {ready.trait}."] if ready is not None and ready.settings == settings else []
    plain = Settings()
    others = [each for each in SETTINGS if getattr(settings, each) != getattr(plain, each)]
    said = " ".join(f"{each}={shown(getattr(settings, each))}" for each in others)
    return [f"SET {name.lower()}", *trait, said or "All settings as they are by default."]


def _about_source(source: Source) -> list[str]:
    choices = [f"{arg.name.upper()}: {' '.join(arg.choices).upper()}" for arg in source.args if arg.choices]
    return [request_of(source), *choices, Lettering().clean(source.about)]


def _about_place(place: Place) -> str:
    """Never its URL or user."""
    kind = "writable" if place.write else "for reading only"
    return f"{place.name}: {place.base.partition(':')[0]}, {'a stream' if place.is_stream else kind}"
