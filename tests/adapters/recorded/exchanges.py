"""Exchanges of every kind, made up by Hypothesis, and a folder to keep them in."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import strategies as st

from adapters.files import Digest, Entry, Kind, Listing, Stat, Written
from adapters.port import Validators
from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Message, Reply, Told
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.recorded.tree.toml_text import ERRORS
from adapters.redaction import Redactor

NOON = datetime(2026, 5, 17, 12, 0, tzinfo=UTC)


def hiding(*secrets: str, names: Iterable[str] = ()) -> Hiding:
    redactor = Redactor()
    for secret in secrets:
        redactor.learn(secret)
    return Hiding(redactor, names)


def folder(path: Path, *secrets: str, names: Iterable[str] = ()) -> Folder:
    return Folder(path, hiding(*secrets, names=names), lambda: NOON)


def loaded(path: Path, *secrets: str, names: Iterable[str] = ()) -> Folder:
    made = folder(path, *secrets, names=names)
    made.load()
    return made


def got(url: str, body: bytes = b"{}", *, kind: str = "application/json", seconds: int = 0) -> Exchange:
    """A GET and what came of it, some time after NOON."""
    reply = Message(200, (("Content-Type", kind),), Content(body))
    return Exchange(Asked("GET", url), reply, NOON + timedelta(seconds=seconds), 0.25)


def sized(exchange: Exchange) -> Exchange:
    """With its bodies in memory, whatever files they came from."""
    asked, reply = exchange.asked, exchange.reply
    if asked.body is not None:
        asked = replace(asked, body=Content(asked.body.read()))
    if not isinstance(reply, Failure) and reply.content is not None:
        reply = replace(reply, content=Content(reply.content.read()))
    return replace(exchange, asked=asked, reply=reply)


characters = st.characters(exclude_categories=["Cs"])
texts = st.text(characters, max_size=20)
words = st.text("abcdefghijklmnopqrstuvwxyzABC0123456789-._~", min_size=1, max_size=8)
segments = st.text("abcXYZ09-._~!$'()*+,;:@&=%é /\\", max_size=9)
field_names = st.sampled_from(["Accept", "Content-Type", "X-Odd", "Vary", "ETag", "Link"])
field_values = st.text(st.characters(max_codepoint=0xFF, exclude_characters="\r\n\0=@*"), max_size=20)
headers = st.lists(st.tuples(field_names, field_values), max_size=4).map(tuple)
moments = st.datetimes(datetime(1970, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC)).map(
    lambda moment: moment.replace(microsecond=moment.microsecond // 1000 * 1000)
)
sizes = st.integers(0, 1 << 53)
contents = st.one_of(st.binary(max_size=60), texts.map(str.encode), st.just(b"x" * 3000)).map(Content)
failures = st.builds(
    Failure,
    name=st.sampled_from(sorted(ERRORS)),
    sentence=texts,
    seconds=st.none() | sizes,
    far=st.sampled_from(["", "ftp://tides.example:2121"]),
    sent=st.booleans(),
)
names = st.binary(min_size=1, max_size=12).filter(lambda name: b"/" not in name and name not in (b".", b".."))
entries = st.builds(
    Entry,
    name=names,
    kind=st.sampled_from(Kind),
    size=st.none() | sizes,
    modified=st.none() | moments,
    url=st.none() | words.map("http://tides.example/{}".format),
)
origins = st.sampled_from(["", "ftp://tides.example"])
listings = st.builds(
    Listing, st.lists(entries, max_size=4).map(tuple), partial=st.booleans(), url=origins, origin=origins
)
stats = st.builds(
    Stat,
    kind=st.sampled_from(Kind),
    size=st.none() | sizes,
    modified=st.none() | moments,
    validators=st.builds(Validators, st.none() | texts, st.none() | texts),
    media_type=st.sampled_from(["", "text/plain", "application/json", "image/x-odd"]),
    charset=st.none() | words,
    origin=origins,
)
digests = st.builds(Digest, st.just("sha256"), st.just("0f" * 32))
written = st.builds(Written, st.none() | sizes, st.sampled_from(["", "size", "sha256"]))
reads = st.builds(
    Told,
    stat=stats,
    content=contents,
    offset=sizes,
    size=st.none() | sizes,
    digest=st.none() | digests,
    failure=st.none() | failures,
)
messages = st.builds(
    Message,
    status=st.integers(100, 999),
    headers=headers,
    content=st.none() | contents,
    squeezed=st.booleans(),
    length=st.none() | sizes,
    failure=st.none() | failures,
)
tolds: dict[str, st.SearchStrategy[Told]] = {
    "LIST": st.builds(Told, listing=listings),
    "STAT": st.builds(Told, stat=stats),
    "READ": reads,
    "WRITE": st.builds(Told, written=written),
    "APPEND": st.builds(Told, written=written),
    "COPY": st.builds(Told, written=written),
    "ERASE": st.just(Told()),
    "RENAME": st.just(Told()),
    "MKDIR": st.just(Told()),
}


def _urls(*schemes: str) -> st.SearchStrategy[str]:
    parts = st.tuples(
        st.sampled_from(schemes), st.sampled_from(["tides.example", "[::1]:8080", "x.example:81"])
    )
    paths = st.lists(segments, max_size=4).map("/".join)
    return st.builds(lambda part, path: f"{part[0]}://{part[1]}/{path}", parts, paths)


@st.composite
def _asked(draw: st.DrawFn, method: str) -> Asked:
    http = method not in tolds
    url = draw(_urls("http", "https") if http else _urls("ftp", "dav", "file"))
    if http:
        url += draw(st.sampled_from(["", "?", "?a=1&b=2", "?a=%20&&c"]))
    has_body = method in ("POST", "PUT", "WRITE", "APPEND")
    return Asked(
        method=method,
        url=url.replace("@", "").replace("#", ""),
        headers=draw(headers) if http else (),
        body=draw(contents) if has_body else None,
        to=draw(_urls("ftp")).replace("@", "") if method in ("RENAME", "COPY") else "",
        offset=draw(sizes) if method == "READ" else 0,
        count=draw(st.none() | sizes) if method == "READ" else None,
        request=draw(texts),
    )


@st.composite
def exchanges(draw: st.DrawFn) -> Exchange:
    """Of every kind; nothing in it is secret."""
    method = draw(st.sampled_from(["GET", "HEAD", "POST", "PUT", *tolds]))
    replies: st.SearchStrategy[Reply] = st.one_of(tolds.get(method, messages), failures)
    return Exchange(
        asked=draw(_asked(method)),
        reply=draw(replies),
        at=draw(moments),
        took=draw(st.floats(0, 1e6)),
        times=draw(st.integers(1, 99)),
    )
