"""body + args -> bytes and their media type, every arg escaped for the body's kind."""

import json
import re
import urllib.parse
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape

from adapters.errors import WrongWords
from gateway.catalogue.calling.numbers import json_number
from gateway.catalogue.calling.slots import fill, only_slot
from gateway.catalogue.model import ArgKind, Body, BodyValue, FormBody, JsonBody, LinesBody, Number, TextBody

_NOT_XML: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0 section 2.2


@dataclass(frozen=True, slots=True)
class ArgValue:
    """One arg as it is sent: its text, and whether that is a number."""

    text: str
    kind: ArgKind = ArgKind.TEXT

    @property
    def json(self) -> str:
        """The arg as a whole JSON value (RFC 8259)."""
        return (
            json.dumps(self.text, ensure_ascii=False) if self.kind is ArgKind.TEXT else json_number(self.text)
        )


def filled_body(
    body: Body | None, args: Mapping[str, ArgValue], lines: bytes | None
) -> tuple[bytes | None, str]:
    """The body's bytes in UTF-8 and its media type; None and "" without a body.

    WrongWords: data lines for a source that takes none, none for one that does, or an arg with a character
    that XML does not have.
    """
    if isinstance(body, LinesBody) != (lines is not None):
        raise WrongWords(
            "This source takes data lines" if lines is None else "This source takes no data lines"
        )
    texts = {name: value.text for name, value in args.items()}
    match body:
        case None:
            return None, ""
        case LinesBody():
            return lines, "text/plain; charset=utf-8"
        case JsonBody(table):
            return _json(dict(table), args, texts).encode(), "application/json"
        case FormBody(table):
            pairs = list(_pairs(table, texts))
            return urllib.parse.urlencode(pairs).encode(), "application/x-www-form-urlencoded"
        case TextBody(template, xml=True):
            return fill(template, texts, _escape_xml).encode(), "application/xml; charset=utf-8"
        case TextBody(template):  # pragma: no branch — mypy knows that these are all
            return fill(template, texts).encode(), "text/plain; charset=utf-8"


def _json(value: BodyValue, args: Mapping[str, ArgValue], texts: Mapping[str, str]) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case int():
            return str(value)
        case Number(text):
            return text
        case str():
            name = only_slot(value)
            return json.dumps(fill(value, texts), ensure_ascii=False) if name is None else args[name].json
        case list():
            return "[" + ",".join(_json(each, args, texts) for each in value) + "]"
        case dict():  # pragma: no branch — mypy knows that these are all
            members = (
                f"{json.dumps(name, ensure_ascii=False)}:{_json(each, args, texts)}"
                for name, each in value.items()
            )
            return "{" + ",".join(members) + "}"


def _pairs(table: Mapping[str, BodyValue], texts: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """A form's pairs; a list repeats its name."""
    for name, value in table.items():
        for each in value if isinstance(value, list) else [value]:
            if isinstance(each, bool):
                yield name, "true" if each else "false"
            elif isinstance(each, Number):
                yield name, each.text
            else:
                yield name, fill(str(each), texts)


def _escape_xml(text: str) -> str:
    if _NOT_XML.search(text):
        raise WrongWords("XML has no such character")
    return escape(text, {'"': "&quot;", "'": "&apos;"})
