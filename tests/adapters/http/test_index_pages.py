"""Index pages: those that servers make, and the freedoms that others take (common practice).

Those of servers are copied, over invented files, from Apache 2.4.71, nginx 1.22.1, lighttpd 1.4.69 and the
http.server of Python 3.11.
"""

from datetime import UTC, datetime
from urllib.parse import quote_from_bytes

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import WrongDocument
from adapters.files import Entry, Kind
from adapters.http.index_pages import Found, index_entries

ROOT = "http://files.example/"
FOLDER = "http://files.example/pub/sub/"
AT = datetime(2026, 11, 26, 1, 55, tzinfo=UTC)

APACHE_FANCY = """<html>
 <head>
  <title>Index of /</title>
 </head>
 <body>
<h1>Index of /</h1>
<pre>      <a href="?C=N;O=D">Name</a>                    <a href="?C=M;O=A">Last modified</a>      \
<a href="?C=S;O=A">Size</a>  <a href="?C=D;O=A">Description</a><hr>      \
<a href="/pub/">Parent Directory</a>                             -
      <a href="a%20&amp;%20b.txt">a &amp; b.txt</a>               2026-11-26 01:55    5
      <a href="big.bin">big.bin</a>                 2026-11-26 01:55  121K
      <a href="mid.bin">mid.bin</a>                 2026-11-26 01:55  900   900 bytes of it
      <a href="long%20name.txt">long n..&gt;</a>    2026-11-26 01:55    0
      <a href="sub/">sub/</a>                    2026-11-26 01:55    -
<hr></pre>
</body></html>"""

APACHE_TABLE = """<html><head><title>Index of /</title></head><body><h1>Index of /</h1>
  <table>
   <tr><th valign="top">&nbsp;</th><th><a href="?C=N;O=D">Name</a></th><th>\
<a href="?C=M;O=A">Last modified</a></th><th>\
<a href="?C=S;O=A">Size</a></th><th><a href="?C=D;O=A">Description</a></th></tr>
   <tr><th colspan="5"><hr></th></tr>
<tr><td valign="top">&nbsp;</td><td><a href="a%20&amp;%20b.txt">a &amp; b.txt</a></td>\
<td align="right">2026-11-26 01:55  </td><td align="right">  5 </td><td>&nbsp;</td></tr>
<tr><td valign="top">&nbsp;</td><td><a href="big.bin">big.bin</a></td>\
<td align="right">2026-11-26 01:55  </td><td align="right">121K</td><td>12</td></tr>
<tr><td valign="top">&nbsp;</td><td><a href="mid.bin">mid.bin</a></td>\
<td align="right">2026-11-26 01:55  </td><td align="right">900 </td><td>&nbsp;</td></tr>
<tr><td valign="top">&nbsp;</td><td><a href="long%20name.txt">long n..&gt;</a></td>\
<td align="right">2026-11-26 01:55  </td><td align="right">  0 </td><td>&nbsp;</td></tr>
<tr><td valign="top">&nbsp;</td><td><a href="sub/">sub/</a></td>\
<td align="right">2026-11-26 01:55  </td><td align="right">  - </td><td>&nbsp;</td></tr>
   <tr><th colspan="5"><hr></th></tr>
</table></body></html>"""

APACHE_PLAIN = """<html><head><title>Index of /</title></head><body><h1>Index of /</h1>
<ul><li><a href="/pub/"> Parent Directory</a></li>
<li><a href="a%20&amp;%20b.txt"> a &amp; b.txt</a></li>
<li><a href="big.bin"> big.bin</a></li>
<li><a href="mid.bin"> mid.bin</a></li>
<li><a href="long%20name.txt"> long name.txt</a></li>
<li><a href="sub/"> sub/</a></li>
</ul></body></html>"""

NGINX = """<html>
<head><title>Index of /</title></head>
<body>
<h1>Index of /</h1><hr><pre><a href="../">../</a>
<a href="sub/">sub/</a>                                               26-Nov-2026 01:55                   -
<a href="a%20%26%20b.txt">a &amp; b.txt</a>                           26-Nov-2026 01:55                   5
<a href="big.bin">big.bin</a>                                         26-Nov-2026 01:55              123456
<a href="mid.bin">mid.bin</a>                                         26-Nov-2026 01:55                 900
<a href="long%20name.txt">long n..&gt;</a>                            26-Nov-2026 01:55                   0
</pre><hr></body>
</html>"""

