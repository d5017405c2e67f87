"""Which adapter stands in for the registry's, while recording and offline."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from adapters.errors import CannotConnect
from adapters.http.adapter import HttpAdapter
from adapters.local.adapter import LocalAdapter
from adapters.port import Call, Fetched
from adapters.recorded.faults.plan import read_plan
from adapters.recorded.files.adding import AddingFetch, AddingFiles
from adapters.recorded.files.playing import PlayingFetch, PlayingFiles
from adapters.recorded.files.recording import RecordingFetch, RecordingFiles
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.recorded.streams import NoStreams
from adapters.redaction import Redactor
from adapters.stream.adapter import LineAdapter
from gateway.service.clocks import CLOCK
from gateway.service.sites import Mode, Site


class Only:
    """An adapter that fetches and does nothing else."""

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        return Fetched(b"")

    async def aclose(self) -> None:
        """Nothing is open."""


def site(path: Path, mode: Mode) -> Site:
    hiding = Hiding(Redactor())
    return Site(Folder(path, hiding, lambda: datetime.now(UTC)), hiding, mode, CLOCK)


async def test_each_kind_of_adapter(tmp_path: Path) -> None:
    kinds = {
        Mode.RECORD: (HttpAdapter, RecordingFiles, LineAdapter, RecordingFetch),
        Mode.PLAY: (HttpAdapter, PlayingFiles, NoStreams, PlayingFetch),
        Mode.ADD: (HttpAdapter, AddingFiles, NoStreams, AddingFetch),
    }
    factories = (HttpAdapter, LocalAdapter, LineAdapter, Only)
    for mode, expected in kinds.items():
        made = [site(tmp_path, mode).make(factory) for factory in factories]
        assert [type(each) for each in made] == list(expected)
        for each in made:
            await each.aclose()


async def test_faults_on_cue_stand_before_them(tmp_path: Path) -> None:
    plan = read_plan('[[fault]]\nurl = "*"\ndo = "refused"')
    cued = replace(site(tmp_path, Mode.PLAY), faults=plan)
    for factory, url in (
        (HttpAdapter, "http://a.example/"),
        (LocalAdapter, "file:///a"),
        (Only, "only://a/"),
    ):
        adapter = cued.make(factory)
        with pytest.raises(CannotConnect):
            await adapter.fetch(Call(url), 1.0)
        await adapter.aclose()
