"""A name's bytes -> its characters: UTF-8 where they are valid there, else Latin-1 as commonly meant."""

from gateway.extract.fields.text import Lettering
from gateway.extract.markup.decode import decode_bytewise


def decoded_name(name: bytes) -> str:
    """The characters of a far server's name; every byte is some character."""
    try:
        return name.decode("utf-8")
    except UnicodeDecodeError:
        return decode_bytewise(name, "cp1252")


def shown_name(name: bytes, lettering: Lettering) -> str:
    """The name in the client's characters, on one line. Where two look the same, `#n` tells them apart."""
    return lettering.clean(decoded_name(name))