LIGHTTPD = """<!DOCTYPE html><html><head><title>Index of /</title></head><body>
<h2>Index of /</h2>
<div class="list">
<table summary="Directory Listing" cellpadding="0" cellspacing="0">
<thead><tr><th class="n">Name</th><th class="m">Last Modified</th><th class="s">Size</th>\
<th class="t">Type</th></tr></thead>
<tbody>
<tr class="d"><td class="n"><a href="../">..</a>/</td><td class="m">&nbsp;</td><td class="s">- &nbsp;</td>\
<td class="t">Directory</td></tr>
<tr class="d"><td class="n"><a href="sub/">sub</a>/</td><td class="m">2026-Nov-26 01:55:00</td>\
<td class="s">- &nbsp;</td><td class="t">Directory</td></tr>
<tr><td class="n"><a href="a%20%26%20b.txt">a &amp; b.txt</a></td><td class="m">2026-Nov-26 01:55:00</td>\
<td class="s">0.1K</td><td class="t">text/plain</td></tr>
<tr><td class="n"><a href="big.bin">big.bin</a></td><td class="m">2026-Nov-26 01:55:00</td>\
<td class="s">120.5K</td><td class="t">application/octet-stream</td></tr>
<tr><td class="n"><a href="mid.bin">mid.bin</a></td><td class="m">2026-Nov-26 01:55:00</td>\
<td class="s">0.8K</td><td class="t">application/octet-stream</td></tr>
<tr><td class="n"><a href="long%20name.txt">long name.txt</a></td><td class="m">2026-Nov-26 01:55:00</td>\
<td class="s">0.0K</td><td class="t">text/plain</td></tr>
</tbody></table></div></body></html>"""

PYTHON = """<!DOCTYPE HTML><html lang="en"><head><title>Directory listing for /</title></head><body>
<h1>Directory listing for /</h1>
<hr>
<ul>
<li><a href="a%20%26%20b.txt">a &amp; b.txt</a></li>
<li><a href="big.bin">big.bin</a></li>
<li><a href="mid.bin">mid.bin</a></li>
<li><a href="long%20name.txt">long name.txt@</a></li>
<li><a href="sub/">sub/</a></li>
</ul>
<hr></body></html>"""

SCRIPTED = """<!DOCTYPE html><html><head><title>Files</title></head><body>
<header><a href="/">home</a><a href="top/">top</a></header>
<table><thead><tr><th>Name</th><th>Downloads</th><th>Size</th><th>Modified</th></tr></thead><tbody>
<tr><td><a href="./a%20&%20b.txt"><svg></svg><span>a &amp; b.txt</span></a></td><td>77</td>
<td class="size" data-order="5"><div class="bar">5 B</div></td>
<td><time datetime="2026-11-26T02:55:00+01:00">11/26/2026 02:55:00 AM +01:00</time></td></tr>
<tr><td><a href="./big.bin"><span>big.bin</span></a></td><td>3</td>
<td class="size" data-order="123456">121 KiB</td>
<td><time datetime="2026-11-26T01:55:00Z">today</time></td></tr>
<tr><td><a href="./mid.bin"><span>mid.bin</span></a></td><td>3</td><td>900 bytes</td>\
<td>26 Nov 2026 01:55</td></tr>
<tr><td><a href="./long%20name.txt"><span>long</span></a></td><td>3</td><td>0 B</td>\
<td>Nov 26, 2026 01:55</td></tr>
<tr><td><a href="./sub/"><span>sub</span></a></td><td>3</td><td data-order="-1">&mdash;</td><td>-</td></tr>
</tbody></table></body></html>"""

LISTED = """<html><body><h1>Contents of our shelf</h1><ul>
<li><a href="a%20%26%20b.txt">a &amp; b.txt</a> (5 bytes), \
<time datetime="2026-11-26T01:55:00Z">today</time></li>
<li><b><a href="/pub/sub/big.bin">big.bin</a></b> <i>123,456 bytes</i> <small>2026-11-26 01:55</small></li>
<li><a href="http://FILES.example:80/pub/sub/mid.bin">mid.bin</a> \
<span>2026-11-26T01:55:00Z</span> <span>900</span></li>
<li><a href='long%20name.txt'>long name.txt</a> - 0 bytes - 26 Nov 2026 01:55</li>
<li><a href="sub/">sub</a></li>
</ul></body></html>"""

NAMES = [b"a & b.txt", b"big.bin", b"long name.txt", b"mid.bin", b"sub"]
PAGES = {
    "apache fancy": (APACHE_FANCY, [5, None, 0, 900], True),
    "apache table": (APACHE_TABLE, [5, None, 0, 900], True),
    "apache plain": (APACHE_PLAIN, [None] * 4, False),
    "nginx": (NGINX, [5, 123456, 0, 900], True),
    "lighttpd": (LIGHTTPD, [None] * 4, True),
    "python": (PYTHON, [None] * 4, False),
    "scripted table": (SCRIPTED, [5, 123456, 0, 900], True),
    "list": (LISTED, [5, 123456, 0, 900], True),
}


