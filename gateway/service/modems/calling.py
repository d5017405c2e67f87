"""What a program has dialled -> an open call, or why there is none."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from adapters.errors import GatewayFull, HeadraceError, NotThere, TooSlow
from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.catalogue.model import STREAMS, Catalogue, Place
from gateway.modem.effects import Dial
from gateway.modem.results import Failure
from gateway.service.clients.granting import Fulfiller
from gateway.session.wishes import Called, CallWish, CounterWish
from gateway.wire.settings import Settings

_COLUMNS: Final = 80  # of a terminal that nobody has told of


def dialled(catalogue: Catalogue, dial: Dial) -> Ref:
    """What was meant: a place's name, a number of the phone book, the URL of a stream, or host:port.

    A HeadraceError where there is none, or where it may not be dialled.
    """
    name = catalogue.phones.get(dial.number, dial.text.removesuffix(":"))
    place = catalogue.places.get(name.upper())
    if place is not None:
        return Ref(place.base, place)
    if "://" in dial.text and dial.text.partition(":")[0].lower() in STREAMS:
        return read_ref(catalogue, dial.text)
    host, colon, port = dial.text.rpartition(":")
    if not colon or not host:
        raise NotThere(f"No place {name.upper()[:12]}")
    scheme = "telnet" if port == "23" else "tcp"
    return read_ref(catalogue, f"{scheme}://{host}:{port}")


async def called(
    catalogue: Callable[[], Catalogue], fulfiller: Fulfiller, dial: Dial, seconds: float, settings: Settings
) -> tuple[Place | None, Called]:
    """The stream, or the counter of a place with documents, open within `seconds`, or a HeadraceError; and
    the place where it says how the stream's text is coded. `settings` are the listener's.

    A program that dials expects the far end to echo what is typed, and to end lines in CR LF.
    """
    ref = dialled(catalogue(), dial)
    counter = ref.place is not None and not ref.place.is_stream
    wish = CounterWish(ref, replace(settings, eol="crlf", echo=True)) if counter else CallWish(ref, _COLUMNS)
    granted = await fulfiller.answer(wish, seconds)
    assert isinstance(granted, Called)
    return (None if counter else ref.place), granted


def failure_of(error: HeadraceError) -> Failure:
    """How a modem tells it: only silence, and a gateway without room, are no refusal."""
    if isinstance(error, TooSlow):
        return Failure.SILENT
    return Failure.NO_LINE if isinstance(error, GatewayFull) else Failure.REFUSED
