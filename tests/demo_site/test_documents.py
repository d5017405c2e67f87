"""The fixed documents: readable by reference libraries, honest, conditional and compressed."""

import csv
import email.utils
import gzip
import io
import json
import xml.etree.ElementTree as ElementTree
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from lxml import html

from demo_site.documents import FILES, LAST_MODIFIED, Document, answer, read_documents, takes_gzip
from demo_site.messages import Headers, SiteRequest

DOCUMENTS = read_documents()
ATOM = "{http://www.w3.org/2005/Atom}"  # RFC 4287 section 2
TIDES = DOCUMENTS["tides/north-mole.json"]
MUSEUM = DOCUMENTS["museum/objects.json"]


def get(document: Document, *headers: tuple[str, str], method: str = "GET") -> tuple[int, Headers, bytes]:
    response = answer(document, SiteRequest(method, "/", headers=headers))
    return response.status, response.headers, response.body


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_every_document_says_that_it_is_invented(name: str) -> None:
    assert b"nvented" in DOCUMENTS[name].body


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_every_document_is_a_file_that_people_can_open(name: str) -> None:
    assert DOCUMENTS[name].body == (FILES / name).read_bytes()


@pytest.mark.parametrize("name", [name for name in sorted(DOCUMENTS) if name.endswith(".json")])
def test_json_documents_parse(name: str) -> None:
    """RFC 8259, by Python's json; the member `about` says that the data is invented."""
    assert "nvented" in json.loads(DOCUMENTS[name].body)["about"]
    assert DOCUMENTS[name].media_type == "application/json"


@pytest.mark.parametrize("name", [name for name in sorted(DOCUMENTS) if name.startswith("tides/")])
def test_tides_have_rfc_3339_times_and_exact_heights(name: str) -> None:
    events = json.loads(DOCUMENTS[name].body, parse_float=Decimal)["events"]
    times = [datetime.fromisoformat(event["when"]) for event in events if event["when"] is not None]
    assert all(time.tzinfo is not None for time in times)
    assert times == sorted(times)
    assert {event["kind"] for event in events} == {"low", "high"}
    heights = [event.get("height", "missing") for event in events]
    assert any(isinstance(height, Decimal) for height in heights)


@pytest.mark.parametrize("folder", ["library/", "library/songs/"])
def test_index_pages_list_their_folders_with_true_sizes(folder: str) -> None:
    page = html.fromstring(DOCUMENTS[f"{folder}index.html"].body.decode())
    here = {name.removeprefix(folder).partition("/") for name in DOCUMENTS if name.startswith(folder)}
    names = {name + slash for name, slash, _ in here} - {"index.html"}
    links = [link for link in page.iter("a") if not link.get("href", "").startswith(("?", "../"))]
    assert {link.get("href") for link in links} == names
    for row in page.iter("tr"):
        cells = ["".join(str(text) for text in cell.itertext()) for cell in row.iter("td")]
        if cells and cells[-1].isdigit():
            assert int(cells[-1]) == len(DOCUMENTS[folder + cells[0]].body)


def test_one_text_is_latin_1_and_named_as_nothing() -> None:
    charter = DOCUMENTS["library/charter.txt"]
    assert charter.media_type == "text/plain"
    assert "Große Möwe" in charter.body.decode("latin-1")
    with pytest.raises(UnicodeDecodeError):
        charter.body.decode("utf-8")


def test_tides_show_the_hard_cases() -> None:
    """Null, missing, other offsets, a half that binary rounding gets wrong, a negative zero to be."""
    events = json.loads(TIDES.body, parse_float=str)["events"]
    heights = [event.get("height", "missing") for event in events]
    assert heights == ["0.85", "3.10", "1.005", "3.245", "-0.040", None, "missing", "3.3"]
    assert f"{1.005:.2f}" == "1.00"  # what a binary float would make of the third
    assert {event["when"][-6:] for event in events} == {"+01:00", "+02:00", "21:00Z"}
    assert '"height": -0.004' in DOCUMENTS["tides/sandbar.json"].body.decode()


def test_sailings_have_a_namespace_of_their_own() -> None:
    """XML 1.0 and its namespaces, by Python's xml.etree; the name is one of RFC 6963's for examples."""
    board = ElementTree.fromstring(DOCUMENTS["ferries/sailings.xml"].body)
    ferries = "{urn:example:gullmarrow:ferries}"
    assert board.tag == f"{ferries}board"
    sailings = board.findall(f"{ferries}sailing")
    assert [sailing.get("id") for sailing in sailings] == ["F-101", "F-102", "F-103", "F-104"]
    assert [sailing.findtext(f"{ferries}ship") for sailing in sailings] == [
        "Möwe",
        "Old Ferry",
        "Kärrhök",
        "Möwe",
    ]
    # A ship of another namespace comes first: taking local names alone would be wrong.
    assert sailings[0][0].tag == "{urn:example:gullmarrow:crew}ship"


