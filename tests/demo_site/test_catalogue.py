"""The demo catalogue: complete, loadable, and every source laid out as worked out by hand."""

import json
import tomllib
from pathlib import Path

import pytest

from adapters.port import CredentialKind
from demo_site.areas.running import LEDGER_FILE, LEDGER_USER, QUAY_FILE, QUAY_USER, Areas
from demo_site.catalogue import PLACES_TEMPLATE, TEMPLATE, demo_catalogue
from demo_site.messages import Headers, SiteRequest, SiteResponse
from demo_site.sample import SAMPLES
from demo_site.site import KEY_FILE, KEY_HEADER, OFFICE_FILE, OFFICE_USER, Site
from gateway.catalogue.model import Catalogue, LinesBody
from gateway.catalogue.reading import load_catalogue
from gateway.extract.pipeline import extract
from gateway.extract.plan import Cut, Fold, Format, Kind, Sheet, Style
from gateway.wire.ready import PROFILES
from gateway.wire.settings import Settings

HTTP, HTTPS, CA = "http://127.0.0.1:8001", "https://127.0.0.1:8002", "/tmp/demo-ca.pem"


AREAS = Areas("ftp://127.0.0.1:8003/", "dav://127.0.0.1:8004/", "file:///tmp/shelf/", "tcp://127.0.0.1:8005")


def read_secret(reference: str) -> str | None:
    kind, _, path = reference.partition(":")
    assert kind == "file"
    return Path(path).read_text("ascii").strip()


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue(demo_catalogue(HTTP, HTTPS, CA), "catalogue.toml", read_secret)


@pytest.fixture
def site() -> Site:
    return Site()


def document(site: Site, path: str, *headers: tuple[str, str]) -> SiteResponse:
    response = site.respond(SiteRequest("GET", path, headers=headers))
    if response.status == 302:
        return document(site, response.header("Location") or "", *headers)
    assert response.status == 200
    return response


def laid_out(catalogue: Catalogue, name: str, response: SiteResponse) -> Sheet:
    media_type, _, parameters = (response.header("Content-Type") or "").partition(";")
    charset = "utf-8" if "charset=utf-8" in parameters else None
    return extract(response.body, media_type, charset, catalogue.sources[name].plan, Style())


def texts(sheet: Sheet) -> list[str]:
    assert all(len(record.text) == sheet.width for record in sheet.records)
    return [record.text for record in sheet.records]


def test_every_mark_of_the_template_is_filled_in() -> None:
    text = demo_catalogue(HTTP, HTTPS, CA, areas=AREAS, port=8128, state="/tmp/state")
    assert "<<" in TEMPLATE.read_text("utf-8")
    assert "<<" in PLACES_TEMPLATE.read_text("utf-8")
    assert "<<" not in text
    tables = tomllib.loads(text)
    assert tables["gateway"]["state"] == "/tmp/state"
    assert tables["listen"][0]["port"] == 8128
    assert tables["source"]["tides"]["url"] == HTTP + "/tides/{station}.json"
    assert tables["source"]["ferries"]["url"] == HTTPS + "/ferries/sailings.xml"


def test_paths_keep_their_meaning_inside_toml() -> None:
    """TOML 1.0, basic strings, by Python's tomllib."""
    odd = 'C:\\temp\\new "folder"\\ca.pem'
    tables = tomllib.loads(demo_catalogue(HTTP, HTTPS, odd, state=odd))
    assert tables["source"]["ferries"]["ca"] == odd
    assert tables["gateway"]["state"] == odd


def test_the_catalogue_loads(catalogue: Catalogue) -> None:
    assert set(catalogue.profiles) == {*PROFILES, "NARROW32", "CAPITALS", "ENDS9B"}
    assert catalogue.profiles["NARROW32"] == Settings(cols=32, most=80)
    assert catalogue.profiles["CAPITALS"] == Settings(case="upper", typed="lower", guard=True)
    assert catalogue.profiles["ENDS9B"] == Settings(eol="9b", page=20)
    assert catalogue.places["SITE"].base == f"{HTTP}/"
    assert [listener.profile.upper() for listener in catalogue.listeners] == ["PLAIN"]


