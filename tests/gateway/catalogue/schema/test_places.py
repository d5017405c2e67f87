"""[place.NAME]: bases, credentials."""

import pytest

from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.model import Catalogue, LineEnd, SecretRef
from gateway.catalogue.reading import load_catalogue
from tests.gateway.catalogue.marked import SECRETS, check, load, mistakes

WRONG = {
    "scheme": 'base = "htps://a.example/"\n        ^^^^ https',
    "no scheme": 'base = "files.example/pub"\n        ^^^^^^^^^^^^^^^^^ https://files.example/pub',
    "user part": 'base = "ftp://me:pw@a.example/"\n              ^^^^^^',
    "query": 'base = "https://a.example/x?y=1"\n                           ^^^^',
    "fragment": 'base = "https://a.example/x#y"\n                           ^^',
    "dots": 'base = "ftp://a.example/x/../y/"\n                       ^^^^^^^^ ftp://a.example/y/',
    "host": 'base = "https://a_.b..example/"\n                ^^^^^^^^^^^^^',
    "port": 'base = "https://a.example:99999/"\n                          ^^^^^',
    "no port": 'base = "tcp://a.example"\n              ^^^^^^^^^',
    "stream with a path": 'base = "tcp://a.example:7/x"\n                         ^^',
    "blank": 'base = "https://a.example/my files/"\n                            ^',
    "secret alone": 'base = "ftp://a.example/"\nsecret = "env:KEY"\n^^^^^^',
    "write": 'base = "ftp://a.example/"\nwrite = "on"\n         ^^ true',
    "index": 'base = "http://a.example/"\nindex = "htm"\n         ^^^ html',
    "index pages by FTP": 'base = "ftp://a.example/"\nindex = "html"\n^^^^^',
    "index pages by WebDAV": 'base = "davs://a.example/"\nindex = "html"\n^^^^^',
    "user with a folder": 'base = "file:///srv/x"\nuser = "me"\n^^^^',
    "ca with a folder": 'base = "file:///srv/x"\nca = "x.pem"\n^^',
    "user with a stream": 'base = "telnet://a.example"\nuser = "me"\n^^^^',
    "secret with a stream": 'base = "TCP://a.example:7"\nuser = "me"\n^^^^\nsecret = "env:KEY"\n^^^^^^',
    "secret with a folder": 'base = "file:///srv/x"\nuser = "me"\n^^^^\nsecret = "env:KEY"\n^^^^^^',
    "all at once": 'base = "file:/x"\n        ^^^^^^^ file:///x\nuser = "me"\n^^^^\nca = "x.pem"\n^^',
    "a relative path": 'base = "shelf/"\n        ^^^^^^',
    "a path": 'base = "/srv/x"\n        ^^^^^^ file:///srv/x',
    "a drive": 'base = "C:/files"\n        ^^^^^^^^',
    "RFC 8089 appendix B": 'base = "file:/tmp/x"\n        ^^^^^^^^^^^ file:///tmp/x',
    "lines": 'base = "ftp://a.example/"\nlines = "crfl"\n         ^^^^ crlf',
    "file on another host": 'base = "file://far.example/srv/"\n               ^^^^^^^^^^^',
    "no base": 'url = "ftp://a.example/"\n^^^ base',
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    check(f"[place.club]\n{lines}")


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("ftp://files.example/pub", "ftp://files.example/pub/"),
        ("HTTPS://Files.Example:443", "https://files.example/"),
        ("davs://files.example:8443/a/", "davs://files.example:8443/a/"),
        ("file:///srv/my%20files", "file:///srv/my%20files/"),
        ("http://[2001:DB8::1]:80/ü", "http://[2001:db8::1]/%C3%BC/"),
        ("file://localhost/srv/x/", "file:///srv/x/"),
        ("file:///", "file:///"),
        ("ftps://files.example/", "ftps://files.example/"),
        ("ftps://files.example:21/", "ftps://files.example/"),
        ("ftps://files.example:990/", "ftps://files.example:990/"),
        ("tcp://wire.example:7000", "tcp://wire.example:7000"),
        ("telnet://wire.example/", "telnet://wire.example"),
        ("udp://192.0.2.1:7", "udp://192.0.2.1:7"),
    ],
)
def test_bases(written: str, read: str) -> None:
    assert load(f'[place.club]\nbase = "{written}"\n').places["CLUB"].base == read


def test_what_is_read() -> None:
    place = load("""
[place.Club]
base = "ftp://files.example/"
user = "reader"
secret = "file:keys/club"
write = true
ca = "certs/club.pem"
""").places["CLUB"]
    assert (place.name, place.user, place.write, place.ca) == ("CLUB", "reader", True, "certs/club.pem")
    assert place.secret == SecretRef("file:keys/club")
    assert (place.index, place.lines, place.charset, place.raw) == ("", None, "utf-8", False)