def index(page: str | bytes, url: str = FOLDER, asked: str | None = None) -> Found:
    return index_entries(page if isinstance(page, bytes) else page.encode(), url, asked or url)


def by_name(found: Found) -> dict[bytes, Entry]:
    return {each.name: each for each in found.entries}


@pytest.mark.parametrize("name", PAGES)
def test_pages_of_the_trade(name: str) -> None:
    """Rounded sizes (121K) are none: they would be shown as if they were exact."""
    page, sizes, dated = PAGES[name]
    found = index(page)
    entries = by_name(found)
    assert not found.partial
    assert sorted(entries) == NAMES
    assert [entries[each].size for each in NAMES[:4]] == sizes
    assert [entries[each].kind for each in NAMES] == [Kind.FILE] * 4 + [Kind.FOLDER]
    assert {entries[each].modified for each in NAMES[:4]} == {AT if dated else None}
    assert entries[b"sub"].size is None
    assert {each.url for each in found.entries} == {None}


@pytest.mark.parametrize(
    "page",
    [
        APACHE_FANCY.replace("\n      <a", "\n<i") + "<!-- -->",
        '<title>Index of /</title><pre><a href="../">../</a>\n</pre>',
        "<h1>Directory listing for /pub/sub/</h1><ul></ul>",
        '<a href="/pub/">up</a>',
        '<a href="?C=N;O=D">Name</a>',
        '<a href="?sort=name&order=asc">Name</a>',
    ],
)
def test_an_empty_folder(page: str) -> None:
    page = page if "<i" not in page else '<title>Index of /x</title><pre><a href="?C=N;O=D">Name</a></pre>'
    assert index(page) == Found((), partial=False)


@pytest.mark.parametrize(
    "page",
    [
        "",
        " ",
        "plain words",
        "<html><body><h1>Welcome</h1></body></html>",
        '<a href="http://other.example/x">x</a>',
    ],
)
def test_what_is_no_index(page: str) -> None:
    with pytest.raises(WrongDocument):
        index(page)


@pytest.mark.parametrize(
    "href",
    [
        "",
        "#top",
        "?C=S",
        "?",
        ".",
        "./",
        "..",
        "../",
        "/",
        "/pub/sub/",
        "/pub/other.txt",
        "../other.txt",
        "deeper/file.txt",
        "deeper/folder/",
        "//other.example/pub/sub/x",
        "http://other.example/pub/sub/x",
        "https://files.example/pub/sub/x",
        "http://files.example:8080/pub/sub/x",
        "ftp://files.example/pub/sub/x",
        "mailto:somebody@files.example",
        "javascript:void(0)",
        "http://[broken/x",
        "http://files.example:port/pub/sub/x",
    ],
)
def test_links_that_are_no_entries(href: str) -> None:
    found = index(f'<title>Index of /</title><a href="real">real</a><a href="{href}">x</a>')
    assert [each.name for each in found.entries] == [b"real"]
    assert not found.partial


@pytest.mark.parametrize("href", ["a%2Fb", "%2e%2e%2fx", "nul%00", "%2F", "x" * (limits.ENTRY_BYTES + 1)])
def test_entries_whose_names_cannot_be_taken_are_left_out(href: str) -> None:
    found = index(f'<title>Index of /</title><a href="{href}">x</a><a href="real">real</a>')
    assert [each.name for each in found.entries] == [b"real"]
    assert found.partial


@pytest.mark.parametrize(
    ("href", "name"),
    [
        ("100%25", b"100%"),
        ("%2541", b"%41"),
        ("100%", b"100%"),  # a lone % stands for itself
        ("a+b", b"a+b"),
        ("%C3%BC", "ü".encode()),
        ("%fc", b"\xfc"),
        ("%252e%252e", b"%2e%2e"),
        (" padded%20 ", b"padded "),
        ("broken\nline", b"brokenline"),
        ("x;type=a", b"x;type=a"),
        ("%3ctag%3e&amp;amp;", b"<tag>&amp;"),
        ("&#8364;", "€".encode()),
    ],
)
def test_names_are_decoded_once(href: str, name: bytes) -> None:
    """RFC 3986 section 2.4."""
    found = index(f'<title>Index of /</title><a href="{href}">whatever</a>')
    assert [each.name for each in found.entries] == [name]


