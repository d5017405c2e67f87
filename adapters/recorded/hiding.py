"""What is to be kept, or was asked -> the same without secrets, cookies and keys; and what was hidden.

Left out: request headers that carry credentials, by their names or as the catalogue names them, and those
that say nothing of what is wanted. Replaced: the values of query parameters and of response headers of such
names, the user part of a URL, the values of cookies, and every secret that the gateway knows, wherever and
however it is spelled (adapters.redaction), in bodies too. What is asked for is changed in the same way before
it is looked for, so that a gateway with other keys, or none, finds what was recorded.

In a reply's body each byte of a secret (in UTF-16 each two) becomes one star, so that sizes and ranges stay
right; its digests go.
A secret that nobody told the gateway is only hidden by its name: a body is not looked through for names.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final
from urllib.parse import unquote_plus

from adapters import limits
from adapters.files import Entry, Listing
from adapters.recorded.exchange import Asked, Exchange, Failure, Headers, Message, Reply, Told
from adapters.recorded.tree.characters import FIRST, NARROW, UNKNOWN, characters_of
from adapters.redaction import HIDDEN, Redactor, names_secret

_UNKEPT: Final = frozenset(
    {"host", "content-length", "transfer-encoding", "connection", "keep-alive", "te", "expect"}
    | {"user-agent", "accept-encoding"}
)
"""Request headers that say nothing of what is wanted."""
_CREDENTIALS: Final = frozenset({"authorization", "proxy-authorization"})
_DIGESTS: Final = frozenset({"content-digest", "repr-digest", "digest", "content-md5"})
"""Of a body that was changed they are wrong (RFC 9530, RFC 3230, RFC 1864)."""
_COOKIE: Final = re.compile(r"\s*([^=;]*)=([^;]*)(.*)", re.DOTALL)
_MADE_UP: Final = re.compile(r"hidden-[0-9]+")
_USER: Final = re.compile(r"(?<=://)[^\s/?#\"<>]*@")  # RFC 3986 section 3.2.1
_RUN: Final = re.compile(r"[A-Za-z0-9+/_=-]*")  # of base64 (RFC 4648)
_WORD: Final = re.compile(r"[\w+/=-]+")  # or such a run
_GOES_ON: Final = re.compile(r"(?i)(?:(?:next|prev|previous)[-_]?)?(?:page|next|continuation|sync)[-_]?token")
"""Parameters that tell where a list goes on: named like a secret, and none."""
_TYPED: Final = re.compile(r'(?<![^ ])(?:"(?:[^"]|"")*"|[^ ]+)(?![^ ])')  # a word of a request
_PARAMETER: Final = re.compile(r"([?&;])([^\s=&;?#\"<>]+)=([^\s&;#\"<>]*)")


class Hiding:
    """`names` are headers and query parameters, beside those named like a secret, that hold one."""

    def __init__(self, redactor: Redactor, names: Iterable[str] = ()) -> None:
        self._redactor = redactor
        self._names = frozenset(name.lower() for name in names)
        self._cookies: dict[str, str] = {}
        self._made_up = 0
        self._hidden: set[str] = set()

    @property
    def hidden(self) -> tuple[str, ...]:
        """What was hidden so far in what is kept, without what it was."""
        return tuple(sorted(self._hidden))

    def learn(self, names: Iterable[str]) -> None:
        """More names that hold a secret, from now on."""
        self._names |= {name.lower() for name in names}

    def asked(self, asked: Asked) -> Asked:
        """The request, its body aside."""
        return self._asked(asked, set())

    def kept(self, exchange: Exchange) -> Exchange:
        """The exchange, bodies aside; what was hidden goes into the list."""
        url = exchange.asked.url
        where = _place(url)
        asked, reply = self._asked(exchange.asked, self._hidden), exchange.reply
        if isinstance(reply, Message):
            headers = tuple(self._response_header(name, value, where) for name, value in reply.headers)
            reply = replace(reply, headers=headers, failure=self._failure(reply.failure))
        elif isinstance(reply, Told):
            reply = self._told(reply)
        else:
            reply = self._failed(reply)
        return replace(exchange, asked=asked, reply=reply)

    def body(self, *, same_size: bool = False) -> "BodyHiding":
        """For one body. `same_size`: as many bytes as before."""
        return BodyHiding(self._redactor, same_size=same_size)

    def body_changed(self, url: str) -> None:
        """There was a secret in the body of a request to `url`, or of its reply."""
        self._hidden.add(f"a secret in a body of {_place(url)}")

    def _asked(self, asked: Asked, hidden: set[str]) -> Asked:
        return replace(
            asked,
            url=self._url(asked.url, hidden),
            to=self._url(asked.to, hidden) if asked.to else "",
            headers=self._request_headers(asked.headers, _place(asked.url), hidden),
            request=self._request(asked),
        )

    def _request(self, asked: Asked) -> str:
        """The client's request without the words that went where something is hidden."""
        text = self._redactor.without_known(asked.request)
        values = set(self._hidden_values(asked)) if text else set()

        def word(match: re.Match[str]) -> str:
            typed = match[0][1:-1].replace('""', '"') if match[0][0] == '"' else match[0]
            within = len(typed) > limits.LOG_WORD and any(typed in value for value in values)
            return HIDDEN if typed and (typed in values or within) else match[0]

        return _TYPED.sub(word, text) if values else text

    def _hidden_values(self, asked: Asked) -> Iterator[str]:
        for _, name, value in _PARAMETER.findall(asked.url):
            if self._is_secret(unquote_plus(name)):
                yield unquote_plus(value)
        for name, value in asked.headers:
            if name.lower() == "cookie":
                yield from (each.partition("=")[2].strip() for each in value.split(";"))
            elif name.lower() in _CREDENTIALS or self._is_secret(name):
                yield value

    def _url(self, url: str, hidden: set[str]) -> str:
        where = _place(url)
        url = self._urls(url.partition("#")[0], where, hidden).replace(f"://{HIDDEN}@", "://")
        return self._known(url, f"a secret in a URL of {where}", hidden)

    def _urls(self, text: str, where: str, hidden: set[str]) -> str:
        """URLs in a text, without the user and without the values of parameters that hold a secret."""

        def user(_: re.Match[str]) -> str:
            hidden.add(f"user of {where}")
            return f"{HIDDEN}@"

        def parameter(match: re.Match[str]) -> str:
            mark, name, value = match.groups()
            if value in ("", HIDDEN) or not self._is_secret(unquote_plus(name)):
                return match.group()
            hidden.add(f"query {unquote_plus(name)} of {where}")
            return f"{mark}{name}={HIDDEN}"

        text = _USER.sub(user, text) if "@" in text else text
        return _PARAMETER.sub(parameter, text) if "=" in text else text

    def _known(self, text: str, what: str, hidden: set[str]) -> str:
        clean = self._redactor.without_known(text)
        if clean != text:
            hidden.add(what)
        return clean

    def _is_secret(self, name: str) -> bool:
        return name.lower() in self._names or (names_secret(name) and _GOES_ON.fullmatch(name) is None)

    def _request_headers(self, headers: Headers, where: str, hidden: set[str]) -> Headers:
        kept = []
        for name, value in headers:
            lower = name.lower()
            if lower in _UNKEPT:
                continue
            if lower == "cookie":
                hidden.add(f"cookies of {where}")
                kept.append(
                    (name, "; ".join(self._cookie(each) for each in value.split(";") if each.strip()))
                )
            elif lower in _CREDENTIALS or self._is_secret(name):
                hidden.add(f"header {name} of {where}")
            else:
                kept.append((name, self._value(name, value, where, hidden)))
        return tuple(kept)

    def _response_header(self, name: str, value: str, where: str) -> tuple[str, str]:
        if name.lower() in ("set-cookie", "set-cookie2"):
            self._hidden.add(f"cookies of {where}")
            return name, self._cookie(value)
        if self._is_secret(name):
            self._hidden.add(f"header {name} of {where}")
            return name, HIDDEN
        return name, self._value(name, value, where, self._hidden)

    def _value(self, name: str, value: str, where: str, hidden: set[str]) -> str:
        """Location and the like hold URLs, absolute or not."""
        return self._known(self._urls(value, where, hidden), f"a secret in header {name} of {where}", hidden)

    def _cookie(self, text: str) -> str:
        """`name=value` with what follows it: the value gets a made-up one of its own, so that a chain of
        redirects that hands out one cookie after another still goes somewhere.
        """
        match = _COOKIE.fullmatch(text)
        if match is None:
            return HIDDEN
        value = match[2].strip()
        if value and _MADE_UP.fullmatch(value) is None:
            if value not in self._cookies:
                if len(self._cookies) >= limits.RECORDED_COOKIES:
                    self._cookies.pop(next(iter(self._cookies)))
                self._made_up += 1
                self._cookies[value] = f"hidden-{self._made_up}"
            value = self._cookies[value]
        return "".join(
            (self._redactor.without_known(match[1]), "=", value, self._redactor.without_known(match[3]))
        )

    def _told(self, told: Told) -> Told:
        told = replace(told, failure=self._failure(told.failure))
        if told.stat is not None:
            told = replace(told, stat=replace(told.stat, origin=self._origin(told.stat.origin)))
        if told.listing is not None:
            told = replace(told, listing=self._listing(told.listing))
        return told

    def _listing(self, listing: Listing) -> Listing:
        return replace(
            listing,
            entries=tuple(self._entry(each) for each in listing.entries),
            url=self._origin(listing.url),
            origin=self._origin(listing.origin),
            steps=(),
        )

    def _entry(self, entry: Entry) -> Entry:
        name = self._redactor.without_known(entry.name.decode("utf-8", "surrogateescape"))
        url = None if entry.url is None else self._origin(entry.url)
        return replace(entry, name=name.encode("utf-8", "surrogateescape"), url=url)

    def _origin(self, url: str) -> str:
        return self._url(url, self._hidden)

    def _failure(self, failure: Failure | None) -> Failure | None:
        return None if failure is None else self._failed(failure)

    def _failed(self, failure: Failure) -> Failure:
        sentence = self._redactor.without_known(failure.sentence)
        return replace(failure, sentence=sentence, far=self._origin(failure.far))


