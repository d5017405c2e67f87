import logging
import os
import subprocess
import sys
import time
import tracemalloc
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from itertools import count
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.files import Entry, Kind, Listing, Stat, Written
from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Message, Told
from adapters.recorded.folder import FolderFault
from adapters.recorded.tree.site import SITE
from tests.adapters.recorded.exchanges import NOON, exchanges, folder, got, loaded, sized
from tests.disks import largest_file

MOLE = "https://tides.example/v1/mole/events"


def files(path: Path) -> set[str]:
    return {str(each.relative_to(path)) for each in path.rglob("*") if each.is_file()}


_fresh = count()


@settings(max_examples=80)
@given(exchanges())
def test_what_is_added_comes_back(tmp_path_factory: pytest.TempPathFactory, exchange: Exchange) -> None:
    path = tmp_path_factory.getbasetemp() / f"site{next(_fresh)}"
    made = folder(path)
    assert made.add(exchange).is_relative_to(path)
    for each in (made, loaded(path)):
        assert [sized(one) for one in each.exchanges()] == [exchange]
        assert [sized(one) for one in each.find(exchange.asked)] == [exchange]


@settings(max_examples=30)
@given(st.lists(exchanges(), max_size=5))
def test_many_are_the_same_when_loaded(
    tmp_path_factory: pytest.TempPathFactory, several: list[Exchange]
) -> None:
    path = tmp_path_factory.getbasetemp() / f"site{next(_fresh)}"
    made = folder(path)
    for exchange in several:
        made.add(exchange)
    kept = [sized(each) for each in made.exchanges()]
    assert [sized(each) for each in loaded(path).exchanges()] == kept
    assert sum(each.times for each in kept) == sum(each.times for each in several)


def test_ordinary_urls_have_readable_names(tmp_path: Path) -> None:
    made = folder(tmp_path / "site")
    made.add(got(MOLE))
    made.add(got(f"{MOLE}?station=mole", b"<p>", kind="text/html; charset=utf-8"))
    made.add(got("http://tides.example:8080/", b"x", kind="text/plain"))
    told = Told(stat=Stat(Kind.FILE), content=Content(b"low"))
    made.add(Exchange(Asked("READ", "ftp://quay.example/logs/tide.txt"), told, NOON))
    made.add(Exchange(Asked("LIST", "ftp://quay.example/logs/"), Told(listing=Listing(())), NOON))
    body = Content(b"\x00\x01")
    made.add(Exchange(Asked("WRITE", "ftp://quay.example/a.bin", body=body), Told(written=Written(2)), NOON))
    assert files(made.path) == {
        "site.toml",
        "https/tides.example/v1/mole/events.1.toml",
        "https/tides.example/v1/mole/events.1.json",
        "https/tides.example/v1/mole/events,station_mole.1.toml",
        "https/tides.example/v1/mole/events,station_mole.1.html",
        "http/tides.example,8080/index.1.toml",
        "http/tides.example,8080/index.1.txt",
        "ftp/quay.example/logs/tide.1.toml",
        "ftp/quay.example/logs/tide.1.txt",
        "ftp/quay.example/logs/index,list.1.toml",
        "ftp/quay.example/a,write.1.toml",
        "ftp/quay.example/a,write.1.request.bin",
    }


def test_a_file_s_name_says_nothing(tmp_path: Path) -> None:
    toml = folder(tmp_path).add(got(MOLE, b"[1]"))
    moved = tmp_path / "mine" / "tides.toml"
    moved.parent.mkdir()
    moved.write_text(toml.read_text().replace("events.1.json", "tide table.json"))
    toml.with_name("events.1.json").rename(moved.with_name("tide table.json"))
    toml.unlink()
    made = loaded(tmp_path)
    (exchange,) = made.find(Asked("GET", MOLE))
    assert sized(exchange) == got(MOLE, b"[1]")
    assert made.path_of(exchange) == moved
    assert made.shown(exchange) == f"{MOLE} (mine/tides.toml)"


def test_a_listing_with_names_in_latin_1(tmp_path: Path) -> None:
    listing = Listing((Entry(b"caf\xe9.txt", Kind.FILE, 3, NOON), Entry("übersicht".encode(), Kind.FOLDER)))
    asked = Asked("LIST", "ftp://quay.example/caf%E9/")
    folder(tmp_path).add(Exchange(asked, Told(listing=listing), NOON))
    (exchange,) = loaded(tmp_path).find(asked)
    assert exchange.reply == Told(listing=listing)


