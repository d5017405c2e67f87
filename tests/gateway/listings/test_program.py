"""What a client program has to do, worked out from a source."""

import pytest

from gateway.catalogue.model import Source
from gateway.extract.plan import Kind
from gateway.listings.program import Column, task_of
from gateway.wire.settings import Settings
from tests.gateway.catalogue.marked import load

SOURCE = """
[source.tides]
about = "High water"
url = "https://a.example/{station}/{days}/{level}/{note}"
args = ["station", "days:int", "level:fixed", "note"]
choices = { station = { mole = "north-mole", bar = "sandbar" } }
gap = 2
[[source.tides.field]]
name = "TIME"
kind = "time"
width = 5
[[source.tides.field]]
name = "METRES"
kind = "fixed"
width = 6
"""


@pytest.fixture
def source() -> Source:
    return load(SOURCE).sources["TIDES"]


def test_columns_count_the_mark_and_the_width_all(source: Source) -> None:
    """CONTRACT section 3, LAYOUT: columns count from 1 and include the mark; section 5, check: counted."""
    plain = task_of(source, "", Settings())
    assert plain.columns == (Column("TIME", 1, 5, Kind.TIME), Column("METRES", 8, 6, Kind.FIXED))
    assert (plain.width, plain.request, plain.about) == (13, "ASK TIDES", "High water")
    marked = task_of(source, "SET plain", Settings(mark=True, check="crc"))
    assert [each.start for each in marked.columns] == [2, 9]
    assert (marked.width, marked.setup) == (1 + 13 + 4, "SET plain")


def test_args_are_those_given_and_examples_for_the_rest(source: Source) -> None:
    given = task_of(source, "", Settings(), ("BAR", "7"))
    assert given.args == (("station", "BAR"), ("days", "7"), ("level", "1.0"), ("note", "NOTE"))
    assert task_of(source, "", Settings()).args[0] == ("station", "MOLE")


def test_a_source_that_changes_something_is_told() -> None:
    text = SOURCE.replace("gap = 2", 'gap = 2\nmethod = "DELETE"')
    task = task_of(load(text).sources["TIDES"], "", Settings())
    assert (task.changes, task.request) == (True, "TELL TIDES")
    assert not task.lines
    text = SOURCE.replace("gap = 2", 'gap = 2\nmethod = "POST"\nbody = "lines"')
    assert task_of(load(text).sources["TIDES"], "", Settings()).lines