@pytest.mark.parametrize("charset", ["utf-8", "latin-1"])
def test_a_name_that_was_not_encoded_is_the_bytes_that_were_sent(charset: str) -> None:
    page = f'<meta charset="{charset}"><title>Index of /</title><a href="größe">größe</a>'.encode(charset)
    assert [each.name for each in index(page).entries] == ["größe".encode(charset)]


def test_a_base_moves_the_links() -> None:
    page = '<base href="/pub/sub/"><a href="x">x</a>'
    assert [each.name for each in index(page).entries] == [b"x"]
    page = '<title>Index of /</title><base href="/elsewhere/"><a href="x">x</a><a href="/pub/sub/y">y</a>'
    assert [each.name for each in index(page).entries] == [b"y"]


def test_a_name_that_is_linked_twice_is_one_entry() -> None:
    """An icon before it, a page about it behind it."""
    page = """<title>Index of /</title><table><tr><td><a href="x.txt?view=1"><img></a></td>
    <td><a href="x.txt"><img></a></td><td><a href="x.txt">x.txt</a></td>
    <td>2026-11-26 01:55</td><td>12</td></tr>
    </table>"""
    assert index(page).entries == (Entry(b"x.txt", Kind.FILE, 12, AT),)


def test_an_entry_that_is_fetched_elsewhere() -> None:
    found = by_name(
        index('<title>Index of /</title><a href="a%20b?raw=1&amp;x=ü">a</a><a href="c%3Bd">c</a>')
    )
    assert found[b"a b"].url == "http://files.example/pub/sub/a%20b?raw=1&x=%C3%BC"
    assert found[b"c;d"].url == "http://files.example/pub/sub/c%3Bd", "an escaped ; may mean something else"


def test_a_folder_that_a_redirect_led_to() -> None:
    page = '<title>Index of /</title><a href="a%20b">a</a><a href="c/">c</a><a href="/old/x">x</a>'
    found = index(page, "http://files.example/new/", "http://files.example/old/")
    assert {each.name: each.url for each in found.entries} == {
        b"a b": "http://files.example/new/a%20b",
        b"c": "http://files.example/new/c/",
    }
    found = index(page, "http://files.example/o%6Cd/", "http://files.example/old/")
    assert {each.name: each.url for each in found.entries} == {b"a b": None, b"c": None, b"x": None}


def test_in_a_servers_root_its_menus_do_not_count() -> None:
    page = (
        "<nav><a href='/about'>about</a></nav><header><a href='/'>home</a></header><ul>"
        "<li><a href='/x'>x</a></li></ul><footer><a href='/imprint'>imprint</a></footer>"
    )
    assert [each.name for each in index(page, ROOT).entries] == [b"x"]


def test_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    page = "<title>Index of /</title>" + "".join(f'<a href="{number}">x</a>\n' for number in range(100))
    monkeypatch.setattr(limits, "LIST_ENTRIES", 10)
    found = index(page)
    assert (len(found.entries), found.partial) == (10, True)
    monkeypatch.setattr(limits, "LIST_ENTRIES", 100)
    assert not index(page).partial
    monkeypatch.setattr(limits, "HTML_CHARACTERS", 1_000)
    found = index(page)
    assert 10 < len(found.entries) < 100
    assert found.partial


@given(
    st.lists(st.binary(min_size=1, max_size=12).filter(lambda name: b"/" not in name and b"\0" not in name))
)
def test_any_names(names: list[bytes]) -> None:
    wanted = {name for name in names if name not in (b".", b"..")}
    links = "".join(f'<a href="{quote_from_bytes(name, safe="")}">x</a>\n' for name in wanted)
    found = index(f"<title>Index of /</title><pre>{links}</pre>")
    assert {each.name for each in found.entries} == wanted


def test_anchors_dots_and_second_links() -> None:
    """What leads nowhere is no entry; what the first of two links lacks is taken from beside the second."""
    found = index(
        "<title>Index of /</title><base><pre><a name='top'>top</a> <a href='./%2e'>.</a>"
        "<a href='x'>x</a>\n<a href='x'>x</a> 26-Nov-2026 01:55 12\n</pre>"
    )
    (entry,) = found.entries
    assert (entry.name, entry.size, entry.modified) == (b"x", 12, AT)


@given(st.binary(max_size=300))
def test_any_page_at_all(page: bytes) -> None:
    for start in (b"", b"<pre><a href='x'>", b"<table><tr><td><a href='x'></a></td><td>"):
        try:
            found = index(start + page)
        except WrongDocument:
            continue
        assert all(each.name and b"/" not in each.name for each in found.entries)
