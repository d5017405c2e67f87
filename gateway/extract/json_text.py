"""bytes -> JsonValue, and JsonValue -> compact JSON text (RFC 8259, NDJSON, RFC 7464).

The standard library's scanner does the work, told to keep every number as the text that the document
holds, so neither a long nor a huge number is ever converted. What it is too lenient about (NaN), or
answers with errors of its own (depth, encodings), is put right here. Every fault of the document is a
WrongDocument (551); a truncated document is one too, never a shorter one.
"""

import codecs
import json
import re
from collections.abc import Iterator
from contextlib import suppress
from json.encoder import encode_basestring
from typing import Any, Final, NoReturn, cast

from adapters import limits
from adapters.errors import TooLarge, WrongDocument
from gateway.extract.values import JsonNumber, JsonValue

_BLANKS: Final = " \t\n\r"  # RFC 8259 section 2, and nothing else
_RECORD_SEPARATOR: Final = "\x1e"  # RFC 7464 section 2

_CONTAINERS: Final = frozenset((dict, list))

# The longer mark first: UTF-32's little-endian mark begins with UTF-16's.
_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

# Codecs that Python calls text encodings, but that no document is written in: some are slow on hostile
# input, some make characters out of ASCII escapes.
_NO_CHARSETS: Final = frozenset(
    {"idna", "punycode", "raw-unicode-escape", "undefined", "unicode-escape", "utf-7"}
)

_LINE_TYPES: Final = frozenset(
    {
        "application/json-lines",
        "application/json-seq",
        "application/jsonl",
        "application/jsonlines",
        "application/ndjson",
        "application/stream+json",
        "application/x-json-lines",
        "application/x-json-stream",
        "application/x-jsonl",
        "application/x-jsonlines",
        "application/x-ndjson",
        "text/jsonl",
        "text/x-jsonl",
        "text/x-ndjson",
    }
)

_BLANKS_RUN: Final = re.compile(f"[{_BLANKS}]*")
_SURROGATE: Final = re.compile("[\ud800-\udfff]")
# Half of a surrogate pair on its own, written as an escape: a high one without a low one after it, or a
# low one without a high one before it. Right only where every backslash begins an escape.
_LONE_ESCAPE: Final = re.compile(
    r"\\u[dD](?:[89abAB][0-9a-fA-F]{2}(?!\\u[dD][c-fC-F][0-9a-fA-F]{2})"
    r"|(?<!\\u[dD][89abAB][0-9a-fA-F]{2}\\u[dD])[c-fC-F][0-9a-fA-F]{2})"
)


def parse_json(body: bytes, charset: str | None = None) -> JsonValue:
    """The one value of a JSON document (RFC 8259).

    `charset` is what the server declared, if anything. Of a repeated name the last one wins; half a
    surrogate pair is U+FFFD. Raises WrongDocument.
    """
    return _one(_readable(body, charset))


def parse_ndjson(body: bytes, charset: str | None = None) -> list[JsonValue]:
    """The values of a document of JSON lines; an empty document holds none.

    Lines end at LF only, so other separators may stand inside strings; blank lines are skipped. A
    document that begins with a record separator is a JSON text sequence (RFC 7464), whose texts may
    run over several lines. Raises WrongDocument.
    """
    return _many(_readable(body, charset))


def parse_json_or_lines(
    body: bytes, media_type: str | None = None, charset: str | None = None
) -> tuple[JsonValue, bool]:
    """The value of a JSON document, or the list of all values of JSON lines; and whether it was lines.

    It is lines where the media type says so (even one line, so that one row and many are alike), where
    it begins with a record separator, or where a line end and more follow a first value. A document
    that is typed as lines but is one value over several lines is that value. Raises WrongDocument.
    """
    text = _readable(body, charset)
    if is_line_type(media_type) or text.lstrip(_BLANKS).startswith(_RECORD_SEPARATOR):
        try:
            return _many(text), True
        except WrongDocument:
            with suppress(WrongDocument):  # the fault of the lines is the one to tell
                return _one(text), False
            raise
    value, end = _scan(text)
    rest = _blanks_end(text, end)
    if rest == len(text):
        _check_depth(value)
        return value, False
    if "\n" not in text[end:rest]:
        raise _fault("More follows the value", text, rest)
    return _many(text), True


