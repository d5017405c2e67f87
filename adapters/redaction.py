"""text -> the same text with every secret in it hidden.

Two nets. Secrets that the gateway knows are found in any spelling: as they are, percent-encoded (RFC 3986
section 2.1) or form-encoded, escaped for JSON, for HTML (by name or number) or by repr(), in any mixture of
these, and as base64 (RFC 4648) at any alignment, as in Basic credentials (RFC 7617). Secrets that nobody
told of are hidden by where they stand: the user part and the query values of a URL, the values of headers
that carry credentials or cookies, of parameters named like a secret, and of PASS and LOGIN.

Hiding too much is harmless here, hiding too little is not: where a text is ambiguous, more goes.
"""

import base64
import re
from collections.abc import Iterator, Sequence
from html.entities import codepoint2name
from typing import Final

from adapters import limits

HIDDEN: Final = "***"
"""What stands in place of a secret: no letters, so that no secret is part of it."""

_Span = tuple[int, int]

_ENTITY: Final = {
    **{chr(code): f"&{name};" for code, name in codepoint2name.items()},
    "&": r"&(?:amp;)+",
    "'": "&apos;",
}
_ESCAPED: Final = {"\n": "n", "\r": "r", "\t": "t", "\b": "b", "\f": "f", "\v": "v", "\a": "a", "\0": "0"}
_BASE64: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/-_=")
_SLASHES: Final = r"\\\\{0,7}"
"""Backslashes before an escaped character: one for each time that the text was escaped, and bounded, so
that a text full of them costs no time. The first one is a literal: see _any_of."""
_WIDEST: Final = 24  # characters that one byte of a secret may take up


class Redactor:
    """Hides secrets in text. Safe to use from any thread; `learn` takes effect for what comes after."""

    def __init__(self) -> None:
        self._secrets: frozenset[str] = frozenset()
        self._patterns: tuple[tuple[re.Pattern[str], bool], ...] = ()
        self._reach = 0  # characters of the longest spelling of a secret

    def learn(self, secret: str) -> None:
        """Hide this secret from now on, and without the blanks around it too. An empty one says nothing."""
        for text in (secret, secret.strip()):
            if text and text not in self._secrets:
                self._secrets |= {text}
                self._patterns += tuple(_patterns(text))
                self._reach = max(self._reach, _WIDEST * len(text.encode("utf-8", "surrogatepass")))

    @property
    def reach(self) -> int:
        """How many characters the longest spelling of a known secret may have; 0 where none is known."""
        return self._reach

    def known_in(self, text: str) -> list[tuple[int, int]]:
        """Where known secrets stand, as (start, end), in order and apart."""
        spans: list[_Span] = []
        for pattern, encoded in self._patterns:
            found = (match.span() for match in pattern.finditer(text))
            spans.extend(_whole_run(text, span) if encoded else span for span in found)
        return _apart(spans)

    def without_known(self, text: str) -> str:
        """`text` with every known secret replaced by `***`, and nothing else."""
        spans = self.known_in(text)
        return _without(text, spans) if spans else text

    def clean(self, text: str, limit: int | None = None) -> str:
        """`text`, or its first `limit` characters and `...`, with every secret replaced by `***`.

        A secret is hidden even where the limit cuts it in two.
        """
        cut = limit is not None and len(text) > limit
        spans: list[_Span] = []
        if limit is not None:
            text = text[: limit + self._reach]
        for pattern, encoded in self._patterns:
            found = (match.span() for match in pattern.finditer(text))
            spans.extend(_whole_run(text, span) if encoded else span for span in found)
        if cut:
            spans = [(start, min(end, limit or 0)) for start, end in spans if start < (limit or 0)]
            text = _UNFINISHED_URL.sub("", text[:limit]) + "..."
        if spans:
            text = _without(text, spans)
        return _without_places(text)


def _patterns(secret: str) -> Iterator[tuple[re.Pattern[str], bool]]:
    """What finds the secret; True where it finds the middle of a run of base64."""
    yield re.compile(_any_of([secret], word=len(secret) < limits.LOG_WORD)), False
    middles: set[str] = set()
    for data in _encoded(secret):
        if len(data) >= limits.LOG_BASE64_BYTES:
            middles.update(_middles(data))
    if middles:
        yield re.compile(_any_of(sorted(middles))), True


def _encoded(secret: str) -> set[bytes]:
    found = {secret.encode("utf-8", "surrogatepass")}
    if all(ord(character) < 256 for character in secret):
        found.add(secret.encode("latin-1"))
    return found


