"""SiteRequest -> SiteResponse: the invented harbour town of Gullmarrow, without a socket.

The served demo (`demo_site.servers`) and the tests both ask this one function, so what the tests prove is
what a newcomer sees. Fixed documents come from files/; the club's table and guest book are the only things
that change; dates are fixed and nothing depends on the clock.
"""

import base64
import binascii
import hmac
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Final
from urllib.parse import parse_qsl

from adapters import limits
from demo_site.club import GuestBook, HighScores, Score
from demo_site.documents import answer, read_documents
from demo_site.messages import Headers, SiteRequest, SiteResponse

ABOUT: Final = (
    "Invented data for a demonstration. The town of Gullmarrow is no real place; its dates stand still."
)
KEYS: Final = Path(__file__).with_name("keys")
KEY_HEADER: Final = "X-Harbour-Key"
KEY_FILE: Final = KEYS / "harbour-key.txt"
OFFICE_USER: Final = "clerk"
OFFICE_FILE: Final = KEYS / "office-password.txt"
BUSY_SECONDS: Final = 120

_Answer = Callable[[SiteRequest], SiteResponse]


class _Refusal(Exception):
    """A request that gets an error document: its status, a sentence, and headers beyond the usual."""

    def __init__(self, status: int, sentence: str, headers: Headers = ()) -> None:
        super().__init__(sentence)
        self.response = _json(status, {"about": ABOUT, "error": sentence}, headers)


class Site:
    """The whole site. One object serves any number of threads."""

    def __init__(self) -> None:
        self.scores = HighScores()
        self.guest_book = GuestBook()
        self._key = KEY_FILE.read_text("ascii").strip()
        self._password = OFFICE_FILE.read_text("ascii").strip()
        self._documents = read_documents()
        self._routes: Mapping[str, Mapping[str, _Answer]] = MappingProxyType(
            {
                **{f"/{name}": {"GET": self._fixed(name)} for name in self._documents if self._is_open(name)},
                **{f"/{folder}": {"GET": self._fixed(f"{folder}index.html")} for folder in self._folders()},
                "/club/scores": {"GET": self._show_scores, "POST": self._add_score},
                "/club/guestbook": {"GET": self._show_guest_book, "POST": self._write_guest_book},
                "/harbour/busy": {"GET": _busy},
                "/harbour/pilots": {"GET": self._pilots},
                "/harbour/office": {"GET": self._office},
                "/museum/latest": {"GET": _latest},
            }
        )

    def reset(self) -> None:
        """Forget everything that was posted."""
        self.scores.reset()
        self.guest_book.reset()

    def respond(self, request: SiteRequest) -> SiteResponse:
        """The answer to any request at all; what is wrong with one is told by its status.

        404 no such path, 405 with Allow, 401 with WWW-Authenticate, 403 for a wrong key, 409 for a score that
        is there already, 400, 413 and 415 for a body that cannot be taken, 503 with Retry-After at the busy
        desk (RFC 9110 section 15).
        """
        try:
            response = self._find(request)(request)
        except _Refusal as refusal:
            response = refusal.response
        if response.status == 304:
            return response
        response = replace(response, headers=(*response.headers, ("Content-Length", str(len(response.body)))))
        return replace(response, body=b"") if request.method == "HEAD" else response

    def _find(self, request: SiteRequest) -> _Answer:
        methods = self._routes.get(request.path)
        if methods is None:
            raise _Refusal(404, "There is nothing of that name in Gullmarrow")
        found = methods.get("GET" if request.method == "HEAD" else request.method)
        if found is None:
            allowed = ", ".join(["HEAD", *methods])
            raise _Refusal(405, "That cannot be done to this document", (("Allow", allowed),))
        return found

    @staticmethod
    def _is_open(name: str) -> bool:
        return not name.startswith("locked/")

    def _folders(self) -> tuple[str, ...]:
        """Folders with an index page, with a slash at the end; the whole site is the empty one."""
        paths = (PurePosixPath(name) for name in self._documents)
        return tuple(str(path)[: -len(path.name)] for path in paths if path.name == "index.html")

    def _fixed(self, name: str) -> _Answer:
        document = self._documents[name]
        return lambda request: answer(document, request)

    def _pilots(self, request: SiteRequest) -> SiteResponse:
        if not _same(request.header(KEY_HEADER) or "", self._key):
            raise _Refusal(403, "The pilots want the harbour key")
        return answer(self._documents["locked/pilots.json"], request)

    def _office(self, request: SiteRequest) -> SiteResponse:
        if not _same(_basic(request) or "", f"{OFFICE_USER}:{self._password}"):
            challenge = (("WWW-Authenticate", 'Basic realm="Gullmarrow office (invented)", charset="UTF-8"'),)
            raise _Refusal(401, "The office wants a user and a password", challenge)
        return answer(self._documents["locked/office.json"], request)

    def _show_scores(self, _request: SiteRequest) -> SiteResponse:
        table = [
            {"rank": rank, "name": score.name, "points": score.points} for rank, score in self.scores.table()
        ]
        return _json(200, {"about": ABOUT, "club": "Market club", "scores": table}, _UNKEPT)

    def _add_score(self, request: SiteRequest) -> SiteResponse:
        placed = self.scores.add(_score(_body_members(request)))
        if placed is None:
            raise _Refusal(409, "Exactly that entry is on the table already")
        entry = {
            "name": placed.score.name,
            "points": placed.score.points,
            "rank": placed.rank,
            "of": placed.of,
        }
        return _json(201, {"about": ABOUT, "entry": entry}, _UNKEPT)

    def _show_guest_book(self, _request: SiteRequest) -> SiteResponse:
        entries = [
            {"number": each.number, "text": "\n".join(each.lines)} for each in self.guest_book.entries()
        ]
        return _json(200, {"about": ABOUT, "entries": entries}, _UNKEPT)

    def _write_guest_book(self, request: SiteRequest) -> SiteResponse:
        _check_size(request)
        if _media_type(request) not in {"text/plain", ""}:
            raise _Refusal(415, "The guest book takes plain text")
        lines = tuple(_decoded(request.body).replace("\r\n", "\n").removesuffix("\n").split("\n"))
        if lines == ("",):
            raise _Refusal(400, "An entry needs at least one line")
        written = self.guest_book.write(lines)
        entry = {"number": written.number, "lines": len(lines), "first": lines[0]}
        return _json(201, {"about": ABOUT, "entry": entry}, _UNKEPT)