def is_line_type(media_type: str | None) -> bool:
    """Whether a media type, with or without parameters, names JSON lines or a JSON text sequence."""
    name = (media_type or "").partition(";")[0].strip().lower()
    return name in _LINE_TYPES or name.endswith("+json-seq")  # RFC 8091


def decode_json(body: bytes, charset: str | None = None) -> str:
    """A JSON document's characters, without a byte order mark.

    RFC 8259 section 8.1 wants UTF-8 and gives the media type no charset, so that is tried first, and
    strictly; a mark or the pattern of NULs (RFC 4627 section 3) tells UTF-16 and UTF-32; the declared
    charset counts only where UTF-8 fails. Raises WrongDocument where nothing fits.
    """
    start, codec = 0, "utf-8"
    for mark, name in _MARKS:
        if body.startswith(mark):
            start, codec = len(mark), name
            break
    else:
        if b"\0" in body[:4]:
            codec = json.detect_encoding(body)
    try:
        return str(memoryview(body)[start:], codec)
    except UnicodeDecodeError as fault:
        if codec != "utf-8" or charset is None:
            raise WrongDocument(f"Not {codec[:6].rstrip('-').upper()} text") from fault
    return _decode_declared(body[start:], charset)


def to_text(value: JsonValue) -> str:
    """Compact JSON: every number as the document wrote it, non-ASCII characters as they are."""
    pieces: list[str] = []
    # What is still to be written, last first; a tuple holds text that is ready.
    pending: list[JsonValue | tuple[str]] = [value]
    while pending:
        item = pending.pop()
        match item:
            case tuple():
                pieces.append(item[0])
            case JsonNumber():
                pieces.append(item.text)
            case str():
                pieces.append(encode_basestring(item))
            case dict():
                pieces.append("{")
                pending.append(("}",))
                for name, member in reversed(item.items()):
                    pending += (member, (f"{encode_basestring(name)}:",), (",",))
                if item:
                    pending.pop()  # no comma before the first
            case list():
                pieces.append("[")
                pending.append(("]",))
                for element in reversed(item):
                    pending += (element, (",",))
                if item:
                    pending.pop()
            case True | False:
                pieces.append("true" if item else "false")
            case None:  # pragma: no branch — mypy knows that these are all
                pieces.append("null")
    return "".join(pieces)


def _decode_declared(body: bytes, charset: str) -> str:
    """The body by the server's own word for its charset."""
    try:
        name = codecs.lookup(charset.strip()).name
        if name in _NO_CHARSETS:
            raise WrongDocument("Not UTF-8, and no usable charset")
        if name in ("iso8859-1", "ascii"):
            # Everybody means windows-1252 by these labels (WHATWG Encoding, section 4.2).
            try:
                return body.decode("cp1252")
            except UnicodeDecodeError:
                return body.decode("latin-1")
        return _SURROGATE.sub("\ufffd", body.decode(name))
    except (LookupError, ValueError) as fault:  # UnicodeDecodeError is a ValueError
        raise WrongDocument("Not UTF-8, nor the declared charset") from fault


def _refuse_constant(_name: str) -> NoReturn:
    raise WrongDocument("JSON has no NaN or Infinity")


_DECODER: Final = json.JSONDecoder(
    parse_int=JsonNumber, parse_float=JsonNumber, parse_constant=_refuse_constant
)


