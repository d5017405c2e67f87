"""SET, TIME and NOOP: the requests about the session itself -> records."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from adapters.errors import NotThere, WrongWords
from gateway.session.explaining import named_records
from gateway.session.state import State
from gateway.wire.replies import Reply
from gateway.wire.settings import SETTINGS, change, shown, zone_name


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
        if first.upper() not in profiles:
            if first.lower() in SETTINGS:
                value = words[1] if len(words) == 2 else SETTINGS[first.lower()].default
                raise WrongWords(f"Wanted: SET {first.lower()}={value}")
            raise NotThere(f"No profile {first.upper()[:12]}; HELP PROFILES")
        profile, settings, eol_typed = first.upper(), profiles[first.upper()], False
        words = words[1:]
    pairs = []
    for word in words:
        key, equals, value = word.partition("=")
        if not (key and equals):
            raise WrongWords("Wanted: SET [name] [key=value ...]")
        if key.lower() == "profile":
            is_one = value.upper() in state.world.catalogue().profiles
            raise WrongWords(f"Wanted: SET {value}" if is_one else "Wanted: SET plain (a profile's name)")
        pairs.append((key, value))
    settings = change(settings, pairs, state.world.catalogue().tables)
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