def test_places_have_one_shape_whatever_the_protocol() -> None:
    catalogue = load_catalogue(demo_catalogue(HTTP, HTTPS, CA, areas=AREAS), "catalogue.toml", read_secret)
    places = catalogue.places
    assert set(places) == {"SITE", "QUAY", "LEDGER", "SHELF", "LIBRARY", "STATION"}
    assert (places["QUAY"].base, places["QUAY"].user) == (AREAS.quay, QUAY_USER)
    assert (places["LEDGER"].base, places["LEDGER"].user) == (AREAS.ledger, LEDGER_USER)
    assert (places["SHELF"].base, places["SHELF"].user) == (AREAS.shelf, None)
    assert places["STATION"].base == AREAS.station
    assert places["LIBRARY"].base == f"{HTTP}/library/"
    assert places["LIBRARY"].index == "html"
    assert {name for name, place in places.items() if place.write} == {"QUAY", "LEDGER", "SHELF"}
    for name, file in (("QUAY", QUAY_FILE), ("LEDGER", LEDGER_FILE)):
        secret = places[name].secret
        assert secret is not None
        assert catalogue.secrets[secret] == file.read_text("ascii").strip()


def test_without_areas_there_are_no_places_for_files(catalogue: Catalogue) -> None:
    assert set(catalogue.places) == {"SITE"}


def test_it_shows_what_a_catalogue_can_say(catalogue: Catalogue) -> None:
    sources = catalogue.sources.values()
    fields = [field for source in sources for field in source.plan.fields]
    assert {source.plan.format for source in sources} == set(Format)
    assert {field.kind for field in fields} == set(Kind)
    assert {Fold.COUNT, Fold.MIN, Fold.MAX, Fold.MEAN, Fold.FIRST} <= {field.fold for field in fields}
    assert {source.auth.kind for source in sources if source.auth} == {
        CredentialKind.HEADER,
        CredentialKind.BASIC,
    }
    assert any(isinstance(source.body, LinesBody) for source in sources)
    assert any(field.cut is Cut.WORD for field in fields)
    assert catalogue.sources["SCORE"].changes
    assert catalogue.sources["TIDES"].keep == 600
    assert catalogue.sources["TIDES"].stale == 86_400
    assert catalogue.sources["FERRIES"].ca == CA


def test_abouts_fit_a_listing_of_40_columns(catalogue: Catalogue) -> None:
    """SOURCES: name(12) width(3) about(rest), one blank between: 23 characters are left."""
    assert max(len(source.about) for source in catalogue.sources.values()) <= 23
    assert all(source.about for source in catalogue.sources.values())


def test_the_sample_asks_only_for_what_is_there(catalogue: Catalogue) -> None:
    for sample in SAMPLES:
        word, *rest = sample.request.split()
        if word in {"ASK", "TELL", "LAYOUT"}:
            source = catalogue.sources[rest[0]]
            assert source.changes is (word == "TELL")
            assert word == "LAYOUT" or len(rest) - 1 == len(source.args)


def test_tides(catalogue: Catalogue, site: Site) -> None:
    """1.005 and 3.245 round half away from zero; 12:21Z and 20:34+02:00 are told in the town's UTC+1."""
    sheet = laid_out(catalogue, "TIDES", document(site, "/tides/north-mole.json"))
    assert texts(sheet) == [
        "00:48 LOW    0.85 0",
        "06:57 HIGH   3.10 0",
        "13:21 LOW    1.01 0",
        "19:34 HIGH   3.25 1",
        "01:49 LOW   -0.04 1",
        "07:58 HIGH   none 1",
        "14:22 LOW       ? 1",
        "20:30 HIGH   3.30  ",
    ]


def test_tides_with_exponents_null_times_and_minus_zero(catalogue: Catalogue, site: Site) -> None:
    sheet = laid_out(catalogue, "TIDES", document(site, "/tides/sandbar.json"))
    assert texts(sheet) == [
        "00:15 LOW    0.05 0",
        "06:22 HIGH   3.46 0",
        "-     LOW    0.00 -",
        "18:59 HIGH   3.50 1",
    ]


def test_water_folds_a_station_into_one_record(catalogue: Catalogue, site: Site) -> None:
    """The mean of 0.85 3.10 1.005 3.245 -0.040 3.3 is 11.46 / 6 = 1.91."""
    sheet = laid_out(catalogue, "WATER", document(site, "/tides/north-mole.json"))
    assert texts(sheet) == ["  8  -0.04   3.30  1.910 2024-05-17"]


def test_ferries(catalogue: Catalogue, site: Site) -> None:
    sheet = laid_out(catalogue, "FERRIES", document(site, "/ferries/sailings.xml"))
    assert texts(sheet) == [
        "F-101 06:30 Othermarrow  Moewe        4.50 0A",
        "F-102 07:15 Lantern      Old Ferry L 12.05 AF",
        "F-103 09:00 Othermarrow  Kaerrhoek X       FF",
        "F-104 19:45 Lantern      Moewe       12.05 03",
    ]


def test_lines(catalogue: Catalogue, site: Site) -> None:
    sheet = laid_out(catalogue, "LINES", document(site, "/ferries/timetable.csv"))
    assert texts(sheet) == [
        " 1 Othermarrow                4.50",
        " 1 Othermarrow, East Stage    5.25",
        " 2 Lantern Skerry            12.05",
        ' 7 The "Round the Bar" trip   9.00',
        " 9 Lighthouse                  ask",
    ]


