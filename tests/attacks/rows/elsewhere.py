"""Far servers that lead elsewhere by data connections and listings."""

from collections.abc import Callable

from tests.adapters.ftp.scripted import Fault
from tests.attacks.attack import Attack
from tests.attacks.ground import Ground

_SSRF = "OWASP SSRF Prevention"


def _bounced(ground: Ground) -> str:
    """The scripted server refuses EPSV and names 10.0.0.1 in its PASV; the data come from itself."""
    ground.ftp.documents[b"/pub/bounce.txt"] = b"by way of the server itself\n"
    ground.ftp.address = "10,0,0,1"
    return ground.ask("TEXT files:bounce.txt")


def _extended(reply: str) -> Callable[[Ground], str]:
    def run(ground: Ground) -> str:
        ground.fresh.documents[b"/pub/bounce.txt"] = b"by way of the server itself\n"
        told = reply.replace("OTHER", str(ground.other.port))
        ground.fresh.faults["EPSV"] = Fault("say", told, times=9)
        try:
            return ground.ask("READ fresh:bounce.txt")
        finally:
            del ground.fresh.faults["EPSV"]

    return run


_MULTISTATUS = """<?xml version="1.0"?><d:multistatus xmlns:d="DAV:">%s</d:multistatus>"""
_ENTRY = (
    "<d:response><d:href>%s</d:href><d:propstat><d:prop><d:getcontentlength>7</d:getcontentlength></d:prop>"
    "<d:status>HTTP/1.1 200 OK</d:status></d:propstat></d:response>"
)


def _hrefs(*hrefs: str, reading: str = "READ #1") -> Callable[[Ground], str]:
    """A listing with these hrefs; its numbers are then read."""

    def run(ground: Ground) -> str:
        entries = "".join(_ENTRY % ground.placed(each) for each in ("/dav/", *hrefs))
        ground.far.on("/dav/").data((_MULTISTATUS % entries).encode(), "application/xml", status=207)
        return ground.ask("LIST cloud:", reading)

    return run


def _propfind_moved(ground: Ground) -> str:
    ground.far.on("/dav/gone/").redirect(f"{ground.raw.url}/dav/", 301)
    return ground.ask("LIST cloud:gone/")


def _ftp_names(ground: Ground) -> str:
    names = (b"good.txt", b"../../up", b"/etc/passwd", b"..", b"a/b")
    ground.fresh.list_lines = b"".join(b"-rw-r--r-- 1 o g 7 Nov 14 2001 %s\r\n" % name for name in names)
    try:
        return ground.ask("LIST fresh:")
    finally:
        ground.fresh.list_lines = b""


def _foreign_href(ground: Ground) -> str:
    """Only the path of an href counts: what it names is read from the place's own server."""
    ground.far.on("/dav/x.txt").text("its own")
    return _hrefs("OTHER/dav/x.txt", reading="TEXT #1")(ground)


def _index(ground: Ground) -> str:
    """Links as an index page has them: only what lies in the folder is an entry."""
    links = (
        "good.txt",
        "OTHER/secret.txt",
        "//127.0.0.2/x",
        "/etc/passwd",
        "../up",
        "%2e%2e/up",
        "a%2fb",
        "javascript:x",
        "file:///etc/passwd",
        "?C=N;O=D",
        "#top",
        "mailto:x",
        "..%5cup",
    )
    page = "".join(f'<a href="{ground.placed(each)}">x</a>\n' for each in links)
    ground.far.on("/pages/odd/").text(f"<h1>Index of /pages/odd</h1><pre>{page}</pre>", "text/html")
    ground.far.on("/pages/odd/good.txt").text("its own")
    return ground.ask("LIST pages:odd/", "TEXT #2") + "; " + ground.ask("TEXT pages:odd/..%5cup")


def _ftp(command: str, reply: str, request: str = "TEXT fresh:said.txt") -> Callable[[Ground], str]:
    """What the FTP server says to a command; and the commands of more than one line that it was given."""

    def run(ground: Ground) -> str:
        ground.fresh.documents[b"/pub/said.txt"] = b"its own\n"
        ground.fresh.faults[command] = Fault("say", reply, times=9)
        ground.fresh.told.clear()
        try:
            said = ground.ask(request)
        finally:
            del ground.fresh.faults[command]
        odd = [each for each in ground.fresh.told if b"\r" in each or b"\xff" in each]
        return f"{said}; {len(odd)} odd commands"

    return run


def _long_multistatus(ground: Ground) -> str:
    path = "/dav/long/"
    entries = "".join(_ENTRY % f"{path}{number:06d}" for number in range(25_000))
    ground.far.on(path).data((_MULTISTATUS % entries).encode(), "application/xml", status=207)
    said = ground.ask(f"LIST cloud:{path.removeprefix('/dav/')}")
    return f"{said[:3]}, {said.count('|') + 1:,} records{said[-4:]}"


def _long_listing(ground: Ground) -> str:
    ground.fresh.list_lines = b"-rw-r--r-- 1 o g 7 Nov 14 2001 name\r\n" * 500_000
    try:
        said = ground.ask("LIST fresh:")
    finally:
        ground.fresh.list_lines = b""
    return said if said.count("|") < 9 else f"{said[:3]}, {said.count('|') + 1:,} records{said[-4:]}"


