"""What a program has dialled -> an open call, or why there is none."""

from collections.abc import Callable
from typing import Final

from adapters.errors import GatewayFull, HeadraceError, NotThere, TooSlow
from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.catalogue.model import STREAMS, Catalogue
from gateway.modem.effects import Dial
from gateway.modem.results import Failure
from gateway.service.clients.granting import Fulfiller
from gateway.session.wishes import Called, CallWish

_COLUMNS: Final = 80  # of a terminal that nobody has told of


def dialled(catalogue: Catalogue, dial: Dial) -> Ref:
    """The stream that was meant: a place's name, a number of the phone book, a URL, or host:port.

    A HeadraceError where there is none, or where it may not be dialled.
    """
    name = catalogue.phones.get(dial.number, dial.text.removesuffix(":"))
    place = catalogue.places.get(name.upper())
    if place is not None:
        if not place.is_stream:
            raise NotThere(f"{place.name} is no stream")
        return Ref(place.base, place)
    if "://" in dial.text and dial.text.partition(":")[0].lower() in STREAMS:
        return read_ref(catalogue, dial.text)
    host, colon, port = dial.text.rpartition(":")
    if not colon or not host:
        raise NotThere(f"No place {name.upper()[:12]}")
    scheme = "telnet" if port == "23" else "tcp"
    return read_ref(catalogue, f"{scheme}://{host}:{port}")


async def called(
    catalogue: Callable[[], Catalogue], fulfiller: Fulfiller, dial: Dial, seconds: float
) -> tuple[Ref, Called]:
    """The stream, open within `seconds`, or a HeadraceError."""
    ref = dialled(catalogue(), dial)
    granted = await fulfiller.answer(CallWish(ref, _COLUMNS), seconds)
    assert isinstance(granted, Called)
    return ref, granted


def failure_of(error: HeadraceError) -> Failure:
    """How a modem tells it: only silence, and a gateway without room, are no refusal."""
    if isinstance(error, TooSlow):
        return Failure.SILENT
    return Failure.NO_LINE if isinstance(error, GatewayFull) else Failure.REFUSED