def test_how_folders_and_lines_are_there() -> None:
    places = load("""
[place.a]
base = "https://a.example/"
index = "HTML"
lines = "cr"
[place.b]
base = "http://b.example/"
index = "html"
lines = "crlf"
""").places
    assert (places["A"].index, places["A"].lines) == ("html", LineEnd.CR)
    assert (places["B"].index, places["B"].lines) == ("html", LineEnd.CRLF)
    assert [each.data for each in LineEnd] == [b"\n", b"\r\n", b"\r"]


@pytest.mark.parametrize("written", ["shelf/", "C:/files", "/srv/x", "file:/tmp/x", "file:x", "shelf"])
def test_a_path_is_told_how_a_folder_is_written(written: str) -> None:
    (mistake,) = mistakes(f'[place.club]\nbase = "{written}"\n')
    assert mistake.allowed == "scheme://host/path, or file:///path for a folder of this computer"


def test_index_with_a_base_that_has_no_pages() -> None:
    for scheme, article in (("dav", "a"), ("ftp", "an"), ("file", "a")):
        (mistake,) = mistakes(
            f'[place.p]\nbase = "{scheme}:///x/"\nindex = "html"\n'.replace(
                ":///x", ":///x" if scheme == "file" else "://a.example/x"
            )
        )
        assert mistake.found == f"index, with {article} {scheme} base"
        assert mistake.allowed == "index only with a base of http or https"


def test_a_mistaken_scheme_is_told_all_of_them() -> None:
    (mistake,) = mistakes('[place.p]\nbase = "htps://a.example/"\n')
    (missing,) = mistakes("[place.p]\n")
    for allowed in (mistake.allowed, missing.allowed):
        assert "davs ftp ftps file tcp tls telnet udp" in allowed


STREAM = '[place.s]\nbase = "tcp://far.example:7"\n'


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('[place.s]\nbase = "http://far.example/"\nraw = true\n', "raw, with a base of http"),
        ('[place.s]\nbase = "ftp://far.example/"\ncharset = "cp437"\n', "charset, with a base of ftp"),
        (f'{STREAM}raw = true\ncharset = "cp437"\n', "charset, with raw = true"),
        (f'{STREAM}raw = true\nlines = "lf"\n', "lines, with raw = true"),
        ('[place.s]\nbase = "udp://far.example:7"\nraw = true\n', "raw, with udp"),
        (f'{STREAM}charset = "utf-16"\n', '"utf-16", which is no charset for a stream'),
        (f'{STREAM}charset = "cp037"\n', '"cp037", which is no charset for a stream'),  # ASCII elsewhere
        (f'{STREAM}charset = "rot13"\n', '"rot13", which is no charset for a stream'),
        (f'{STREAM}charset = "no-such"\n', '"no-such", which is no charset for a stream'),
    ],
)
def test_what_is_wrong_about_a_stream(text: str, found: str) -> None:
    (mistake,) = mistakes(text)
    assert mistake.found == found


def test_streams() -> None:
    places = load(f"""{STREAM}charset = "ISO-8859-1"
lines = "cr"
[place.t]
base = "telnet://far.example"
raw = true
""").places
    assert (places["S"].charset, places["S"].lines, places["S"].is_stream) == ("iso8859-1", LineEnd.CR, True)
    assert (places["T"].base, places["T"].raw, places["T"].is_stream) == ("telnet://far.example", True, True)


def test_a_source_is_no_stream() -> None:
    field = '[[source.x.field]]\nname = "A"\nwidth = 1\n'
    (mistake,) = mistakes(f'{STREAM}[source.x]\nurl = "s:"\n{field}')
    assert mistake.found == "a stream, which has no documents"
    (mistake,) = mistakes(f'[source.x]\nurl = "tcp://far.example:7/x"\n{field}')
    assert mistake.found == "a stream, which has no documents"


def test_a_folder_of_this_computer_is_looked_at() -> None:
    asked: list[str] = []

    def check_folder(base: str) -> str | None:
        asked.append(base)
        return None if base == "file:///srv/good/" else "is not there"

    def read(base: str) -> Catalogue:
        text = f'[place.p]\nbase = "{base}"\n'
        return load_catalogue(text, "f", SECRETS.get, check_folder=check_folder)

    assert read("file:///srv/good").places["P"].base == "file:///srv/good/"
    read("ftp://a.example/")
    with pytest.raises(CatalogueFaults) as caught:
        read("file:///srv/bad%20one")
    assert asked == ["file:///srv/good/", "file:///srv/bad%20one/"]
    (mistake,) = caught.value.mistakes
    assert (mistake.column, mistake.length) == (9, len("file:///srv/bad%20one"))
    assert mistake.found == '"file:///srv/bad%20one", which is not there'
    assert mistake.allowed == "file:///path for a folder of this computer"
