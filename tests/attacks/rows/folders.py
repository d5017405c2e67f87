"""Ways out of a folder on the gateway's own disk that lie on that disk, and changes."""

import os
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tests.attacks.attack import Attack, asking
from tests.attacks.ground import Ground

_PATHS = "CWE-22; OWASP Path Traversal"
_LINKS = "CWE-59; CWE-61"
_RACES = "CWE-367; CWE-362"
_CHANGES = f"{_PATHS}; CONTRACT section 3"


def _linked(make: Callable[[Ground], None], *requests: str) -> Callable[[Ground], str]:
    """What is made on the disk first, once."""

    def run(ground: Ground) -> str:
        make(ground)
        return ground.ask(*requests)

    return run


def _link(name: str, goal: str) -> Callable[[Ground], None]:
    def make(ground: Ground) -> None:
        (ground.disk / name).symlink_to(goal.replace("OUTSIDE", str(ground.outside)))

    return make


def _within(ground: Ground) -> None:
    (ground.disk / "real").mkdir()
    (ground.disk / "real" / "in.txt").write_text("inside\n")
    (ground.disk / "way").symlink_to("real/../real")


def _circle(ground: Ground) -> None:
    (ground.disk / "round").symlink_to("round2")
    (ground.disk / "round2").symlink_to("round")


def _special(ground: Ground) -> None:
    os.mkfifo(ground.disk / "fifo")
    with socket.socket(socket.AF_UNIX) as made:
        folder = os.open(ground.disk, os.O_RDONLY)  # a socket's path is short: unix(7)
        made.bind(f"/proc/self/fd/{folder}/socket")
        os.close(folder)


@contextmanager
def _swapping(ground: Ground, name: str) -> Iterator[None]:
    """Another program swaps a folder for a link that leads out, again and again, meanwhile."""
    real, link, at = (ground.disk / each for each in (f"{name}-real", f"{name}-link", name))
    real.mkdir()
    (real / "secret.txt").write_text("inside\n")
    link.symlink_to(ground.outside)
    real.rename(at)
    over = threading.Event()

    def swap() -> None:
        while not over.is_set():
            at.rename(real)
            link.rename(at)
            at.rename(link)
            real.rename(at)

    swapping = threading.Thread(target=swap)
    swapping.start()
    try:
        yield
    finally:
        over.set()
        swapping.join()


def _swapped(ground: Ground) -> str:
    with _swapping(ground, "swap"):
        said = {ground.ask("TEXT disk:swap/secret.txt") for _ in range(100)}
    allowed = {"200 inside", "550 Not there", "532 That leads out of the place"}
    return f"{len(said - allowed)} replies beyond these, 200 inside among them: {'200 inside' in said}"


def _swapped_under_changes(ground: Ground) -> str:
    """STORE, RENAME and ERASE of what has the same name inside and outside."""
    said = []
    with _swapping(ground, "swap2"):
        for _ in range(40):
            with ground.line() as line:
                said.append(line.ask("STORE disk:swap2/secret.txt"))
                if said[-1].startswith("350"):
                    line.put(b">mine\r\n.\r\n")
                    said.append(line.reply())
            said.append(ground.ask("RENAME disk:swap2/secret.txt disk:swap2/gone.txt"))
            said.append(ground.ask("ERASE disk:swap2/gone.txt"))
    kept = (ground.outside / "secret.txt").read_text() == "the secret\n"
    others = [each.name for each in ground.outside.iterdir() if each.name not in ("secret.txt", "state")]
    return f"250 among the replies: {'250' in said}; outside as it was: {kept and not others}"


