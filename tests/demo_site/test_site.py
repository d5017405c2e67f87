"""The site as one function, and the same site behind pytest-httpserver."""

import base64
import json
import re
from urllib.parse import urlencode, urljoin

import httpx
import pytest
from lxml import html
from pytest_httpserver import HTTPServer

from adapters import limits
from demo_site.documents import read_documents
from demo_site.messages import Headers, SiteRequest, SiteResponse
from demo_site.site import BUSY_SECONDS, KEY_FILE, KEY_HEADER, OFFICE_FILE, OFFICE_USER, Site
from tests.demo_site.glue import attach

KEY = KEY_FILE.read_text("ascii").strip()
PASSWORD = OFFICE_FILE.read_text("ascii").strip()
FORM = "application/x-www-form-urlencoded"


@pytest.fixture
def site() -> Site:
    return Site()


def get(site: Site, path: str, *headers: tuple[str, str], method: str = "GET") -> SiteResponse:
    return site.respond(SiteRequest(method, path, headers=headers))


def post(site: Site, path: str, body: bytes, media_type: str) -> SiteResponse:
    return site.respond(SiteRequest("POST", path, headers=(("Content-Type", media_type),), body=body))


def post_json(site: Site, members: object) -> SiteResponse:
    return post(site, "/club/scores", json.dumps(members).encode(), "application/json")


def open_names() -> list[str]:
    return [name for name in read_documents() if not name.startswith("locked/")]


@pytest.mark.parametrize("name", open_names())
def test_every_open_document_is_at_its_path(site: Site, name: str) -> None:
    response = get(site, f"/{name}")
    assert response.status == 200
    assert response.body == read_documents()[name].body


def test_the_front_page_leads_to_all_that_there_is(site: Site) -> None:
    links: set[str] = set()
    pages = ["/"]  # and the folders that it leads to, page by page
    while pages:
        folder = pages.pop()
        page = html.fromstring(get(site, folder).body.decode())
        found = {urljoin(folder, link.get("href", "")).partition("?")[0] for link in page.iter("a")}
        pages += [link for link in found - links if link.endswith("/")]
        links |= found
    statuses = {link: get(site, link).status for link in links}
    assert {f"/{name}".removesuffix("index.html") for name in open_names()} - {"/"} <= links
    assert {link: status for link, status in statuses.items() if status != 200} == {
        "/museum/latest": 302,
        "/harbour/busy": 503,
        "/harbour/pilots": 403,
        "/harbour/office": 401,
    }


@pytest.mark.parametrize(
    "path",
    [
        "/nowhere",
        "/locked/pilots.json",
        "/../keys/harbour-key.txt",
        "//tides/sandbar.json",
        "",
        "*",
        "/tides/",
    ],
)
def test_what_is_not_there_is_404_and_says_so_in_json(site: Site, path: str) -> None:
    response = get(site, path)
    assert response.status == 404
    document = json.loads(response.body)
    assert document["error"]
    assert "nvented" in document["about"]


@pytest.mark.parametrize(
    ("method", "path", "allow"),
    [
        ("POST", "/tides/sandbar.json", {"GET", "HEAD"}),
        ("DELETE", "/club/scores", {"GET", "HEAD", "POST"}),
        ("BREW", "/", {"GET", "HEAD"}),
    ],
)
def test_a_method_that_is_not_taken_is_405_with_allow(
    site: Site, method: str, path: str, allow: set[str]
) -> None:
    """RFC 9110 section 15.5.6."""
    response = get(site, path, method=method)
    assert response.status == 405
    assert set(re.split(r",\s*", response.header("Allow") or "")) == allow


@pytest.mark.parametrize("path", ["/", "/tides/sandbar.json", "/club/scores", "/nowhere", "/harbour/busy"])
def test_head_is_get_without_the_body(site: Site, path: str) -> None:
    """RFC 9110 section 9.3.2, Content-Length included (section 8.6)."""
    whole, head = get(site, path), get(site, path, method="HEAD")
    assert head.body == b""
    assert (head.status, head.headers) == (whole.status, whole.headers)
    assert head.header("Content-Length") == str(len(whole.body))