def test_notices(catalogue: Catalogue, site: Site) -> None:
    """In UTC, the session's zone; the newest three of four, so rows were left out by the limit."""
    sheet = laid_out(catalogue, "NOTICES", document(site, "/notices/atom.xml"))
    assert texts(sheet) == [
        "17.05 04:30:00 Lock closed for repairs  ",
        "16.05 23:45:00 Strassenfest on the quay:",
        "16.05 13:00:00 A very long notice about ",
    ]
    assert sheet.limited
    assert sheet.records[1].cut == sheet.records[2].cut == ("TITLE",)


def test_news(catalogue: Catalogue, site: Site) -> None:
    sheet = laid_out(catalogue, "NEWS", document(site, "/notices/rss.xml"))
    assert texts(sheet) == [
        "2024-05-17 Town hall    Brass band plays on the mole            ",
        '2024-05-16 Market club  Baeckerei "Zur Moewe" bakes ship\'s biscu',
        "2024-05-16 gullmarrow-n Lost: one left oilskin glove            ",
    ]


def test_museum(catalogue: Catalogue, site: Site) -> None:
    sheet = laid_out(catalogue, "MUSEUM", document(site, "/museum/latest"))
    assert texts(sheet) == [
        "    9007199254740993  1788        Ship's bell             31.5  BEEF  1",
        "    9007199254740992  1902        Tide clock               0.4  00FF  1",
        "18446744073709551617  -450        Amber bead            ******  0007  1",
        '                 104  about 1830  Figurehead "Grosse M   210.0  1000  0',
        "                 105  -           Net needle              20.0     -  1",
        "                 106              Harbour master's tea       -  FFFF  0",
    ]


def test_finds(catalogue: Catalogue, site: Site) -> None:
    sheet = laid_out(catalogue, "FINDS", document(site, "/museum/finds.ndjson"))
    assert texts(sheet) == [
        "001 Clay pipe         12.3 2024-05-02",
        "002 Coin               3.1 2024-04-30",
        "003 Anchor fluke   41250.0 2024-05-03",
        "004 Coin               3.0 2024-05-02",
        "005 Button with a        - last sprin",
    ]


def test_market(catalogue: Catalogue, site: Site) -> None:
    sheet = laid_out(catalogue, "MARKET", document(site, "/market/prices.html"))
    assert texts(sheet) == [
        "Herring, smoked    kg    7.40 1",
        "Raeucheraal        kg   24.00 1",
        "Ship's biscuit     doz   1.05 0",
        "Cafe on the quay   cup   0.80 1",
        "Rope, tarred       m   ****** 0",
    ]


def test_scores_and_score(catalogue: Catalogue, site: Site) -> None:
    posted = site.respond(
        SiteRequest(
            "POST",
            "/club/scores",
            headers=(("Content-Type", "application/json"),),
            body=json.dumps({"name": "MOLE", "points": 8200}).encode(),
        )
    )
    assert texts(laid_out(catalogue, "SCORE", posted)) == ["  2   6 MOLE        "]
    assert texts(laid_out(catalogue, "SCORES", document(site, "/club/scores"))) == [
        "  1 FERRY CAT         9900",
        "  2 MOLE              8200",
        "  3 LAMPLIGHTER       8150",
        "  3 TUG               8150",
        "  5 NET MENDER        4020",
        "  6 HERRING             75",
    ]


def test_sign(catalogue: Catalogue, site: Site) -> None:
    headers: Headers = (("Content-Type", "text/plain; charset=utf-8"),)
    signed = site.respond(
        SiteRequest("POST", "/club/guestbook", headers=headers, body=b"Greetings\nfrom afar\n")
    )
    assert texts(laid_out(catalogue, "SIGN", signed)) == ["    1     2 Greetings           "]


def test_pilots_and_berths(catalogue: Catalogue, site: Site) -> None:
    pilots = catalogue.sources["PILOTS"].auth
    berths = catalogue.sources["BERTHS"].auth
    assert pilots is not None
    assert berths is not None
    assert (pilots.name, berths.name) == (KEY_HEADER, OFFICE_USER)
    assert catalogue.secrets[pilots.secret] == KEY_FILE.read_text("ascii").strip()
    assert catalogue.secrets[berths.secret] == OFFICE_FILE.read_text("ascii").strip()
    key = (pilots.name, catalogue.secrets[pilots.secret])
    sheet = laid_out(catalogue, "PILOTS", document(site, "/harbour/pilots", key))
    assert texts(sheet) == ["Pilot 1    1 ..2.1", "Pilot 2    0 ..1.9"]