def test_mistakes_are_told_with_their_files(tmp_path: Path) -> None:
    made = folder(tmp_path)
    one, other = made.add(got(MOLE)), made.add(got("http://tides.example/a"))
    one.write_text(one.read_text().replace("status = 200", 'status = "ok"\nbodi = 1'))
    other.with_name("a.1.json").unlink()
    (tmp_path / "odd.toml").write_bytes(b"\xff")
    (tmp_path / "site.toml").write_text("format = 99\n")
    with pytest.raises(FolderFault) as raised:
        loaded(tmp_path)
    assert sorted(raised.value.mistakes) == [
        "http/tides.example/a.1.toml: response.body: there is no file 'a.1.json' beside it",
        "https/tides.example/v1/mole/events.1.toml: response.bodi: there is no such key",
        "https/tides.example/v1/mole/events.1.toml: response.status: not a whole number",
        "odd.toml: not UTF-8, from byte 1 on",
        "site.toml: format: 99 is newer than this program, which knows 1",
    ]
    assert str(raised.value) == "\n".join(raised.value.mistakes)


def test_a_body_is_never_read_from_another_folder(tmp_path: Path) -> None:
    toml = folder(tmp_path / "site").add(got(MOLE))
    (tmp_path / "site/https/tides.example/v1/secret.json").write_text("{}")
    toml.write_text(toml.read_text().replace("events.1.json", "../secret.json"))
    with pytest.raises(FolderFault, match="no file"):
        loaded(tmp_path / "site")


def test_a_body_is_never_read_through_a_link(tmp_path: Path) -> None:
    """A recording may come from somebody else; a link in it could lead to any file of this machine."""
    toml = folder(tmp_path / "site").add(got(MOLE))
    (tmp_path / "key").write_text("a key")
    body = toml.with_name("events.1.json")
    assert body.is_file()
    body.unlink()
    body.symlink_to(tmp_path / "key")
    with pytest.raises(FolderFault, match="no file"):
        loaded(tmp_path / "site")