def without_digests(reply: Reply) -> Reply:
    """The same for another body: nothing says any more what its bytes are."""
    if isinstance(reply, Message):
        headers = tuple((name, value) for name, value in reply.headers if name.lower() not in _DIGESTS)
        return replace(reply, headers=headers)
    return replace(reply, digest=None) if isinstance(reply, Told) else reply


class BodyHiding:
    """Bytes in pieces -> the same without known secrets, also where one is cut in two. `changed`: there was
    one.
    """

    def __init__(self, redactor: Redactor, *, same_size: bool) -> None:
        self._redactor = redactor
        self._same_size = same_size
        self._held = b""
        self._enough = 0
        self._characters = UNKNOWN
        self._inside = False  # a run of base64 that was so long that its beginning is gone already
        self.changed = False

    def run(self, chunks: Iterable[bytes]) -> Iterator[bytes]:
        """All of a body."""
        for chunk in chunks:
            yield self.feed(chunk)
        yield self.finish()

    def feed(self, data: bytes) -> bytes:
        """What can be told already of all that came."""
        if not self._redactor.reach:
            return data
        self._held += data
        return self._take(last=False) if len(self._held) >= self._enough else b""

    def finish(self) -> bytes:
        """The rest."""
        return self._take(last=True) if self._held else b""

    def _take(self, *, last: bool) -> bytes:
        if self._characters is UNKNOWN:
            if len(self._held) < FIRST and not last:
                return b""
            self._characters = characters_of(self._held)
        odd = len(self._held) % self._characters.size
        try:
            text = self._characters.text(self._held[: len(self._held) - odd])
        except UnicodeDecodeError:  # it only began as if
            self._characters = NARROW
            return self._take(last=last)
        rest = self._held[len(self._held) - odd :] if odd else b""
        spans = self._spans(text)
        end = len(text) if last else self._safe_end(text, spans)
        parts, done = [], 0
        for start, stop in spans:
            if start < end:
                self.changed = True
                parts += [text[done:start], self._stars(text[start : min(stop, end)])]
                done = min(stop, end)
        parts.append(text[done:end])
        self._inside = any(start < end < stop for start, stop in spans)
        self._held = self._characters.data(text[end:]) + rest
        self._enough = len(self._held) + max(limits.PIECE_BYTES, self._redactor.reach * self._characters.size)
        return self._characters.data("".join(parts)) + (rest if last else b"")

    def _spans(self, text: str) -> list[tuple[int, int]]:
        spans = self._redactor.known_in(text)
        if self._inside and (match := _RUN.match(text)) is not None:
            rest = max([match.end(), *(stop for start, stop in spans if start <= match.end())])
            spans = [(0, rest), *(span for span in spans if span[0] > rest)]
        return spans

    def _safe_end(self, text: str, spans: list[tuple[int, int]]) -> int:
        """Where nothing that comes later can change what stands before: not within a secret or close behind
        one, nor within a word or a run of base64, unless that is endless.
        """
        last = end = max(0, len(text) - self._redactor.reach)
        while end > 0 and last - end <= limits.RECORDED_RUN:
            crossed = next((start for start, stop in spans if start < end <= stop), None)
            if crossed is not None:
                end = crossed
                continue
            before = text[max(0, end - limits.RECORDED_RUN - 1) : end]
            match = _WORD.match(before[::-1])
            if match is None:
                break
            end -= match.end()
        return end if last - end <= limits.RECORDED_RUN else last

    def _stars(self, secret: str) -> str:
        return (
            "*" * (len(self._characters.data(secret)) // self._characters.size) if self._same_size else HIDDEN
        )


def _place(url: str) -> str:
    """scheme://host:port of a URL."""
    scheme, _, rest = url.partition("://")
    return f"{scheme}://{re.split('[/?#]', rest, maxsplit=1)[0].rpartition('@')[2]}"
