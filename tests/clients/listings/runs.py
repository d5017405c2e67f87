"""A source and settings -> the Task of its program; what a program printed -> records.

For the generated programs that show a field a line, `NAME: value`, an empty line after each record, and END.
"""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway.commands import wiring
from gateway.listings.program import Task, task_of
from gateway.wire.settings import Settings, change
from tests.clients.listings.shapes import Record
from tests.machines.far import Gateway, Spoil, unspoiled

PATIENCE = 20  # seconds without a byte from the gateway


def settings_of(words: str) -> Settings:
    """What a connection has once it has sent SET with these words, which name no profile."""
    pairs = (word.partition("=") for word in words.split())
    return change(Settings(), [(key, value) for key, _, value in pairs])


def task(config: Path, source: str, words: str, *args: str) -> Task:
    """The task of one source of the running gateway's catalogue; `words` are its SET, empty for none."""
    found = wiring.read_catalogue(config).sources[source]
    return task_of(found, f"SET {words}" if words else "", settings_of(words), args)


@contextmanager
def far_end(
    port: int,
    settings: Settings,
    spoil: Spoil = unspoiled,
    spoil_asked: Spoil = unspoiled,
    sends: bytes = b"\r",
) -> Iterator[Gateway]:
    """A connection to the gateway as the far end of a simulated line."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as connection:
        yield Gateway(connection, settings, spoil, spoil_asked, sends)


def records(printed: list[str]) -> list[Record]:
    """What was shown between the start and END."""
    assert printed[-1] == "END", printed[-3:]
    found: list[Record] = []
    fields: Record = []
    for line in printed[:-1]:
        if line:
            name, _, value = line.partition(": ")
            fields.append((name, value))
        else:
            found.append(fields)
            fields = []
    assert not fields, fields
    return found