def _stored(ref: str) -> Callable[[Ground], str]:
    """A STORE, with its line if it is taken; nothing outside may have changed."""

    def run(ground: Ground) -> str:
        before = sorted(str(each) for each in ground.outside.rglob("*") if "state" not in str(each))
        if not (ground.disk / "out-to-write").is_symlink():
            (ground.disk / "out-to-write").symlink_to(ground.outside)
            (ground.disk / "out-document").symlink_to(ground.outside / "secret.txt")
        with ground.line() as line:
            said = [line.ask(f"STORE {ref}")]
            if said[0].startswith("350"):
                line.put(b">mine\r\n.\r\n")
                said.append(line.reply())
        assert (ground.outside / "secret.txt").read_text() == "the secret\n"
        assert before == sorted(str(each) for each in ground.outside.rglob("*") if "state" not in str(each))
        return "; ".join(said)

    return run


def _erased_link(ground: Ground) -> str:
    (ground.disk / "to-erase").symlink_to(ground.outside / "secret.txt")
    said = ground.ask("ERASE disk:to-erase")
    return f"{said}; what it led to is {'there' if (ground.outside / 'secret.txt').exists() else 'gone'}"


def _odd_names(ground: Ground) -> str:
    """Names on the disk that want to be more: shown as blanks, and read by number."""
    folder = ground.disk / "odd"
    folder.mkdir()
    for name in (b"a\r\n200 00001", b"b\x1b[2J", b"-rf", "c\u2028d".encode(), b"e\xff"):
        path = os.fsencode(folder) + b"/" + name
        with open(path, "wb") as document:  # noqa: PTH123 - a Path has no bytes
            document.write(b"x")
        os.utime(path, (1_000_000_000, 1_000_000_000))
    return ground.ask("LIST disk:odd/", "READ #2")


def _short_out(ground: Ground) -> str:
    """Short names are of entries, and links that lead out stay what they are."""
    folder = ground.disk / "shorts"
    folder.mkdir()
    (folder / "a-long-name-that-leads-out").symlink_to(ground.outside)
    with ground.line() as line:
        line.ask("SET names=8.3")
        assert "A-LONG-N" in line.ask("LIST disk:shorts/")
        return f"{line.ask('READ disk:shorts/A-LONG-N/secret.txt')}; {line.ask('READ disk:..~1/x')}"


LINKS = (
    Attack(
        "a link out",
        "links",
        _LINKS,
        "a link to a folder outside",
        "532 That leads out of the place; 532 That leads out of the place",
        _linked(_link("out", "OUTSIDE"), "READ disk:out/secret.txt", "LIST disk:out/"),
        served=True,
    ),
    Attack(
        "a relative link out",
        "links",
        _LINKS,
        "`../outside` as a link's goal",
        "532 That leads out of the place",
        _linked(_link("out2", "../outside"), "READ disk:out2/secret.txt"),
        served=True,
    ),
    Attack(
        "a link to a document out",
        "links",
        _LINKS,
        "a link to the list of this system's users",
        "532 That leads out of the place; 532 That leads out of the place",
        _linked(_link("pw", "/etc/passwd"), "READ disk:pw", "TEXT disk:pw"),
        served=True,
    ),
    Attack(
        "a link to a process",
        "links",
        _LINKS,
        "a link to the gateway's own environment",
        "532 That leads out of the place",
        _linked(_link("env", "/proc/self/environ"), "READ disk:env"),
    ),
    Attack(
        "a link to a device",
        "links",
        "CWE-59; CWE-400",
        "a link to a device without end",
        "532 That leads out of the place",
        _linked(_link("zero", "/dev/zero"), "READ disk:zero"),
        served=True,
    ),
    Attack(
        "a link within",
        "links",
        _LINKS,
        "a link that leads within the place, by `..`: it is followed",
        "200 inside",
        _linked(_within, "TEXT disk:way/in.txt"),
        served=True,
    ),
    Attack(
        "links in a circle",
        "links",
        "CWE-835; path_resolution(7)",
        "two links to each other",
        "532 Links that lead in a circle",
        _linked(_circle, "READ disk:round/x"),
        served=True,
    ),
    Attack(
        "a FIFO and a socket",
        "special files",
        "CWE-400; OWASP (blocking open)",
        "READ of each: neither is opened",
        "532 That is no document; 532 That is no document",
        _linked(_special, "READ disk:fifo", "READ disk:socket"),
        served=True,
    ),
    Attack(
        "a link swapped in",
        "links",
        f"{_RACES}; openat(2)",
        "a folder becomes a link out, and back, while it is read a hundred times",
        "0 replies beyond these, 200 inside among them: True",
        _swapped,
    ),
)