def _middles(data: bytes) -> Iterator[str]:
    """The characters of base64 that do not hang on what stands before and after, at each alignment."""
    for before in range(3):
        text = base64.b64encode(bytes(before) + data).decode("ascii")
        first = -(-before * 8 // 6)
        last = (before + len(data)) * 8 // 6
        yield text[first:last]
        yield text[first:last].translate(str.maketrans("+/", "-_"))


def _any_of(texts: Sequence[str], *, word: bool = False) -> str:
    """A pattern for every spelling of these; `word`: with no letter or digit at either side.

    It begins with a set of characters, one of which begins every spelling: from one of these to the next a
    search is ten times as fast as where it tries every place.
    """
    firsts: set[str] = set()
    spelled = []
    for text in texts:
        first, *rest = (_ways(run.group()) for run in re.finditer(r"\\+|[^\\]", text))
        begun = []
        for way in first:
            literal = way[: 2 if way[0] == "\\" else 1]
            firsts.add(literal[-1])
            begun.append(f"(?<={literal}){way[len(literal) :]}")
        spelled.append("".join(f"(?:{'|'.join(ways)})" for ways in (begun, *rest)))
    before, after = (r"(?<![^\W_][\s\S])", r"(?![^\W_])") if word else ("", "")
    return f"[{''.join(map(re.escape, sorted(firsts)))}]{before}(?:{'|'.join(spelled)}){after}"


def _ways(run: str) -> list[str]:
    """The spellings of one character, or of backslashes in a row."""
    if run[0] != "\\":
        return _character(run)
    # Escaping doubles them, each time it is done.
    count = len(run)
    encoded, escaped, numbered = "%(?:25)*5[Cc]", f"{_SLASHES}x5c", _numbered(ord("\\"))
    others = f"(?:{encoded}|{escaped}|{numbered}){{{count - 1}}}"
    first = rf"\\\\{{{count - 1},{8 * count - 1}}}"
    return [first, *(each + others for each in (encoded, escaped, numbered))]


def _character(character: str) -> list[str]:
    code = ord(character)
    octets = character.encode("utf-8", "surrogatepass")
    ways = [re.escape(character), "".join(f"%(?:25)*{_hex(f'{octet:02x}')}" for octet in octets)]
    units = character.encode("utf-16-be", "surrogatepass")
    ways.append("".join(f"{_SLASHES}u{_hex(units[at : at + 2].hex())}" for at in range(0, len(units), 2)))
    ways.append("".join(f"{_SLASHES}x{_hex(f'{octet:02x}')}" for octet in octets))
    if 0x80 <= code < 0x100:
        ways += [f"%(?:25)*{_hex(f'{code:02x}')}", f"{_SLASHES}x{_hex(f'{code:02x}')}"]
    if code > 0xFFFF:
        ways.append(f"{_SLASHES}U{_hex(f'{code:08x}')}")
    if character == " ":
        ways.append(r"\+")
    if character in "\"'/":
        ways.append(_SLASHES + character)
    if character in _ESCAPED:
        ways.append(_SLASHES + _ESCAPED[character])
    if character in _ENTITY:
        ways.append(_ENTITY[character])
    ways.append(_numbered(code))
    return ways


def _numbered(code: int) -> str:
    """As HTML and XML have it, in decimal or hexadecimal."""
    return f"&(?:#0{{0,7}}{code}|#[xX]0{{0,7}}{_hex(f'{code:x}')});"


def _hex(digits: str) -> str:
    return "".join(f"[{digit}{digit.upper()}]" if digit.isalpha() else digit for digit in digits)


def _whole_run(text: str, span: _Span) -> _Span:
    """The run of base64 around a match: its ends hold a few bits of the secret too."""
    start, end = span
    while start > 0 and text[start - 1] in _BASE64:
        start -= 1
    while end < len(text) and text[end] in _BASE64:
        end += 1
    return start, end


def _apart(spans: list[_Span]) -> list[_Span]:
    """The same places, those that touch made one."""
    merged: list[_Span] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = merged[-1][0], max(end, merged[-1][1])
        else:
            merged.append((start, end))
    return merged


def _without(text: str, spans: list[_Span]) -> str:
    parts: list[str] = []
    done = 0
    for start, end in sorted(spans):
        if done <= start < len(text):
            parts += [text[done:start], HIDDEN]
        done = max(done, end)
    return "".join((*parts, text[done:]))


# By where they stand. A URL ends at a blank, a double quote or an angle bracket (RFC 3986 appendix C); every
# other mark may be part of a secret.
_USER: Final = re.compile(r"""(?P<mark>:(?:\\*/){2})[^\s"<>/?#\\]*@""")  # RFC 3986 section 3.2.1
_USER_ENCODED: Final = re.compile(
    r"""(?i)(?P<mark>(?::|%(?:25)*3a)(?:%(?:25)*2f){2})(?:(?!%(?:25)*(?:2f|3f|23))[^\s"<>/?#])*%(?:25)*40"""
)
_USER_WRONG: Final = re.compile(  # a `/`, `?` or `#` in a password that nobody encoded
    r"""(?P<mark>:(?:\\*/){2})[^\s"<>/?#\\@:\[*]+:(?!\d*(?:[/?#\\\s"<>]|$))[^\s"<>]*@"""
)
_UNFINISHED_URL: Final = re.compile(r"""(?i)(?::|%(?:25)*3a)(?:\\*/|%(?:25)*2f){1,2}[^\s"<>]*\Z""")
_QUERY: Final = re.compile(r"""(?i)(?P<mark>\?|%(?:25)*3f|\#)(?P<query>[^\s"<>]+)""")
_PART: Final = re.compile(r"""(?P<name>&[^\s"<>=&]{1,100}=)[^\s"<>&]+""")  # of a form without its `?`

_FIELD: Final = re.compile(
    r"""(?<![A-Za-z0-9_-])(?P<name>[A-Za-z][A-Za-z0-9_-]{2,63})
    (?: (?P<closed>\\{0,8}["'])\s{0,4}[:=,] | \s{0,4}(?P<mark>[:=]) )
    \s{0,4}[\[(]{0,2}b?(?P<opened>\\{0,8}["'])?""",
    re.VERBOSE,
)
_CREDENTIAL_FIELD: Final = re.compile(r"(?i)(?:proxy-)?authorization|(?:set-)?cookie2?")
_SECRET_NAME: Final = re.compile(
    r"(?i)api[-_]?key|(?:access|private|signing|auth|session)[-_]?(?:key|id)|token|secret|passw|passphrase"
    r"|credential|signature|^x[-_].*(?:key|auth)|^(?:proxy-)?authorization$|^(?:set-)?cookie2?$"
)
_SCHEME: Final = re.compile(
    r"(?i)\b(?P<scheme>basic|bearer|digest|negotiate|token)(?P<gap>[ \t]+)[^\s\"'<>,]{6,}"
)
_COOKIE: Final = re.compile(r"<Cookie [^>]*")
_PASS: Final = re.compile(r"\b(?P<word>PASS|ACCT)[ \t]+[^\r\n]+")  # RFC 959 section 4.1.1
_LOGIN: Final = re.compile(r"""(?im)(?P<word>(?:^|["'>:]\s{0,4})log(?:in?)?[ \t]+)\S+[ \t]+[^\r\n]+""")


def names_secret(name: str) -> bool:
    """Whether a header, parameter or field of this name holds a secret."""
    return _SECRET_NAME.search(name) is not None


def _without_places(text: str) -> str:
    for pattern in (_USER, _USER_WRONG, _USER_ENCODED):
        text = pattern.sub(rf"\g<mark>{HIDDEN}@", text)
    text = _QUERY.sub(_without_values, text)
    text = _PART.sub(rf"\g<name>{HIDDEN}", text)
    text = _without_fields(text)
    text = _SCHEME.sub(rf"\g<scheme>\g<gap>{HIDDEN}", text)
    text = _COOKIE.sub(f"<Cookie {HIDDEN}", text)
    text = _PASS.sub(rf"\g<word> {HIDDEN}", text)
    return _LOGIN.sub(rf"\g<word>{HIDDEN}", text)


def _without_values(match: re.Match[str]) -> str:
    if match["mark"] == "#" and not set("=?") & set(match["query"]):
        return match.group()  # a fragment that names a place in the document
    if match["mark"] != "?":
        return match["mark"] + HIDDEN
    parts = []
    for part in match["query"].split("&"):
        name, equals, _ = part.partition("=")
        parts.append(f"{name}={HIDDEN}" if equals else HIDDEN)
    return "?" + "&".join(parts)


def _without_fields(text: str) -> str:
    """Headers and parameters named like a secret: `Name: value` to the line's end, `name=value` to the
    next blank, and the quoted value in what repr() and JSON make of mappings and pairs.
    """
    parts: list[str] = []
    done = at = 0
    while (match := _FIELD.search(text, at)) is not None:
        at = match.end()
        if not names_secret(match["name"]):
            if match["opened"]:
                at = match.start("opened")  # the value may be a name in its turn
            continue
        end = _end_of_value(text, match)
        if end > at:
            parts += [text[done:at], HIDDEN]
            done = at = end
    return "".join((*parts, text[done:]))


def _end_of_value(text: str, field: re.Match[str]) -> int:
    at = field.end()
    if field["opened"]:
        closing = re.compile(rf"(?<!\\){re.escape(field['opened'])}").search(text, at)
        if closing is not None:
            return closing.start()
    short = (
        field["mark"] == "=" and not field["opened"] and _CREDENTIAL_FIELD.fullmatch(field["name"]) is None
    )
    end = re.compile(r"""[\s"<>&]""" if short else r"[\r\n]").search(text, at)
    return len(text) if end is None else end.start()
