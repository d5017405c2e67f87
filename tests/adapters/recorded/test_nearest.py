import random
import time
from pathlib import Path

import pytest

from adapters import limits
from adapters.recorded.exchange import Asked, Content
from adapters.recorded.nearest import nearest
from adapters.recorded.ports import Miss

JSON = (("Content-Type", "application/json"),)
RECORDED = [
    Asked("GET", "http://tides.example/mole.json?station=mole&top=3"),
    Asked("GET", "http://tides.example/gate.json"),
    Asked("POST", "http://tides.example/score", JSON, Content(b'{"name": "MOLE", "points": 8200}')),
    Asked("GET", "http://water.example:8080/v1/levels/gate.json"),
    Asked("GET", "http://water.example:8080/v1/levels/mole/today.json"),
    Asked("READ", "ftp://quay.example/logs/tide.txt"),
    Asked("RENAME", "ftp://quay.example/a", to="ftp://quay.example/b"),
]


@pytest.mark.parametrize(
    ("asked", "miss"),
    [
        (
            Asked("GET", "http://tides.example/mole.json?top=4&colour=sesame"),
            Miss("GET http://tides.example/mole.json", "the query: other top; extra colour; missing station"),
        ),
        (
            Asked("GET", "http://tides.example/mole.json?top=3&station=mole&top=3"),
            Miss("GET http://tides.example/mole.json", "the query: how often each is there"),
        ),
        (
            Asked("GET", "http://tides.example/gate.json?sesame"),
            Miss("GET http://tides.example/gate.json", "the query: extra (no name)"),
        ),
        (
            Asked("POST", "http://tides.example/score", JSON, Content(b'{"name": "MOLE", "points": 9200}')),
            Miss("POST http://tides.example/score", "the body: from byte 28 on"),
        ),
        (
            Asked("POST", "http://tides.example/score", JSON),
            Miss("POST http://tides.example/score", "the body: there is none"),
        ),
        (
            Asked("PUT", "http://tides.example/gate.json", (), Content(b"x")),
            Miss("GET http://tides.example/gate.json", "the method: PUT; the body: none was recorded"),
        ),
        (
            Asked("GET", "https://tides.example/gate.json"),
            Miss("GET http://tides.example/gate.json", "the scheme: https"),
        ),
        (
            Asked("GET", "http://tides.example:81/gate.json"),
            Miss("GET http://tides.example/gate.json", "the host: tides.example:81"),
        ),
        (
            Asked("GET", "http://water.example:8080/v1/levels/bar/today.json"),
            Miss("GET http://water.example:8080/v1/levels/mole/today.json", "the path: bar"),
        ),
        (
            Asked("GET", "http://water.example:8080/v1/levels/gat.json"),
            Miss("GET http://water.example:8080/v1/levels/gate.json", "the path: gat.json"),
        ),
        (
            Asked("GET", "http://water.example:8080/v1/levels"),
            Miss("GET http://water.example:8080/v1/levels/gate.json", "the path: it ends early"),
        ),
        (
            Asked("RENAME", "ftp://quay.example/a", to="ftp://quay.example/c"),
            Miss("RENAME ftp://quay.example/a", "where to"),
        ),
        (
            Asked("READ", "ftp://quay.example/logs/tide.txt", offset=9),
            Miss("READ ftp://quay.example/logs/tide.txt", "the part of the document"),
        ),
        (
            Asked("GET", "http://tides.example/gate.json", (("Accept", "text/csv"),)),
            Miss("GET http://tides.example/gate.json", "the headers"),
        ),
    ],
)  # fmt: skip
def test_the_nearest_and_what_differs(asked: Asked, miss: Miss) -> None:
    assert nearest(asked, RECORDED) == miss


def test_nothing_is_near_nothing() -> None:
    assert nearest(RECORDED[0], []) == Miss()


def test_the_order_of_the_recordings_never_matters() -> None:
    recorded = [Asked("GET", f"http://tides.example/{each}/now.json?a={each}") for each in "abcdefgh"]
    asked = Asked("GET", "http://tides.example/x/now.json?a=1")
    shuffled = random.Random(5)
    found = set()
    for _ in range(20):
        shuffled.shuffle(recorded)
        found.add(nearest(asked, recorded))
    assert len(found) == 1


def test_a_long_name_is_cut() -> None:
    asked = Asked("GET", f"http://tides.example/{'x' * 300}")
    assert nearest(asked, RECORDED).differs == f"the path: {'x' * 60}..."


def test_two_thousand_are_looked_through_in_time() -> None:
    recorded = [Asked("GET", f"http://tides.example/{each % 40}/{each}.json?a=1") for each in range(2000)]
    started = time.perf_counter()
    miss = nearest(Asked("GET", "http://tides.example/7/9999.json?a=1"), recorded)
    assert miss.nearest.startswith("GET http://tides.example/7/")
    assert miss.differs == "the path: 9999.json"
    assert time.perf_counter() - started < 1


def test_a_body_that_says_the_same_is_no_difference() -> None:
    asked = Asked("POST", "http://tides.example/scores", JSON, Content(b'{"points": 8200, "name": "MOLE"}'))
    assert "body" not in nearest(asked, RECORDED).differs


def test_large_bodies_and_one_that_is_gone(tmp_path: Path) -> None:
    large = bytes(limits.CHUNK_BYTES + 10)
    recorded = Asked("PUT", "http://tides.example/x", (), Content(large + b"a"))
    asked = Asked("PUT", "http://tides.example/x", (), Content(large + b"b"))
    assert nearest(asked, [recorded]).differs == f"the body: from byte {len(large) + 1} on"
    begun = Asked("PUT", "http://tides.example/x", (), Content(large[: limits.CHUNK_BYTES]))
    assert nearest(begun, [recorded]).differs == f"the body: from byte {limits.CHUNK_BYTES + 1} on"
    gone = Asked("PUT", "http://tides.example/x", (), Content(path=tmp_path / "gone"))
    assert nearest(asked, [gone]).differs == "the body"
