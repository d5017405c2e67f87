"""HELP for somebody who has only a terminal: what to send, how a ref is written, which places there are."""

import re
from dataclasses import replace
from types import MappingProxyType

import pytest

from gateway.catalogue.model import Catalogue, Place
from gateway.session.helping import _MORE
from gateway.wire.ready import PROFILES
from gateway.wire.settings import SETTINGS, Settings
from gateway.wire.words import REQUESTS
from tests.gateway.session.conftest import SOURCES
from tests.gateway.session.files.far import FarTalk, catalogue, far_talk


def known() -> Catalogue:
    secretive = Place("QUAY", "davs://inner.example:8443/deep/", user="reader", write=True)
    named = replace(SOURCES["TIDES"], name="CLUB")
    sources = MappingProxyType({"CLUB": named})
    return replace(catalogue(QUAY=secretive), sources=sources, profiles=PROFILES)


@pytest.fixture
def talk() -> FarTalk:
    found = far_talk(known=known)
    found.say("SET cols=80")
    return found


def told(talk: FarTalk, word: str) -> list[str]:
    """All records but the first, which has the version."""
    return [record.rstrip() for record in talk.records(f"HELP {word}")[1:]]


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("STORE", ["begin with >", "only a dot", "exactly so many bytes"]),
        ("APPEND", ["begin with >", "only a dot", "exactly so many bytes"]),
        (
            "LIST",
            [
                "#n is entry n",
                "order=name size date sent",
                "names=long 8.3",
                "F document",
                "D folder",
                "L link",
            ],
        ),
        ("TEXT", ["[n]", "#n is link n"]),
        ("READ", ["bytes=hex raw ihex line", "block="]),
        ("BASE", ["folder with /"]),
        ("COPY", ["replaces", "place: keeps the name"]),
        ("RENAME", ["does not replace"]),
        ("REF", ["place:path", "#n", "BASE", "%20", "quotes"]),
        ("HELP", ["HELP [word]"]),
    ],
)
def test_what_a_request_needs_is_told(talk: FarTalk, word: str, said: list[str]) -> None:
    whole = " ".join(told(talk, word))
    for each in said:
        assert each in whole


def test_requests_about_files_are_all_told_of(talk: FarTalk) -> None:
    assert set(_MORE) <= set(REQUESTS)
    for name, request in REQUESTS.items():
        if re.search(r"\bref\b|#n", request.usage) and name != "PICK":
            assert len(told(talk, name)) > 2


def test_places_without_url_or_user(talk: FarTalk) -> None:
    assert told(talk, "PLACES") == [
        "CLUB: ftp, writable",
        "DOS: dav, writable",
        "SHELF: https, for reading only",
        "QUAY: davs, writable",
    ]
    assert told(talk, "quay") == ["QUAY: davs, writable", "LIST QUAY:"]
    assert told(talk, "shelf:")[0] == "SHELF: https, for reading only"
    whole = str([told(talk, word) for word in ("PLACES", "QUAY", "SHELF", "CLUB")])
    assert not re.search("example|inner|reader|deep|8443", whole)


def test_a_source_and_a_place_of_one_name(talk: FarTalk) -> None:
    assert told(talk, "club") == [
        "ASK CLUB",
        "High and low water, Hohe in metres",
        "CLUB: ftp, writable",
        "LIST CLUB:",
    ]


def test_no_places() -> None:
    talk = far_talk(known=lambda: replace(catalogue(), places=MappingProxyType({})))
    assert told(talk, "places") == ["There are no places."]


def test_what_there_is_no_help_for_is_said_in_40_columns() -> None:
    talk = far_talk()
    assert talk.say("HELP quiet") == ("550 00001 040 ..", ["No help on that; see HELP and SOURCES".ljust(40)])


@pytest.mark.parametrize("columns", [16, 20, 40, 255])
def test_every_word_fits_the_columns(talk: FarTalk, columns: int) -> None:
    talk.say(f"SET cols={columns}")
    for word in [*REQUESTS, "REF", "PLACES", "QUAY", ""]:
        width = int(talk.status(f"HELP {word}")[10:13])
        assert width == max(columns, len(talk.records("HELP")[0].rstrip()))


def test_topics_cannot_be_hidden_by_requests() -> None:
    assert not {"REF", "PLA", "PRO"} & {name[:3] for name in REQUESTS}
    assert not any(name.startswith("SETTING") for name in REQUESTS)


def test_help_tells_of_profiles(talk: FarTalk) -> None:
    assert "buffer-128" in " ".join(told(talk, "PROFILES"))
    said = " ".join(told(talk, "buffer-128"))
    assert "the receive buffer holds 127 bytes" in said
    assert said.startswith("SET buffer-128 Trait: ")
    assert said.endswith("most=60 window=2")
    assert told(talk, "plain") == ["SET plain", "All settings as they are by default."]


def test_help_tells_of_settings(talk: FarTalk) -> None:
    said = " ".join(told(talk, "SETTINGS"))
    for each in SETTINGS:
        assert f" {each} " in f"{said} "
        assert told(talk, each)[0].startswith(f"SET {each}=")
    assert told(talk, "setting") == told(talk, "settings")
    assert told(talk, "profile") == told(talk, "profiles")


def test_help_never_gives_another_profile_a_ready_ones_trait() -> None:
    own = replace(known(), profiles=MappingProxyType({"PLAIN": Settings(), "BUFFER-128": Settings(cols=64)}))
    found = far_talk(known=lambda: own)
    assert told(found, "buffer-128") == ["SET buffer-128", "cols=64"]