def test_the_timetable_is_csv() -> None:
    """RFC 4180, by Python's csv: CR LF line ends, quoted commas, quotes and a line end inside a field."""
    body = DOCUMENTS["ferries/timetable.csv"].body.decode()
    assert body.count("\n") == body.count("\r\n")
    rows = list(csv.DictReader(io.StringIO(body, newline="")))
    assert len(rows) == 7
    assert all(set(row) == set(rows[0]) for row in rows)
    assert all(row["note"].startswith("invented data") for row in rows)
    assert rows[2]["to"] == "Othermarrow, East Stage"
    assert rows[5]["to"] == 'The "Round the Bar" trip'
    assert rows[6]["note"] == "invented data;\r\nring the bell"
    assert rows[6]["fare"] == ""


def test_notices_are_an_atom_feed() -> None:
    """RFC 4287: each entry has an id, a title and an RFC 3339 date with an offset."""
    feed = ElementTree.fromstring(DOCUMENTS["notices/atom.xml"].body)
    assert feed.tag == f"{ATOM}feed"
    entries = feed.findall(f"{ATOM}entry")
    titles = ["".join(entry.find(f"{ATOM}title").itertext()) for entry in entries]  # type: ignore[union-attr]
    assert titles[0] == "Lock closed for repairs"
    assert titles[1] == "Straßenfest on the quay: Grüße, Kuchen & Möwen…"
    assert len(titles[2]) > 100
    assert titles[3] == "Shallow water at the bar"
    for entry in entries:
        assert entry.findtext(f"{ATOM}id")
        assert datetime.fromisoformat(entry.findtext(f"{ATOM}updated") or "").tzinfo is not None
    summary = entries[1].findtext(f"{ATOM}summary") or ""
    assert (
        html.tostring(html.fromstring(f"<div>{summary}</div>"), method="text", encoding="unicode")
        == "Frühstück from eight…"
    )


def test_news_are_an_rss_feed() -> None:
    """RSS 2.0 (from memory of its specification): items with RFC 5322 dates, read by email.utils."""
    rss = ElementTree.fromstring(DOCUMENTS["notices/rss.xml"].body)
    assert (rss.tag, rss.get("version")) == ("rss", "2.0")
    items = rss.findall("channel/item")
    dates = [email.utils.parsedate_to_datetime(item.findtext("pubDate") or "") for item in items]
    assert [date.astimezone(UTC).strftime("%d %H:%M") for date in dates] == [
        "17 06:00",
        "16 23:30",
        "16 14:12",
    ]
    assert items[1].findtext("title") == "Bäckerei “Zur Möwe” bakes ship’s biscuit again"
    assert items[2].findtext("{http://purl.org/dc/elements/1.1/}creator") is None


def test_museum_objects_have_big_ids_old_years_and_many_shapes() -> None:
    objects = json.loads(MUSEUM.body)["objects"]
    ids = [each["id"] for each in objects]
    assert {9007199254740992, 9007199254740993, 18446744073709551617} <= set(ids)
    assert float(9007199254740993) == 9007199254740992.0  # two ids that are one to a double
    assert {type(each.get("made", ...)) for each in objects} == {int, dict, str, type(None), type(...)}
    assert min(each["made"] for each in objects if isinstance(each.get("made"), int)) < 0


def test_finds_are_a_json_document_a_line() -> None:
    """NDJSON (common practice): every line parses alone, and says that it is invented."""
    lines = DOCUMENTS["museum/finds.ndjson"].body.decode().split("\n")
    assert lines[-1] == ""
    finds = [json.loads(line) for line in lines[:-1]]
    assert [find["find"] for find in finds] == [1, 2, 3, 4, 5]
    assert {find["data"] for find in finds} == {"invented"}


def test_market_prices_are_a_page_with_a_table() -> None:
    """HTML, by lxml's parser."""
    page = html.fromstring(DOCUMENTS["market/prices.html"].body.decode())
    rows = page.findall(".//table[@id='prices']/tbody/tr")
    cells = [[str(cell.xpath("string()")) for cell in row] for row in rows]
    assert len(cells) == 5
    assert {len(row) for row in cells} == {4}
    assert cells[2] == ["Ship’s biscuit", "doz", "1.05", ""]
    assert cells[3][0] == "Café on the quay"