CHANGES = (
    Attack(
        "a link swapped in under changes",
        "links",
        f"{_RACES}; openat(2)",
        "the same, while STORE, RENAME and ERASE are tried 40 times each",
        "250 among the replies: True; outside as it was: True",
        _swapped_under_changes,
    ),
    Attack(
        "STORE by dots",
        "changes",
        _CHANGES,
        "`STORE disk:../outside/new.txt`",
        "550 No such folder there",
        _stored("disk:../outside/new.txt"),
        served=True,
    ),
    Attack(
        "STORE by a link to a folder",
        "changes",
        f"{_LINKS}; {_RACES}",
        "`STORE disk:out-to-write/new.txt`",
        "532 That leads out of the place",
        _stored("disk:out-to-write/new.txt"),
        served=True,
    ),
    Attack(
        "STORE by a link to a document",
        "changes",
        f"{_LINKS}; {_RACES}",
        "`STORE disk:out-document`",
        "532 That leads out of the place",
        _stored("disk:out-document"),
        served=True,
    ),
    Attack(
        "STORE on the place itself",
        "changes",
        _CHANGES,
        "`STORE disk:` and `STORE disk:..`",
        "502 A folder takes no data; add a name; 502 A folder takes no data; add a name",
        asking("STORE disk:", "STORE disk:.."),
        served=True,
    ),
    Attack(
        "RENAME out",
        "changes",
        _CHANGES,
        "`RENAME disk:a disk:..%2foutside%2fb`",
        "532 A ref may not leave its place",
        asking("RENAME disk:a disk:..%2foutside%2fb"),
        served=True,
    ),
    Attack(
        "COPY in",
        "changes",
        _CHANGES,
        "`COPY file:///etc/passwd disk:x`",
        "532 A file URL may not be typed",
        asking("COPY file:///etc/passwd disk:x"),
        served=True,
    ),
    Attack(
        "MKDIR out",
        "changes",
        _CHANGES,
        "`MKDIR disk:..%5cnew/`",
        "532 A ref may not leave its place",
        asking("MKDIR disk:..%5cnew/"),
        served=True,
    ),
    Attack(
        "ERASE the place",
        "changes",
        _CHANGES,
        "`ERASE disk:` and `ERASE disk:..`",
        "502 That is the place itself; 502 That is the place itself",
        asking("ERASE disk:", "ERASE disk:.."),
        served=True,
    ),
    Attack(
        "ERASE a link",
        "changes",
        _LINKS,
        "a link to a document outside: the link goes",
        "250; what it led to is there",
        _erased_link,
        served=True,
    ),
    Attack(
        "names on the disk",
        "listings",
        "CWE-93; CWE-150",
        "names with CR LF, ESC, U+2028, `-rf` and bytes that are no UTF-8",
        "200 1 F         1 2001-09-09 -rf|2 F         1 2001-09-09 a 200 00001|"
        "3 F         1 2001-09-09 b [2J|4 F         1 2001-09-09 c d|5 F         1 2001-09-09 ey; 200 78",
        _odd_names,
        served=True,
    ),
    Attack(
        "short names",
        "8.3 names",
        _PATHS,
        "`names=8.3`, and short names of a link out and of dots",
        "532 That leads out of the place; 550 Not there",
        _short_out,
        served=True,
    ),
    Attack(
        "no write",
        "changes",
        "CWE-284; CONTRACT section 4",
        "every change at a place without `write`",
        "; ".join(["532 RAW is for reading only"] * 6),
        asking(
            "STORE raw:x",
            "APPEND raw:x",
            "ERASE raw:x",
            "RENAME raw:x raw:y",
            "MKDIR raw:x/",
            "COPY raw:x raw:y",
        ),
    ),
)

FOLDERS = (*LINKS, *CHANGES)