def _readable(body: bytes, charset: str | None) -> str:
    """The document's characters, with U+FFFD for what the scanner would make half a surrogate pair of."""
    text = decode_json(body, charset)
    if "\\u" in text and _LONE_ESCAPE.search(text):
        # Another spelling of the escaped backslash leaves no backslash that does not begin an escape.
        return _LONE_ESCAPE.sub(r"\\ufffd", text.replace("\\\\", "\\u005c"))
    return text


def _one(text: str, line: int = 0) -> JsonValue:
    """The only value of the text. `line`: lines of the document before it, for the fault's place."""
    value, end = _scan(text, line)
    rest = _blanks_end(text, end)
    if rest != len(text):
        raise _fault("More follows the value", text, rest, line)
    _check_depth(value)
    return value


def _scan(text: str, line: int = 0) -> tuple[JsonValue, int]:
    """The first value of the text, and where it ends; its depth is still to be checked."""
    start = _blanks_end(text, 0)
    if start == len(text):
        raise WrongDocument("Empty, so not JSON")
    try:
        value, end = _DECODER.raw_decode(text, start)
    except json.JSONDecodeError as fault:
        if fault.msg.startswith("Unterminated") or _blanks_end(text, fault.pos) == len(text):
            raise WrongDocument("The JSON document stops too early") from fault
        if line == 0 and text[start] == "<":
            raise WrongDocument("Not JSON but markup") from fault
        raise _fault("Not JSON", text, fault.pos, line) from fault
    except RecursionError as fault:
        raise WrongDocument("JSON nested too deeply") from fault
    except MemoryError as fault:
        raise TooLarge("Too large for the gateway") from fault
    return cast(JsonValue, value), end


def _blanks_end(text: str, start: int) -> int:
    blanks = _BLANKS_RUN.match(text, start)
    return blanks.end() if blanks else start


def _many(text: str) -> list[JsonValue]:
    """The values of JSON lines, or of a JSON text sequence."""
    if text.startswith(_RECORD_SEPARATOR, _blanks_end(text, 0)):
        return list(_sequence(text))
    values: list[JsonValue] = []
    for number, line in enumerate(text.split("\n")):
        # A separator before a single line is let through wherever it stands.
        content = line.strip(_BLANKS).lstrip(_BLANKS + _RECORD_SEPARATOR)
        if content:
            values.append(_line(content, number))
    _check_depth(values, limits.DEPTH + 1)
    return values


def _line(content: str, number: int) -> JsonValue:
    """One line's value; what is told of a fault is found out by reading it again."""
    try:
        value, end = _DECODER.raw_decode(content)
    except (json.JSONDecodeError, RecursionError):
        return _one(content, number)
    return cast(JsonValue, value) if end == len(content) else _one(content, number)


def _sequence(text: str) -> Iterator[JsonValue]:
    """The values of a JSON text sequence: a separator stands before each, and nowhere in a JSON text."""
    line = 0
    for piece in text.split(_RECORD_SEPARATOR):
        if piece.strip(_BLANKS):
            value = _one(piece, line)
            if piece[-1] not in _BLANKS and not isinstance(value, (dict, list, str)):
                # 12 may be what was left of 123 (RFC 7464 section 2.4).
                raise WrongDocument("The JSON document stops too early")
            yield value
        line += piece.count("\n")


def _check_depth(value: JsonValue, depth: int = limits.DEPTH) -> None:
    """Refuse what is nested deeper than `depth`, level by level: it costs a fifth of the scanning."""
    level: list[Any] = [value] if type(value) in _CONTAINERS else []
    for _ in range(depth):
        if not level:
            return
        level = [
            child
            for parent in level
            for child in (parent.values() if type(parent) is dict else parent)
            if type(child) in _CONTAINERS
        ]
    if level:
        raise WrongDocument("JSON nested too deeply")


def _fault(what: str, text: str, position: int, line: int = 0) -> WrongDocument:
    before = text[:position]
    row = line + before.count("\n") + 1
    column = position - before.rfind("\n")
    return WrongDocument(f"{what}: line {row} column {column}")
