"""source + args -> Call, ref -> Call: what is sent to the far server, complete (CONTRACT 3 and 4)."""

import re
import unicodedata
import urllib.parse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from adapters.errors import WrongWords
from adapters.port import Call, Credentials, Origin, Reach
from gateway.catalogue.calling.addresses import Url, split_url
from gateway.catalogue.calling.filling import ArgValue, filled_body
from gateway.catalogue.calling.numbers import is_number
from gateway.catalogue.calling.refs import within
from gateway.catalogue.calling.slots import fill
from gateway.catalogue.calling.targets import Ref, current, place_credentials, reach_of
from gateway.catalogue.calling.templates import Template, expand, parse_template
from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.model import Arg, ArgKind, Catalogue, Place, Source
from gateway.extract.plan import Format

ACCEPT: Final[Mapping[Format, str]] = MappingProxyType(
    {
        Format.AUTO: "application/json, application/xml;q=0.9, text/csv;q=0.9, */*;q=0.8",
        Format.JSON: "application/json, */*;q=0.5",
        Format.NDJSON: "application/x-ndjson, application/jsonl, application/json;q=0.9, */*;q=0.5",
        Format.XML: "application/xml, application/atom+xml, application/rss+xml, text/xml;q=0.9, */*;q=0.5",
        Format.CSV: "text/csv, text/plain;q=0.9, */*;q=0.5",
        Format.HTML: "text/html, application/xhtml+xml;q=0.9, */*;q=0.5",
    }
)
"""What is asked for (RFC 9110 section 12.5.1); anything is taken, since many servers mislabel."""

_TRIPLETS: Final = re.compile(r"(?:%[0-9A-Fa-f]{2})+")
_DOTS: Final = frozenset({".", ".."})
_REFUSED: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})  # controls, surrogates, line and paragraph separators


@dataclass(frozen=True, slots=True)
class _Target:
    """Where a call goes, and as whom if the source itself does not say."""

    url: str
    origins: frozenset[Origin]
    place: Place | None = None


def build_call(catalogue: Catalogue, source: Source, args: Sequence[str], lines: bytes | None = None) -> Call:
    """The call that asks `source` with `args` as typed; `lines` is what a source with body `lines` sends.

    WrongWords: args that are too few or too many, or not what the source takes. Nothing is fetched for them.
    """
    values = read_args(source.args, args)
    texts = {name: value.text for name, value in values.items()}
    target = _source_target(catalogue, source, texts)
    headers = {name: _header(value, texts) for name, value in source.headers}
    body, media_type = filled_body(source.body, values, lines)
    media_type = _popped(headers, "content-type", media_type)
    accept = _popped(headers, "accept", ACCEPT[source.plan.format])
    return Call(
        url=target.url,
        method=source.method,
        headers=tuple(headers.items()),
        body=body,
        media_type=media_type,
        accept=accept,
        credentials=_credentials(catalogue, source, target.place),
        ca=source.ca or (target.place.ca if target.place is not None else None),
        reach=Reach(
            catalogue.origins_for(target.url.partition(":")[0]) | target.origins, catalogue.gateway.allow
        ),
        changes=source.changes,
        root="" if target.place is None else target.place.base,
    )


def read_args(wanted: Sequence[Arg], typed: Sequence[str]) -> dict[str, ArgValue]:
    """A request's words as the values of args: `%hh` decoded once, choices looked up, numbers checked."""
    if len(typed) < len(wanted):
        raise WrongWords("Wanted: " + " ".join(each.name.upper() for each in wanted[len(typed) :]))
    if len(typed) > len(wanted):
        names = " ".join(each.name.upper() for each in wanted)
        raise WrongWords(f"Too many words; wanted: {names}" if names else "This source takes no words")
    return {
        arg.name: ArgValue(_read_arg(arg, word), arg.kind) for arg, word in zip(wanted, typed, strict=True)
    }


def _read_arg(arg: Arg, word: str) -> str:
    text, name = decode_word(word), arg.name.upper()
    if any(unicodedata.category(each) in _REFUSED for each in text):
        raise WrongWords(f"{name} holds a control character")
    if arg.choices:
        if text.casefold() not in arg.choices:
            raise WrongWords(f"{name} is one of {' '.join(arg.choices).upper()}")
        text = arg.choices[text.casefold()]
    if not is_number(text, arg.kind):
        raise WrongWords(f"{name} is a whole number" if arg.kind is ArgKind.INT else f"{name} is a number")
    return text


def decode_word(word: str) -> str:
    """`%hh` decoded once: a run of them as UTF-8, else as Latin-1. Any other `%` stands for itself."""

    def decoded(match: re.Match[str]) -> str:
        data = urllib.parse.unquote_to_bytes(match.group())
        try:
            return data.decode()
        except UnicodeDecodeError:
            return data.decode("latin-1")

    return _TRIPLETS.sub(decoded, word)


def _source_target(catalogue: Catalogue, source: Source, texts: Mapping[str, str]) -> _Target:
    name, _, rest = source.url.partition(":")
    place = catalogue.places.get(name.upper())
    template = parse_template(source.url if place is None else rest)
    expanded = expand(template, texts)
    if _dot_segments(expanded) > _own_dot_segments(template):
        raise WrongWords("Dots may not lead elsewhere")
    if place is not None:
        return _Target(within(place.base, expanded), frozenset(), place)
    try:
        url = split_url(expanded)
    except TextFault as fault:  # pragma: no cover — no word gets into a host, and %hh elsewhere
        raise WrongWords("These words make no address") from fault
    return _Target(url.text, _named(url))


@lru_cache(maxsize=1_024)
def _own_dot_segments(template: Template) -> int:
    """How many dot segments a template has without any that an arg brings."""
    return _dot_segments(expand(template, {each.name: "x" for each in template.variables}))


def _dot_segments(url: str) -> int:
    """How many dot segments a server may see in the path (RFC 3986 section 5.2.4), however it decodes it."""
    path = urllib.parse.unquote(re.split(r"[?#]", url, maxsplit=1)[0])
    return sum(each in _DOTS for each in re.split(r"[/\\]", path))


def _named(url: Url) -> frozenset[Origin]:
    return frozenset() if url.origin is None else frozenset({url.origin})


def _header(value: str, texts: Mapping[str, str]) -> str:
    filled = fill(value, texts).strip(" ")
    if not (filled.isascii() and filled.isprintable()):
        raise WrongWords("A header takes plain ASCII only")
    return filled


def _popped(headers: dict[str, str], name: str, default: str) -> str:
    """The catalogue's own header of that name, taken out, or the default."""
    own = next((each for each in headers if each.lower() == name), None)
    return default if own is None else headers.pop(own)


def _credentials(catalogue: Catalogue, source: Source, place: Place | None) -> Credentials | None:
    if source.auth is not None:
        secret = catalogue.secrets[source.auth.secret]
        return Credentials(source.auth.kind, source.auth.name, secret)
    return None if place is None else place_credentials(catalogue, place)


def ref_call(catalogue: Catalogue, ref: Ref, format_: Format = Format.AUTO) -> Call:
    """The call that gets the document at `ref`.

    NotThere: its place has gone meanwhile. NotAllowed: a URL that may not be typed.
    """
    place = current(catalogue, ref).place
    return Call(
        url=ref.url,
        accept=ACCEPT[format_],
        credentials=None if place is None else place_credentials(catalogue, place),
        ca=None if place is None else place.ca,
        reach=reach_of(catalogue, ref),
        root="" if place is None else place.base,
    )
