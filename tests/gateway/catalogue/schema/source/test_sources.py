"""[source.NAME]: url, method, sort, and what concerns several keys."""

import pytest

from gateway.extract.plan import Format
from tests.gateway.catalogue.marked import check, load, source

PLACE = '[place.club]\nbase = "https://files.example/pub/"\n'

URLS = {
    "no URL": 'url = "tides.example/v1"\n       ^^^^^^^^^^^^^^^^ https://tides.example/v1',
    "scheme": 'url = "htps://a.example/"\n       ^^^^ https',
    "user part": 'url = "https://me:pw@a.example/"\n               ^^^^^^',
    "blank": 'url = "https://a.example/a b"\n                          ^',
    "stray percent": 'url = "https://a.example/100%"\n                            ^',
    "fragment": 'url = "https://a.example/#top"\n                         ^^^^',
    "port": 'url = "https://a.example:x/"\n                         ^',
    "unclosed": 'url = "https://a.example/{day"\n                         ^^^^',
    "bad expression": 'url = "https://a.example/{day:x}"\n                          ^^^^^',
    "place": 'url = "clbu:x.json"\n       ^^^^ club',
    "escape from the place": 'url = "club:a%2f..%2f.."\n            ^^^^^^^^^^^',
}


@pytest.mark.parametrize("url", URLS.values(), ids=URLS.keys())
def test_urls(url: str) -> None:
    check(PLACE + source("", url=url))


def test_a_variable_that_is_an_arg_misspelt_is_marked_once() -> None:
    check(
        source(
            "args = ['day', 'hour']", url='url = "https://a.example/{day}{?huor}"\n' + " " * 32 + "^^^^ hour"
        )
    )


def test_an_arg_may_change_the_host_only_among_choices() -> None:
    check(source("args = ['town']", url='url = "https://{town}.example/"\n                ^^^^'))
    check(source("args = ['town']", url='url = "https://a.example{+town}/"\n                          ^^^^'))
    check(source("args = ['town']", url='url = "{+town}/x"\n         ^^^^'))
    choices = "args = ['town']\nchoices = { town = { a = 'north', b = 'south' } }"
    assert load(source(choices, url='url = "https://{town}.example/"')).origins == {}
    check(
        source(choices.replace("south", "so uth"), url='url = "https://{town}.example/"\n       ' + "^" * 23)
    )


@pytest.mark.parametrize("url", ["https://a.example/{x}", "https://a.example{/x}", "https://a.example{?x}"])
def test_an_arg_after_the_host_needs_no_choices(url: str) -> None:
    assert load(source("args = ['x']", url=f'url = "{url}"')).origins_for("http") == {("a.example", 443)}


def test_a_place_with_mistakes_is_still_a_place() -> None:
    check('[place.club]\nbase = "htp://x.example/"\n        ^^^ http\n' + source("", url='url = "club:x"'))


LINES = {
    "method": "method = 'PSOT'\n          ^^^^ POST",
    "keep with POST": "method = 'POST'\nkeep = 5\n^^^^",
    "stale with DELETE": "method = 'DELETE'\nstale = 5\n^^^^^",
    "sort": "sort = 'Z'\n        ^",
    "descending alone": "descending = true\n^^^^^^^^^^",
    "format": "format = 'jsno'\n          ^^^^ json",
    "namespaces of json": "format = 'json'\nnamespaces = { x = 'urn:x' }\n^^^^^^^^^^",
    "prefix": "namespaces = { '1x' = 'urn:x' }\n               ^^^^",
    "xml prefix": "namespaces = { xmlns = 'urn:x' }\n               ^^^^^",
    "empty namespace": "namespaces = { x = '' }\n                   ^^",
    "fields": "fields = []\n^^^^^^ field",
}


@pytest.mark.parametrize("lines", LINES.values(), ids=LINES.keys())
def test_lines(lines: str) -> None:
    check(source(lines))


def test_no_fields() -> None:
    check('[source.a]\nurl = "https://a.example/"\nfield = []\n        ^^')
    check(
        '[source.a]\nurl = "https://a.example/"\n'
        '[source.a.field]\n          ^^^^^ [[source.NAME.field]]\nname = "X"'
    )


def test_sort_names_the_nearest_field() -> None:
    check(source("sort = 'hieght'\n        ^^^^^^ HEIGHT", '[[source.a.field]]\nname = "HEIGHT"\nwidth = 3'))


def test_what_is_read() -> None:
    catalogue = load("""
[gateway]
letters = { "ü" = "ue" }
[source.Tides]
about = "High and low water"
url = "https://tides.example:8443/{day}"
args = ["day"]
format = "xml"
rows = "//t:tide"
namespaces = { t = "urn:example:tides" }
keep = "10m"
stale = 60
ca = "certs/x.pem"
distinct = true
sort = "height"
descending = true
limit = 3
gap = 0
[[source.Tides.field]]
name = "HEIGHT"
width = 3
""")
    read = catalogue.sources["TIDES"]
    assert (read.name, read.about, read.keep, read.stale) == ("TIDES", "High and low water", 600.0, 60.0)
    assert (read.ca, read.method, read.changes) == ("certs/x.pem", "GET", False)
    plan = read.plan
    assert (plan.format, plan.distinct, plan.sort, plan.descending) == (Format.XML, True, "HEIGHT", True)
    assert (plan.limit, plan.gap, plan.letters) == (3, 0, {"ü": "ue"})
    assert plan.namespaces == {"t": "urn:example:tides"}
    assert catalogue.origins == {"http": {("tides.example", 8443)}}


def test_a_source_in_a_place() -> None:
    catalogue = load(PLACE + source("args = ['x']", url='url = "Club:lists/{x}.json{?x}"'))
    assert catalogue.sources["A"].url == "Club:lists/{x}.json{?x}"
    assert catalogue.origins == {"http": {("files.example", 443)}}