def test_a_document_comes_with_its_validators() -> None:
    """RFC 9110 sections 8.8.2 and 8.8.3: a date in IMF-fixdate form and a quoted entity tag."""
    response = answer(TIDES, SiteRequest("GET", "/"))
    assert response.status == 200
    assert response.body == TIDES.body
    assert response.header("Cache-Control") == "max-age=600"
    etag = response.header("ETag") or ""
    assert etag[0] == etag[-1] == '"'
    date = email.utils.parsedate_to_datetime(LAST_MODIFIED)
    assert email.utils.format_datetime(date, usegmt=True) == LAST_MODIFIED == response.header("Last-Modified")


@pytest.mark.parametrize("form", ["{}", "W/{}", '"other", {}', "*", '"other",W/{} , "more"'])
def test_if_none_match_answers_304(form: str) -> None:
    """RFC 9110 section 13.1.2: a list, `*`, and weak comparison."""
    status, headers, body = get(TIDES, ("If-None-Match", form.format(TIDES.etag)))
    assert (status, body) == (304, b"")
    # Section 15.4.5: the fields that a 200 would have had.
    assert {"ETag", "Cache-Control"} <= {name for name, _ in headers}


def test_if_none_match_with_another_tag_answers_200() -> None:
    assert get(TIDES, ("If-None-Match", '"other"'))[0] == 200


@pytest.mark.parametrize(("days", "status"), [(0, 304), (1, 304), (-1, 200)])
def test_if_modified_since(days: int, status: int) -> None:
    """RFC 9110 section 13.1.3."""
    date = email.utils.parsedate_to_datetime(LAST_MODIFIED) + timedelta(days=days)
    assert get(TIDES, ("If-Modified-Since", email.utils.format_datetime(date, usegmt=True)))[0] == status


@pytest.mark.parametrize("date", ["", "yesterday", "2024-05-18", "Sat, 18 May 2024 05:00:00 -0000"])
def test_if_modified_since_that_is_no_http_date_is_ignored(date: str) -> None:
    """RFC 9110 section 13.1.3."""
    assert get(TIDES, ("If-Modified-Since", date))[0] == 200


def test_if_none_match_outranks_if_modified_since() -> None:
    """RFC 9110 section 13.2.2."""
    assert get(TIDES, ("If-None-Match", '"other"'), ("If-Modified-Since", LAST_MODIFIED))[0] == 200


def test_the_museum_answers_in_gzip_to_those_who_take_it() -> None:
    """RFC 9110 section 8.4.1.3, by Python's gzip; section 12.5.5: Vary says that it depends."""
    plain = answer(MUSEUM, SiteRequest("GET", "/"))
    assert plain.header("Content-Encoding") is None
    assert plain.body == MUSEUM.body
    squeezed = answer(MUSEUM, SiteRequest("GET", "/", headers=(("Accept-Encoding", "gzip"),)))
    assert squeezed.header("Content-Encoding") == "gzip"
    assert gzip.decompress(squeezed.body) == MUSEUM.body
    assert len(squeezed.body) < len(MUSEUM.body)
    assert plain.header("Vary") == squeezed.header("Vary") == "Accept-Encoding"
    # Section 8.8.3.3: representations that differ in coding have different strong tags.
    assert plain.header("ETag") != squeezed.header("ETag")
    assert get(MUSEUM, ("Accept-Encoding", "gzip"), ("If-None-Match", plain.header("ETag") or ""))[0] == 200
    assert (
        get(MUSEUM, ("Accept-Encoding", "gzip"), ("If-None-Match", squeezed.header("ETag") or ""))[0] == 304
    )


@pytest.mark.parametrize(
    ("accept", "taken"),
    [
        # RFC 9110 section 12.5.3 has the first five as its examples.
        ("compress, gzip", True),
        ("", False),
        ("*", True),
        ("compress;q=0.5, gzip;q=1.0", True),
        ("gzip;q=1.0, identity; q=0.5, *;q=0", True),
        (None, False),
        ("gzip;q=0", False),
        ("gzip; q=0.000", False),
        ("*;q=0", False),
        ("br, GZIP;q=0.001", True),
        ("identity", False),
    ],
)
def test_accept_encoding(accept: str | None, taken: bool) -> None:
    assert takes_gzip(accept) is taken
