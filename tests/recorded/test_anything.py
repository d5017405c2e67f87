"""Whatever a catalogue, its documents and a conversation are: what was recorded is played byte for byte."""

import asyncio
import os
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import Phase, given, note, settings

from tests.recorded import third_party
from tests.recorded.made_up import Case, cases
from tests.recorded.places import PASSWORD, PLACES, Place, folder
from tests.recorded.twice import Twice

EXAMPLES = int(os.environ.get("HEADRACE_RECORDED_EXAMPLES", "14"))
FIXED = bool(os.environ.get("HEADRACE_RECORDED_FIXED"))
"""Always the same examples, for a long run by hand; only such a one looks for the simplest that fails."""

PHASES = tuple(each for each in Phase if FIXED or each is not Phase.shrink)
_numbers = count()


@pytest.fixture(scope="module")
def running() -> Iterator[Mapping[str, Place]]:
    """A place of each protocol."""
    with ExitStack() as stack:
        yield {scheme: stack.enter_context(make()) for scheme, make in PLACES.items()}


@settings(max_examples=EXAMPLES, derandomize=FIXED, phases=PHASES, deadline=None)
@given(case=cases())
def test_played_as_it_was_live(running: Mapping[str, Place], case: Case) -> None:
    place = running[case.scheme].within(f"e{next(_numbers)}")
    for path, body in case.documents.items():
        place.put(path, body)
    note(case.sources)
    with TemporaryDirectory(prefix="headrace-twice-") as name, folder() as shelf:
        shelf.put("kept.txt", b"Kept on the shelf\n")
        catalogue = Path(name, "headrace.toml")
        catalogue.write_text(f"{case.sources}\n{place.named('p')}{shelf.named('shelf')}")
        Path(name, "password").write_text(PASSWORD)
        twice = Twice(catalogue, Path(name, "site"))
        live = asyncio.run(twice.live("NOOP begin", *case.requests, "ASK S1", "LIST p:"))
        if place.folder is None:
            third_party.CONTENTS.clear()
        else:
            place.folder.rename(place.folder.with_name(f"{place.folder.name}-gone"))
        Path(name, "password").unlink()
        assert asyncio.run(twice.played("NOOP begin", *case.requests, "ASK S1", "LIST p:")) == live