_UNKEPT: Final[Headers] = (("Cache-Control", "no-store"),)


def _json(status: int, members: object, headers: Headers = ()) -> SiteResponse:
    body = json.dumps(members, ensure_ascii=False, indent=1).encode() + b"\n"
    return SiteResponse(status, (("Content-Type", "application/json"), *headers), body)


def _busy(_request: SiteRequest) -> SiteResponse:
    raise _Refusal(503, "This desk is always busy", (("Retry-After", str(BUSY_SECONDS)),))


def _latest(_request: SiteRequest) -> SiteResponse:
    return _json(302, {"about": ABOUT}, (("Location", "/museum/objects.json"),))


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode(), wanted.encode())


def _basic(request: SiteRequest) -> str | None:
    """`user:password` of RFC 7617, or None where there are no readable Basic credentials."""
    scheme, _, token = (request.header("Authorization") or "").partition(" ")
    if scheme.lower() != "basic":
        return None
    try:
        return base64.b64decode(token.strip(), validate=True).decode()
    except (binascii.Error, UnicodeDecodeError):
        return None


def _media_type(request: SiteRequest) -> str:
    return (request.header("Content-Type") or "").partition(";")[0].strip().lower()


def _check_size(request: SiteRequest) -> None:
    if len(request.body) > limits.DEMO_BODY_BYTES:
        raise _Refusal(413, "That is too much to take")


def _decoded(body: bytes) -> str:
    try:
        return body.decode()
    except UnicodeDecodeError as error:
        raise _Refusal(400, "That is not UTF-8") from error


def _body_members(request: SiteRequest) -> Mapping[str, object]:
    """A posted JSON object (RFC 8259) or form (WHATWG URL standard, section 5) as its members."""
    _check_size(request)
    text = _decoded(request.body)
    media_type = _media_type(request)
    if media_type == "application/x-www-form-urlencoded":
        return dict(parse_qsl(text, keep_blank_values=True))
    if media_type != "application/json":
        raise _Refusal(415, "Post a form or JSON")
    try:
        members = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _Refusal(400, "That is not JSON") from error
    if not isinstance(members, dict):
        raise _Refusal(400, "That is not a JSON object")
    return members


def _score(members: Mapping[str, object]) -> Score:
    name, points = members.get("name"), members.get("points")
    if not isinstance(name, str) or not name.isprintable() or not 1 <= len(name.strip()) <= limits.DEMO_NAME:
        raise _Refusal(400, "A name has 1 to 12 printable characters")
    if isinstance(points, str) and points.isascii() and points.isdigit() and len(points) <= 9:
        points = int(points)
    if not isinstance(points, int) or isinstance(points, bool) or not 0 <= points <= limits.DEMO_POINTS:
        raise _Refusal(400, "Points are a whole number from 0 to 999999999")
    return Score(name.strip(), points)
