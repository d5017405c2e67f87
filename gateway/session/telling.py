"""SET, TIME, NOOP and HELP: the requests about the session itself -> records."""

import textwrap
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from adapters.errors import NotARequest, NotThere, WrongWords
from gateway import VERSION
from gateway.catalogue.model import Source
from gateway.extract.fields.text import Lettering
from gateway.session.asking import request_of
from gateway.session.explaining import named_records
from gateway.session.state import State
from gateway.wire.codes import CODES
from gateway.wire.replies import Reply
from gateway.wire.settings import LATER, SETTINGS, change, shown, zone_name
from gateway.wire.words import REQUESTS, request_word


def set_settings(state: State, words: Sequence[str]) -> Reply:
    """SET [name] [key=value ...]: all or none; with nothing, show them."""
    if not words:
        pairs = [("PROFILE", state.profile.lower())]
        pairs += [(name.upper(), shown(getattr(state.settings, name))) for name in SETTINGS]
        return state.plain(named_records(pairs, state.room), state.room)
    profile, settings, eol_typed = state.profile, state.settings, state.eol_typed
    first = words[0]
    if "=" not in first:
        profiles = state.world.catalogue().profiles
        if first.lower() in SETTINGS:
            raise WrongWords(f"A setting: SET {first.lower()}={SETTINGS[first.lower()].default}")
        if first.upper() not in profiles:
            raise NotThere(f"No profile {first.upper()[:12]}")
        profile, settings, eol_typed = first.upper(), profiles[first.upper()], False
        words = words[1:]
    pairs = []
    for word in words:
        key, equals, value = word.partition("=")
        if not (key and equals):
            raise WrongWords("Wanted: SET [name] [key=value ...]")
        pairs.append((key, value))
    settings = change(settings, pairs)
    state.profile, state.settings = profile, settings
    state.eol_typed = eol_typed or any(key.lower() == "eol" for key, _ in pairs)
    return Reply(200, state.settings)


def time(state: State, words: Sequence[str]) -> Reply:
    """TIME [zone]: `YYYY-MM-DD HH:MM:SS D +HHMM`, D the ISO 8601 weekday."""
    if len(words) > 1:
        raise WrongWords("Wanted: TIME [zone]")
    zone = zone_name(words[0]) if words else state.settings.zone
    now = state.world.now().astimezone(ZoneInfo(zone))
    text = f"{now:%Y-%m-%d %H:%M:%S} {now.isoweekday()} {now:%z}"
    return state.plain([text], len(text))


def noop(state: State, words: Sequence[str]) -> Reply:
    """NOOP [word]: the word as its record."""
    if len(words) > 1:
        raise WrongWords("Wanted: NOOP [word]")
    if not words:
        return Reply(200, state.settings)
    word, room = words[0], state.room
    return state.plain([word[:room].ljust(room)], room, "C" if len(word) > room else ".")


def help_words(state: State, words: Sequence[str]) -> Reply:
    """HELP [word]: the contract's version first, then the requests, or one request, setting or code."""
    if len(words) > 1:
        raise WrongWords("Wanted: HELP [word]")
    if not words:
        ready = " ".join(each.name for each in REQUESTS.values() if not each.later)
        texts = ["HELP word tells more.", ready]
    else:
        texts = _about(words[0], state.world.catalogue().sources)
    first = f"HEADRACE 1 {VERSION}"
    width = max(state.room, len(first))
    lines = [first, *(line for text in texts for line in textwrap.wrap(text, width))]
    return state.plain([line.ljust(width) for line in lines], width)


def _about(word: str, sources: Mapping[str, Source]) -> list[str]:
    if word.lower() in SETTINGS:
        setting = SETTINGS[word.lower()]
        return [f"SET {setting.name}={setting.values}", setting.meaning, f"Default {setting.default}"]
    if word.lower() in LATER:
        return [f"{word.lower()} comes in a later version."]
    if word.isascii() and word.isdigit() and len(word) == 3 and int(word) in CODES:
        return [f"{word} {CODES[int(word)]}"]
    try:
        request = request_word(word)
    except NotARequest as error:
        if word.upper() in sources:
            return _about_source(sources[word.upper()])
        raise NotThere("No such request, setting, code, source") from error
    later = ["In a later version."] if request.later else []
    return [f"{request.name} {request.usage}".strip(), request.meaning + ".", *later]


def _about_source(source: Source) -> list[str]:
    choices = [f"{arg.name.upper()}: {' '.join(arg.choices).upper()}" for arg in source.args if arg.choices]
    return [request_of(source), *choices, Lettering().clean(source.about)]
