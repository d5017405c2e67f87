"""What a program has dialled -> an open call, or why there is none."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from adapters.errors import GatewayFull, HeadraceError, NotThere, TooSlow
from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.catalogue.model import STREAMS, Catalogue, Place
from gateway.modem.effects import Dial
from gateway.modem.results import Failure
from gateway.service.clients.granting import Fulfiller
from gateway.service.streams.open_call import OpenCall
from gateway.session.streams.talking import StreamText
from gateway.session.wishes import Called, CallWish, CounterWish
from gateway.streams.to_client import RawToClient, ToClient, Translation
from gateway.streams.to_far import ToFar
from gateway.wire.settings import Settings

_COLUMNS: Final = 80  # of a terminal that nobody has told of


class OpenedCall:
    """A call that is going on. Nothing is made of its bytes, unless its place says how lines end."""

    def __init__(
        self, form: StreamText | None, call: OpenCall, settings: Settings, letters: Mapping[str, str]
    ) -> None:
        self.call = call
        self.waiting = bytearray()
        self.news = asyncio.Event()
        self.to_client: Translation = RawToClient(settings)
        self.to_far: ToFar | None = None
        if form is not None and form.lines is not None and not form.raw:
            self.to_client = ToClient(settings, b"\r\n", form.charset, letters)
            self.to_far = ToFar(settings, form.lines.data, form.charset)


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


@dataclass(frozen=True, slots=True)
class Asking:
    """Who asks: by whom it is granted, the listener's settings, and what refuses wishes that may not be."""

    fulfiller: Fulfiller
    settings: Settings
    check: Callable[[object], None] = lambda _: None


async def called(
    catalogue: Catalogue, asking: Asking, dial: Dial, seconds: float
) -> tuple[Place | None, Called]:
    """The stream, or the counter of a place with documents, open within `seconds`, or a HeadraceError; and
    the place where it says how the stream's text is coded.

    A program that dials expects the far end to echo what is typed, and to end lines in CR LF.
    """
    ref = dialled(catalogue, dial)
    counter = ref.place is not None and not ref.place.is_stream
    settings = replace(asking.settings, eol="crlf", echo=True)
    wish = CounterWish(ref, settings, asking.check) if counter else CallWish(ref, _COLUMNS)
    asking.check(wish)
    granted = await asking.fulfiller.answer(wish, seconds)
    assert isinstance(granted, Called)
    return (None if counter else ref.place), granted


def failure_of(error: HeadraceError) -> Failure:
    """How a modem tells it: only silence, and a gateway without room, are no refusal."""
    if isinstance(error, TooSlow):
        return Failure.SILENT
    return Failure.NO_LINE if isinstance(error, GatewayFull) else Failure.REFUSED