def test_the_busy_desk_says_when_to_come_back(site: Site) -> None:
    """RFC 9110 section 10.2.3: delay-seconds."""
    response = get(site, "/harbour/busy")
    assert (response.status, response.header("Retry-After")) == (503, str(BUSY_SECONDS))


def test_the_redirect_leads_to_a_document(site: Site) -> None:
    """RFC 9110 section 10.2.2: Location."""
    response = get(site, "/museum/latest")
    assert response.status == 302
    assert get(site, response.header("Location") or "").status == 200


def test_the_pilots_want_the_key(site: Site) -> None:
    assert get(site, "/harbour/pilots").status == 403
    assert get(site, "/harbour/pilots", (KEY_HEADER, "wrong")).status == 403
    assert get(site, "/harbour/pilots", (KEY_HEADER, "wröng")).status == 403
    opened = get(site, "/harbour/pilots", (KEY_HEADER, KEY))
    assert opened.status == 200
    assert opened.header("Cache-Control") == "no-store"
    assert len(json.loads(opened.body)["pilots"]) == 2


def basic(words: str, scheme: str = "Basic") -> tuple[str, str]:
    return "Authorization", f"{scheme} {base64.b64encode(words.encode()).decode()}"


def test_the_office_wants_a_user_and_a_password(site: Site) -> None:
    """RFC 7617; RFC 9110 section 15.5.2: a 401 comes with a challenge."""
    right = f"{OFFICE_USER}:{PASSWORD}"
    refused: list[Headers] = [
        (),
        (basic(f"{OFFICE_USER}:wrong"),),
        (basic(PASSWORD),),
        (basic(right, "Bearer"),),
        (("Authorization", "Basic"),),
        (("Authorization", "Basic *no base64*"),),
        (("Authorization", "Basic /w=="),),  # FFh, which is not UTF-8
    ]
    for headers in refused:
        response = get(site, "/harbour/office", *headers)
        assert response.status == 401
        assert (response.header("WWW-Authenticate") or "").startswith("Basic realm=")
    for scheme in ("Basic", "basic"):  # RFC 9110 section 11.1: the scheme is case-blind
        assert get(site, "/harbour/office", basic(right, scheme)).status == 200


def test_credentials_are_plainly_invented_and_shown_nowhere(site: Site) -> None:
    assert "invented" in KEY
    assert "invented" in PASSWORD
    for path in ["/", "/harbour/pilots", "/harbour/office", *(f"/{name}" for name in open_names())]:
        body = get(site, path).body
        assert KEY.encode() not in body
        assert PASSWORD.encode() not in body


@pytest.mark.parametrize("media_type", ["application/json", "application/json; charset=utf-8", FORM])
def test_a_posted_score_gets_its_rank(site: Site, media_type: str) -> None:
    members = {"name": "Möwe", "points": "8200"}
    body = urlencode(members) if media_type == FORM else json.dumps({**members, "points": 8200})
    response = post(site, "/club/scores", body.encode(), media_type)
    assert response.status == 201
    assert json.loads(response.body)["entry"] == {"name": "Möwe", "points": 8200, "rank": 2, "of": 6}
    table = json.loads(get(site, "/club/scores").body)["scores"]
    assert {"rank": 2, "name": "Möwe", "points": 8200} in table
    # The same entry once more: 409, RFC 9110 section 15.5.10, and nothing changes.
    assert post(site, "/club/scores", body.encode(), media_type).status == 409
    assert json.loads(get(site, "/club/scores").body)["scores"] == table


def test_a_score_is_not_to_be_cached(site: Site) -> None:
    """RFC 9111 section 5.2.2.5."""
    assert get(site, "/club/scores").header("Cache-Control") == "no-store"