def test_nothing_is_written_where_a_link_leads_out(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (tmp_path / "site").mkdir()
    (tmp_path / "site/https").symlink_to(outside)
    with pytest.raises(OSError, match="leads out"):
        folder(tmp_path / "site").add(got(MOLE))
    assert files(outside) == set()


def test_nothing_there_is_an_empty_folder(tmp_path: Path) -> None:
    made = loaded(tmp_path / "new")
    assert (list(made.exchanges()), made.find(Asked("GET", MOLE)), made.latest) == ([], [], None)
    assert made.missing(Asked("GET", MOLE)).nearest == ""
    (tmp_path / "file").touch()
    with pytest.raises(NotADirectoryError):
        loaded(tmp_path / "file")


# In a row


def test_the_same_again_only_counts(tmp_path: Path) -> None:
    made = folder(tmp_path)
    dated = [
        replace(
            got(MOLE, seconds=second),
            reply=Message(200, (("Date", f"Sun, 17 May 2026 12:00:0{second} GMT"),), Content(b"1")),
        )
        for second in range(3)
    ]
    paths = {made.add(each) for each in dated}
    assert len(paths) == 1
    (kept,) = loaded(tmp_path).exchanges()
    assert (kept.times, kept.at) == (3, NOON)
    assert [made.find(kept.asked)[0].times, made.path_of(dated[0])] == [3, paths.pop()]


def test_answers_in_turn_keep_their_order(tmp_path: Path) -> None:
    made = folder(tmp_path)
    said = [b"1", b"2", b"2", b"1"]
    for body in said:  # at one and the same time, as with a clock that stands still
        made.add(got(MOLE, body))
    for each in (made, loaded(tmp_path)):
        found = each.find(Asked("GET", MOLE))
        assert [(one.reply.content.read(), one.times) for one in found] == [(b"1", 1), (b"2", 2), (b"1", 1)]  # type: ignore[union-attr]


def test_more_than_ten_answers_keep_their_order(tmp_path: Path) -> None:
    made = folder(tmp_path)
    for number in range(12):
        made.add(got(MOLE, b"%d" % number))
    found = loaded(tmp_path).find(Asked("GET", MOLE))
    assert [int(sized(each).reply.content.data) for each in found] == list(range(12))  # type: ignore[union-attr]


def test_what_was_edited_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    made = folder(tmp_path)
    toml = made.add(got(MOLE, seconds=0))
    edited = toml.read_text().replace("status = 200", "status = 404")
    toml.write_text(edited)
    assert made.add(got(MOLE, seconds=1)) != toml
    assert toml.read_text() == edited
    toml.unlink()
    made.add(got(MOLE, seconds=2))
    assert len(list(loaded(tmp_path).exchanges())) == 1


def test_a_body_removed_by_hand_is_not_the_same(tmp_path: Path) -> None:
    made = folder(tmp_path)
    toml = made.add(got(MOLE, b"[]"))
    toml.with_name("events.1.json").unlink()
    assert made.add(got(MOLE, b"[]")) != toml


# Finding


def test_requests_that_are_the_same(tmp_path: Path) -> None:
    made = folder(tmp_path)
    json = (("Content-Type", "application/json"),)
    asked = Asked("POST", "http://tides.example:80/a/../b%7e?x=1&y=2", json, Content(b'{"a": 1.0, "b": [2]}'))
    made.add(Exchange(asked, Message(204), NOON))
    for each in (made, loaded(tmp_path)):
        same = Asked("POST", "HTTP://Tides.example/b~?y=2&x=1#top", json, Content(b'{"b":[2.00],"a":1}'))
        assert len(each.find(same)) == 1
        assert each.find(replace(same, method="PUT")) == []
        assert each.find(replace(same, body=Content(b"{}"))) == []
        assert each.find(replace(same, body=None)) == []
        assert each.find(replace(same, headers=())) == []  # as bytes they differ
        assert each.missing(replace(same, body=Content(b"{}"))).differs == "the body: from byte 2 on"


def test_two_requests_with_other_bodies_are_two(tmp_path: Path) -> None:
    made = folder(tmp_path)
    for number in range(3):
        body = Content(b"%d" % number * 3000)
        asked = Asked("WRITE", "ftp://quay.example/a", body=body)
        made.add(Exchange(asked, Told(written=Written(number)), NOON))
    (found,) = loaded(tmp_path).find(Asked("WRITE", "ftp://quay.example/a", body=Content(b"1" * 3000)))
    assert found.reply == Told(written=Written(1))


def test_the_other_end_counts(tmp_path: Path) -> None:
    made = folder(tmp_path)
    asked = Asked("RENAME", "ftp://quay.example/a", to="ftp://quay.example/b")
    made.add(Exchange(asked, Told(), NOON))
    assert len(made.find(asked)) == 1
    assert made.find(replace(asked, to="ftp://quay.example/c")) == []


def test_a_large_body_with_a_secret_in_it(tmp_path: Path) -> None:
    made = folder(tmp_path, "open-sesame")
    for words in (b"open-sesame", b"nothing"):
        asked = Asked("WRITE", "ftp://quay.example/a", body=Content(words + b"\n" * (1 << 20)))
        made.add(Exchange(asked, Told(written=Written(len(words))), NOON))
        assert [each.reply for each in made.find(asked)] == [Told(written=Written(len(words)))]


def test_an_edited_body_is_seen_without_a_restart(tmp_path: Path) -> None:
    made = folder(tmp_path)
    asked = Asked("WRITE", "ftp://quay.example/a", body=Content(b"\x00one"))
    toml = made.add(Exchange(asked, Told(written=Written(4)), NOON))
    assert made.find(asked)
    body = toml.with_name("a,write.1.request.bin")
    body.write_bytes(b"\x00other")
    assert made.find(asked) == []
    assert made.find(replace(asked, body=Content(b"\x00other")))
    body.unlink()
    assert made.find(asked) == []


def test_used_and_older(tmp_path: Path) -> None:
    made = folder(tmp_path)
    for number in range(3):
        made.add(got(f"{MOLE}/{number}", seconds=number))
    made = loaded(tmp_path)
    one, two, three = made.exchanges()
    made.used(two)
    assert made.unused() == [one, three]
    assert made.older(NOON + timedelta(seconds=1)) == [one]
    assert made.latest == NOON + timedelta(seconds=2)
    with pytest.raises(KeyError):
        made.path_of(got("http://a.example/"))
    draft = made.draft()
    draft.keep(Asked("GET", "http://a.example/"), Failure("TooSlow", "Too slow"))
    assert made.unused() == [one, three]


def test_until_a_time(tmp_path: Path) -> None:
    made = folder(tmp_path)
    for number in range(4):
        made.add(got(MOLE, b"%d" % number, seconds=number))
    made = loaded(tmp_path)
    found = made.until(Asked("GET", MOLE), NOON + timedelta(seconds=2))
    assert list(found) == list(made.exchanges())[2::-1]
    assert list(made.until(Asked("GET", MOLE), NOON - timedelta(seconds=1))) == []
    assert list(made.until(Asked("GET", f"{MOLE}/no"), NOON)) == []


# Secrets


def test_what_was_hidden_is_listed_across_runs(tmp_path: Path) -> None:
    secret = replace(got(MOLE), asked=Asked("GET", MOLE, (("Authorization", "Bearer sesame"),)))
    folder(tmp_path).add(secret)
    assert loaded(tmp_path).hidden == ("header Authorization of https://tides.example",)
    keyed = got("http://tides.example/?api_key=sesame")
    loaded(tmp_path).add(keyed)
    assert loaded(tmp_path).hidden == (
        "header Authorization of https://tides.example",
        "query api_key of http://tides.example",
    )


def test_a_list_of_what_was_hidden_that_cannot_be_read_is_not_written_over(tmp_path: Path) -> None:
    kept = folder(tmp_path)
    (tmp_path / SITE).write_text("hidden = [")
    with pytest.raises(ValueError, match=SITE):
        kept._write_site()
    assert (tmp_path / SITE).read_text() == "hidden = ["


def test_found_with_other_keys_or_none(tmp_path: Path) -> None:
    made = folder(tmp_path, "open-sesame", names=["club"])
    headers = (("Club", "open-sesame"), ("Accept", "text/plain"), ("Host", "tides.example"))
    asked = Asked(
        "POST", "http://tides.example/open-sesame/a?club=open-sesame&b=1", headers, Content(b"open-sesame")
    )
    made.add(Exchange(asked, Message(200, (), Content(b"You said open-sesame.")), NOON))
    other = replace(asked, url="http://tides.example/my-other-key/a?b=1&club=my-other-key", headers=())
    found = loaded(tmp_path, "my-other-key", names=["club"]).find(
        replace(other, body=Content(b"my-other-key"))
    )
    assert len(found) == 1
    plain = Asked("POST", "http://tides.example/***/a?b=1", body=Content(b"***"))
    assert loaded(tmp_path).find(plain) == found
    assert found[0].asked.headers == (("Accept", "text/plain"),)
    assert sized(found[0]).reply == Message(200, (), Content(b"You said ***********."))
    for name in files(tmp_path):
        assert b"sesame" not in (tmp_path / name).read_bytes()
        assert "sesame" not in name


# Disks and processes


def test_other_processes_write_over_nothing(tmp_path: Path) -> None:
    program = (
        "import sys; from pathlib import Path; from tests.adapters.recorded.exchanges import *\n"
        "made = folder(Path(sys.argv[1]))\n"
        "for number in range(60):\n"
        f"    made.add(got({MOLE!r}, f'{{sys.argv[2]}} {{number}}'.encode()))\n"
    )
    running = [
        subprocess.Popen([sys.executable, "-c", program, str(tmp_path), str(each)]) for each in range(2)
    ]
    assert [each.wait() for each in running] == [0, 0]
    said = Counter(sized(each).reply.content.data for each in loaded(tmp_path).exchanges())  # type: ignore[union-attr]
    assert said == Counter(b"%d %d" % (one, other) for one in range(2) for other in range(60))


def test_a_restart_writes_over_nothing(tmp_path: Path) -> None:
    for number in range(3):
        folder(tmp_path).add(got(MOLE, b"%d" % number))  # not loaded: it knows of no other
    assert len(list(loaded(tmp_path).exchanges())) == 3


_KILLED = """
import os, signal, sys
from pathlib import Path
from tests.adapters.recorded.exchanges import *

PATH = Path(sys.argv[1])
STEPS = {"open", "os.rename", "os.mkdir", "fcntl.flock", "os.remove"}

def record(step):
    left = [step]
    def each(event, args):
        if event in STEPS and str(PATH) in str(args[0]) or event == "fcntl.flock":
            left[0] -= 1
            if not left[0]:
                os.kill(os.getpid(), signal.SIGKILL)
    sys.addaudithook(each)
    made = folder(PATH / str(step))
    for number in range(2):
        draft = made.draft()
        for _ in range(3):
            draft.add(b"0123456789" * 700)
        body = Content(b"\\0" * 70_000)
        asked = Asked("POST", "http://tides.example/a?api_key=1", body=body)
        draft.keep(asked, Message(200, (), draft.content()))

for step in range(1, 1000):
    child = os.fork()
    if not child:
        record(step)
        os._exit(0)
    if os.waitpid(child, 0)[1] == 0:
        break
print(step)
"""


def test_killed_at_any_step_what_was_complete_is_read(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", _KILLED, str(tmp_path)], check=True, capture_output=True, text=True
    )
    steps = int(done.stdout)
    assert steps > 15
    complete = []
    for step in range(1, steps + 1):
        made = loaded(tmp_path / str(step))
        kept = [sized(each) for each in made.exchanges()]
        for each in kept:
            assert isinstance(each.reply, Message)
            assert (each.asked.body, each.reply.content) == (
                Content(b"\0" * 70_000),
                Content(b"0123456789" * 2100),
            )
        complete.append(sum(each.times for each in kept))
        made.add(got(MOLE))
        assert not [name for name in files(made.path) if name.endswith(".part")]
        assert len(list(loaded(made.path).exchanges())) == len(kept) + 1
    assert complete == sorted(complete)
    assert set(complete) == {0, 1, 2}


def test_a_full_disk_is_told_once_and_stops_nothing(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    made = folder(tmp_path)
    made.add(got(MOLE))
    with largest_file(4096):
        for _ in range(3):
            draft = made.draft()
            draft.add(b"x" * 8000)
            draft.add(b"y")
            draft.keep(Asked("GET", MOLE), Message(200, (), draft.content()))
            asked = Asked("WRITE", "ftp://quay.example/a", body=Content(b"\0" * 8000))
            made.draft().keep(asked, Told(written=Written(8000)))
        assert len(caplog.records) == 1
    assert caplog.records[0].levelno == logging.ERROR
    assert caplog.messages == ["an exchange was not recorded: File too large"]
    kept = {f"https/tides.example/v1/mole/events.1.{each}" for each in ("toml", "json")}
    assert files(tmp_path) == {"site.toml", *kept}
    made.add(got(MOLE, b"[2]"))
    assert len(list(loaded(tmp_path).exchanges())) == 2


def test_two_thousand_are_read_in_time(tmp_path: Path) -> None:
    toml = folder(tmp_path).add(got("http://tides.example/NUMBER"))
    text = toml.read_text()
    toml.unlink()
    for number in range(2000):
        name = tmp_path / str(number % 40) / f"{number}"
        name.parent.mkdir(exist_ok=True)
        name.with_suffix(".1.json").write_bytes(b"%d" % number)
        url = f"{number % 40}/{number}?a={number}"
        name.with_suffix(".toml").write_text(
            text.replace("number.1.json", f"{number}.1.json").replace("NUMBER", url)
        )
    started = time.perf_counter()
    made = loaded(tmp_path)
    took = time.perf_counter() - started
    assert len(list(made.exchanges())) == 2000
    assert took < 4  # alone on two cores it is below one
    started = time.perf_counter()
    for number in range(0, 2000, 20):
        assert len(made.find(Asked("GET", f"http://tides.example/{number % 40}/{number}?a={number}"))) == 1
    assert time.perf_counter() - started < 1


def test_large_bodies_are_not_held_in_memory(tmp_path: Path) -> None:
    size = 30 << 20
    big = tmp_path / "big"
    with big.open("wb") as file:
        file.truncate(size)
    tracemalloc.start()
    try:
        made = folder(tmp_path / "site")
        draft = made.draft()
        for _ in range(size // 65_536):
            draft.add(bytes(65_536))
        asked = Asked("WRITE", "ftp://quay.example/a", body=Content(path=big))
        draft.keep(asked, Told(stat=Stat(Kind.FILE), content=draft.content(), written=Written(size)))
        made = loaded(tmp_path / "site")
        (found,) = made.find(asked)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.asked.body == found.reply.content  # type: ignore[union-attr]
    assert peak < 8 << 20


def test_what_is_no_ordinary_file_or_leads_nowhere_is_told(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")  # to read it would be to wait for ever
    (tmp_path / "link.toml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(FolderFault) as caught:
        loaded(tmp_path)
    assert caught.value.mistakes == [
        "link.toml: No such file or directory",
        "pipe.toml: not an ordinary file",
    ]


def test_the_path_of_what_is_not_here(tmp_path: Path) -> None:
    made = folder(tmp_path)
    for seconds in (0, 5):
        made.add(got(MOLE, b"%d" % seconds, seconds=seconds))
    for other in (got(MOLE, seconds=7), got(MOLE, seconds=3), replace(got(MOLE, b"x", seconds=5), took=9.0)):
        with pytest.raises(KeyError):
            made.path_of(other)


def test_until_tells_bodies_apart(tmp_path: Path) -> None:
    made = folder(tmp_path)
    for number in range(3):
        asked = Asked("POST", MOLE, (), Content(b"%d" % number))
        made.add(Exchange(asked, Message(200), NOON + timedelta(seconds=number)))
    found = list(made.until(Asked("POST", MOLE, (), Content(b"1")), NOON + timedelta(seconds=9)))
    assert [each.at for each in found] == [NOON + timedelta(seconds=1)]


def test_contents_are_compared_with_contents_only() -> None:
    assert Content(b"there") == Content(b"there")
    assert Content(b"there") != b"there"