ELSEWHERE = (
    Attack(
        "PASV to elsewhere",
        "FTP data connections",
        "RFC 2577 section 3; RFC 959 section 4.2 (227)",
        "227 with the address `10.0.0.1`: the port is taken, at the server itself",
        "200 by way of the server itself",
        _bounced,
        served=True,
    ),
    Attack(
        "EPSV to elsewhere",
        "FTP data connections",
        "RFC 2428 section 3",
        "229 `(|1|10.0.0.1|OTHER|)`",
        "551 The far server names no data port",
        _extended("229 here (|1|10.0.0.1|OTHER|)"),
        served=True,
    ),
    Attack(
        "a data port of a service",
        "FTP data connections",
        "RFC 2577 section 3 (ports below 1024)",
        "229 `(|||25|)`",
        "551 The far server names no data port",
        _extended("229 here (|||25|)"),
        served=True,
    ),
    Attack(
        "hrefs elsewhere",
        "WebDAV listings",
        f"RFC 4918 section 8.3; {_SSRF}",
        "hrefs of another host, of the same host outside the folder, with dots and encoded slashes",
        "200 (L); 550 No entry 1; there are 0",
        _hrefs(
            "OTHER/secret.txt",
            "//127.0.0.2/x",
            "/etc/passwd",
            "/dav/../up",
            "/dav/%2e%2e/up",
            "/dav/a%2fb",
            "file:///etc/passwd",
        ),
    ),
    Attack(
        "an href of another host",
        "WebDAV listings",
        f"RFC 4918 section 8.3; {_SSRF}",
        "an href of another host with the folder's own path, then read",
        "200 1 F         7            x.txt; 200 its own",
        _foreign_href,
        served=True,
    ),
    Attack(
        "PROPFIND led elsewhere",
        "WebDAV listings",
        "RFC 9110 section 15.4; RFC 4918 section 8.3",
        "301 to another server",
        "532 A redirect to another server",
        _propfind_moved,
    ),
    Attack(
        "names that are paths",
        "FTP listings",
        "CWE-22; RFC 3659 section 7.3",
        "LIST with `../../up`, `/etc/passwd`, `..` and `a/b` among the names",
        "200 1 F         7 2001-11-14 good.txt (L)",
        _ftp_names,
    ),
    Attack(
        "a Destination of one's own",
        "WebDAV moves",
        "RFC 4918 section 10.3; CWE-918",
        "`RENAME cloud:a http://127.0.0.1/b`",
        "532 URLs of that host may not be typed",
        lambda ground: ground.ask("RENAME cloud:a http://127.0.0.1/b"),
        served=True,
    ),
    Attack(
        "links of an index page",
        "index pages",
        f"{_SSRF}; CWE-22",
        "links to other hosts, outside the folder, and with other schemes",
        "200 1 F                      ..\\up|2 F                      good.txt (L); 200 its own; "
        "532 A ref may not leave its place",
        _index,
        served=True,
    ),
    Attack(
        "a folder that is a command",
        "FTP commands",
        "CWE-93; RFC 959 appendix II",
        "257 with a CR and `DELE` in the folder's name",
        "200 its own; 0 odd commands",
        _ftp("PWD", '257 "/x\rDELE y" here', "TEXT new-1:said.txt"),
        served=True,
    ),
    Attack(
        "a folder with Telnet codes",
        "FTP commands",
        "CWE-93; RFC 959 section 5.3; RFC 854",
        "257 with IAC IP in the folder's name",
        "200 its own; 0 odd commands",
        _ftp("PWD", '257 "/x\xff\xf4y" here', "TEXT new-2:said.txt"),
        served=True,
    ),
    Attack(
        "a password asked for again",
        "FTP",
        "RFC 959 section 5.4 (PASS)",
        "331 after PASS",
        "551 The far server does not speak FTP; 0 odd commands",
        _ftp("PASS", "331 once more", "TEXT new-3:said.txt"),
        served=True,
    ),
    Attack(
        "an FTP code beyond all",
        "FTP",
        "RFC 959 section 4.2",
        "999",
        "551 The far server does not speak FTP; 0 odd commands",
        _ftp("RETR", "999 what"),
        served=True,
    ),
    Attack(
        "an FTP reply of lines without end",
        "FTP",
        "CWE-770; RFC 959 section 4.2",
        "100,000 lines of one reply",
        "551 The far server does not speak FTP; 0 odd commands",
        _ftp("RETR", "150-x\r\n" + "x\r\n" * 100_000 + "150 x"),
    ),
    Attack(
        "a long FTP listing",
        "FTP listings",
        "CWE-400",
        "half a million lines, all of one name",
        "200 1 F         7 2001-11-14 name (L)",
        _long_listing,
        together=True,
    ),
    Attack(
        "a long WebDAV listing",
        "WebDAV listings",
        "CWE-400",
        "25,000 entries in one answer, more than are taken",
        "200, 20,000 records (*)",
        _long_multistatus,
        served=True,
        together=True,
    ),
)