@pytest.mark.parametrize(
    "members",
    [
        {},
        [],
        {"name": "A"},
        {"points": 1},
        {"name": "", "points": 1},
        {"name": " ", "points": 1},
        {"name": "THIRTEEN LONG", "points": 1},
        {"name": "A\nB", "points": 1},
        {"name": 7, "points": 1},
        {"name": "A", "points": -1},
        {"name": "A", "points": True},
        {"name": "A", "points": 1.5},
        {"name": "A", "points": "x"},
        {"name": "A", "points": "²"},
        {"name": "A", "points": limits.DEMO_POINTS + 1},
        {"name": "A", "points": "1" * 5000},
    ],
)
def test_what_is_no_score_is_400(site: Site, members: object) -> None:
    before = site.scores.table()
    assert post_json(site, members).status == 400
    assert site.scores.table() == before


@pytest.mark.parametrize(
    ("body", "media_type", "status"),
    [
        (b"{", "application/json", 400),
        (b"[" * 60_000, "application/json", 400),
        (b"\xff", "application/json", 400),
        (b'{"name":"A","points":1}', "text/plain", 415),
        (b'{"name":"A","points":1}', "", 415),
        (b" " * (limits.DEMO_BODY_BYTES + 1), "application/json", 413),
        (b"name=A", FORM, 400),
    ],
)
def test_a_body_that_cannot_be_taken(site: Site, body: bytes, media_type: str, status: int) -> None:
    """RFC 9110 sections 15.5.1, 15.5.14 and 15.5.16."""
    assert post(site, "/club/scores", body, media_type).status == status


def test_the_guest_book_keeps_what_visitors_write(site: Site) -> None:
    response = post(site, "/club/guestbook", "Grüße\r\nfrom far away\n".encode(), "text/plain; charset=utf-8")
    assert response.status == 201
    assert json.loads(response.body)["entry"] == {"number": 1, "lines": 2, "first": "Grüße"}
    entries = json.loads(get(site, "/club/guestbook").body)["entries"]
    assert entries == [{"number": 1, "text": "Grüße\nfrom far away"}]
    assert post(site, "/club/guestbook", b"", "text/plain").status == 400
    assert post(site, "/club/guestbook", b"\xff", "text/plain").status == 400
    assert post(site, "/club/guestbook", b"{}", "application/json").status == 415
    assert post(site, "/club/guestbook", b"x" * (limits.DEMO_BODY_BYTES + 1), "text/plain").status == 413


def test_reset_forgets_what_was_posted(site: Site) -> None:
    opening = get(site, "/club/scores").body
    assert post_json(site, {"name": "A", "points": 1}).status == 201
    assert post(site, "/club/guestbook", b"x", "text/plain").status == 201
    site.reset()
    assert get(site, "/club/scores").body == opening
    assert json.loads(get(site, "/club/guestbook").body)["entries"] == []


def test_two_sites_do_not_share_their_memory(site: Site) -> None:
    assert post_json(site, {"name": "A", "points": 1}).status == 201
    assert post_json(Site(), {"name": "A", "points": 1}).status == 201


def test_the_same_site_answers_behind_pytest_httpserver(httpserver: HTTPServer) -> None:
    site = attach(httpserver)
    with httpx.Client(base_url=httpserver.url_for("/"), trust_env=False) as client:
        for name in open_names():
            response = client.get(f"/{name}")
            assert (response.status_code, response.content) == (200, read_documents()[name].body)
        assert client.get("/museum/objects.json").headers["Content-Encoding"] == "gzip"
        etag = client.get("/tides/sandbar.json").headers["ETag"]
        assert client.get("/tides/sandbar.json", headers={"If-None-Match": etag}).status_code == 304
        assert client.post("/club/scores", json={"name": "A", "points": 1}).status_code == 201
        assert client.post("/club/scores", data={"name": "A", "points": "1"}).status_code == 409
        assert client.put("/club/scores").status_code == 405
        assert client.head("/").headers["Content-Length"] == str(len(read_documents()["index.html"].body))
        assert client.get("/museum/latest", follow_redirects=True).status_code == 200
        assert client.get("/harbour/office", auth=(OFFICE_USER, PASSWORD)).status_code == 200
    assert len(site.scores.table()) == 6
