"""The reply codes of version 1, with their meanings (CONTRACT section 2; theory: RFC 959 section 4.2)."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

CODES: Final[Mapping[int, str]] = MappingProxyType(
    {
        150: "begun, goes on without you; WHY tells how far",
        200: "done, records follow (none is not an error)",
        220: "greeting",
        221: "this connection closes",
        226: "the stream is over",
        230: "member accepted",
        250: "file action done",
        350: "send the lines or bytes now",
        420: "the far server took too long",
        421: "the gateway is full or going down",
        425: "cannot connect to the far server",
        426: "the far server broke off",
        429: "asked too often; the record ends in the seconds to wait",
        450: "the far server is busy or failing; the record may end in the seconds to wait",
        451: "the gateway failed",
        452: "the gateway has no room",
        500: "not a request",
        501: "wrong words",
        502: "not possible there",
        503: "wrong moment",
        504: "offline and nothing recorded for that",
        530: "log in first",
        532: "not allowed",
        533: "the far server refuses the gateway's credentials",
        535: "LOGIN refused",
        550: "not there",
        551: "not the kind of document the source expects",
        552: "too large or too wide",
        553: "name not allowed",
        554: "the far server's certificate is not to be trusted",
        555: "changed meanwhile, or already there",
        558: "it may have been done: look before repeating",
    }
)
