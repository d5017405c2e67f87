"""text -> IANA time zone name, or the nearest one."""

import zoneinfo

from adapters.errors import WrongWords
from gateway.catalogue.document.mistakes import nearest
from gateway.wire.settings import zone_name


def known_zone(text: str) -> str | None:
    """The IANA name in its own spelling, whatever the case of `text`; None where there is none."""
    try:
        return zone_name(text)
    except WrongWords:
        return None


def near_zone(text: str) -> str:
    """The zone that `text` was most likely meant to be: a near name, or the one place of that name; or ""."""
    names = sorted(zoneinfo.available_timezones())
    folded = text.casefold().replace(" ", "_")
    places = [each for each in names if each.casefold().endswith("/" + folded)]
    return places[0] if places else nearest(folded, names)
