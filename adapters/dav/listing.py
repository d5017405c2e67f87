"""Responses of a PROPFIND -> the entries of a folder, or what one thing is (RFC 4918 section 9.1).

A folder's own response comes anywhere in the answer, with or without its slash; only an exact match is it, so
that a folder `docs` in a folder `docs` stays. Entries that failed alone or have no name are left out, and the
listing is `partial`. Where the folder's own response failed, that is the fault, and no empty folder.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from adapters import limits
from adapters.dav.hrefs import Path, path_of
from adapters.dav.multistatus import Multistatus, Properties, Response
from adapters.dav.places import dav_url
from adapters.errors import HeadraceError, WrongDocument
from adapters.files import A_DOCUMENT, Entry, Kind, Stat
from adapters.http.answer.media import media_type
from adapters.http.statuses import status_fault
from adapters.port import Validators

_DOTS: Final = frozenset({b".", b".."})


@dataclass(frozen=True, slots=True)
class Told:
    """What an answer told of a folder: its entries, and whether some were left out."""

    entries: tuple[Entry, ...]
    partial: bool


def entries_of(answer: Multistatus, url: str) -> Told | None:
    """The entries of the folder at `url` (http), which answered a request of depth 1.

    None where it tells neither of the folder nor of anything in it. WrongDocument for a document; else what
    adapters.http.statuses makes of the folder's own status.
    """
    origin, base = _split(url)
    all_paths = [(path, each) for each in answer.responses for path in _paths(each, base)]
    asked = path_of(base, base).segments
    folder = _folder(asked, all_paths)
    depth = len(folder)
    own: list[Response] = []
    entries: dict[bytes, Entry] = {}
    partial = answer.cut or not all(each.hrefs and all(each.hrefs) for each in answer.responses)
    for path, response in all_paths:
        if path.segments == folder:
            own.append(response)
        elif path.segments[:depth] != folder:
            partial = True
        elif len(path.segments) == depth + 1:  # what is deeper was not asked for
            entry = _entry(path, response, origin if folder == asked else "")
            if entry is None:
                partial = True
            elif len(entries) < limits.LIST_ENTRIES:
                entries.setdefault(entry.name, entry)
            else:
                partial = True
    if entries:
        return Told(tuple(entries.values()), partial or any(each.failed for each in own))
    return _told_of_none(own, partial=partial)


def _told_of_none(own: list[Response], *, partial: bool) -> Told | None:
    if not own:
        return Told((), partial=True) if partial else None
    sound = [each.properties for each in own if each.properties is not None]
    if not sound:
        raise fault_of(own[0])
    if all(each.collection is False for each in sound):
        raise WrongDocument(A_DOCUMENT)
    return Told((), partial or len(sound) < len(own))


def stat_of(answer: Multistatus, url: str, origin: str) -> Stat:
    """What is at `url` (http), which answered a request of depth 0. Faults as in `entries_of`."""
    base = _split(url)[1]
    wanted = path_of(base, base).segments
    answers = [(path, each) for each in answer.responses for path in _paths(each, base)]
    own = [(path, each) for path, each in answers if path.segments == wanted]
    chosen = own or answers[:1]  # of depth 0 there is one response, whatever it calls itself
    sound = [(path, each.properties) for path, each in chosen if each.properties is not None]
    if sound:
        return _stat(*sound[0], origin)
    if chosen:
        raise fault_of(chosen[0][1])
    raise WrongDocument("Not a WebDAV answer")


def fault_of(response: Response) -> HeadraceError:
    """What a response that failed stands for. It is not the login: the answer around it came with 207."""
    status = 404 if response.status is None else response.status
    fault = status_fault(status, changes=False, with_credentials=False, seconds=None)
    return fault or WrongDocument("Not a WebDAV answer")


def _split(url: str) -> tuple[str, str]:
    """The origin in WebDAV's spelling, and the path."""
    parts = urlsplit(url)
    return dav_url(f"{parts.scheme}://{parts.netloc}"), parts.path or "/"


def _paths(response: Response, base: str) -> Iterator[Path]:
    for href in response.hrefs:
        if href:
            yield path_of(href, base)


def _folder(asked: tuple[bytes, ...], told: list[tuple[Path, Response]]) -> tuple[bytes, ...]:
    """The folder's names: as asked, unless all of the answer is about another path with one folder above
    the rest, as servers behind one that renames paths have it.
    """
    paths = [path.segments for path, _ in told]
    if not paths or any(each[: len(asked)] == asked for each in paths):
        return asked
    highest = min(paths, key=len)
    return highest if all(each[: len(highest)] == highest for each in paths) else asked


def _entry(path: Path, response: Response, origin: str) -> Entry | None:
    """None for one that cannot be told. An empty `origin`: it can be got at by its name only."""
    name = path.segments[-1]
    properties = response.properties
    odd = name in _DOTS or b"/" in name or b"\0" in name or len(name) > limits.ENTRY_BYTES
    if properties is None or odd:
        return None
    kind = _kind(properties, path)
    return Entry(
        name=name,
        kind=kind,
        size=properties.size if kind is Kind.FILE else None,
        modified=properties.modified,
        url=origin + path.sent if origin and not path.plain else None,
    )


def _kind(properties: Properties, path: Path) -> Kind:
    """By the resource type; a server that has none is taken at its slashes."""
    collection = path.is_folder if properties.collection is None else properties.collection
    return Kind.FOLDER if collection else Kind.FILE


def _stat(path: Path, properties: Properties, origin: str) -> Stat:
    kind = _kind(properties, path)
    media, charset = media_type(properties.media_type or None)
    document = kind is Kind.FILE
    return Stat(
        kind=kind,
        size=properties.size if document else None,
        modified=properties.modified,
        validators=Validators(_etag(properties.etag), properties.last_modified) if document else Validators(),
        media_type=media if document else "",
        charset=charset if document else None,
        origin=origin,
    )


def _etag(sent: str | None) -> str | None:
    """In quotes, which some servers leave off in a property and put into the header field."""
    if sent is None or sent.endswith('"'):
        return sent
    return f'"{sent}"' if '"' not in sent else None
