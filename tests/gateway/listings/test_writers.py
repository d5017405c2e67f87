"""The registry of traits."""

import pytest

from gateway.extract.plan import Kind
from gateway.listings.program import Column, Task, Writer
from gateway.listings.writers import WRITERS
from gateway.wire.ready import READY
from gateway.wire.settings import Settings, change


def test_the_issues_traits_are_there() -> None:
    assert {"com-channel", "hash-channel", "bput-channel", "structured"} <= set(WRITERS)


@pytest.mark.parametrize("writer", WRITERS.values(), ids=lambda each: each.name)
def test_each_writes_for_its_own_setup(writer: Writer) -> None:
    profile, *words = writer.setup.split()
    base = Settings() if profile == "plain" else READY[profile.upper()].settings
    pairs = [(key, value) for key, _, value in (word.partition("=") for word in words)]
    columns = (Column("TIME", 1, 5, Kind.TIME),)
    task = Task("TIDES", "High water", (), columns, 5, f"SET {writer.setup}", change(base, pairs))
    text = writer.write(task)
    assert text.isascii()
    assert "TIDES" in text.upper()
    assert WRITERS[writer.name] is writer
    assert writer.suffix.startswith(".")
    assert writer.about
