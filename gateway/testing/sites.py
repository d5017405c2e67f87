"""A folder of recordings -> a copy that a test's gateway plays from, or adds to; or a new one."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from adapters.recorded.faults.plan import FaultPlan, read_plan
from adapters.redaction import Redactor
from gateway.catalogue.model import Catalogue
from gateway.commands.sites import open_site
from gateway.service.sites import Mode, Site


class RecordedSite:
    """A folder at `path`, for one gateway. `record`: far servers are asked, and what they say is kept.
    `faults`: what goes wrong as it is played.
    """

    def __init__(self, path: Path, *, record: bool, faults: FaultPlan | None = None) -> None:
        self.path = path
        self.record = record
        self._faults = faults
        self._site: Site | None = None

    def opened(self, catalogue: Catalogue, redactor: Redactor) -> Site:
        """For the gateway that it is given to. gateway.commands.sites.SiteFault where it cannot be read;
        ValueError where it has a gateway already.
        """
        if self._site is not None:
            raise ValueError("a site is for one gateway: make another with headrace_site(site.path)")
        mode = Mode.RECORD if self.record else Mode.PLAY
        self._site = replace(open_site(self.path, mode, catalogue, redactor), faults=self._faults)
        return self._site

    @property
    def recordings(self) -> list[str]:
        """Method and URL of each, in order."""
        return [f"{each.asked.method} {each.asked.url}" for each in self._used().folder.exchanges()]

    @property
    def unused(self) -> list[str]:
        """Those that were not played since the gateway started."""
        return [f"{each.asked.method} {each.asked.url}" for each in self._used().folder.unused()]

    @property
    def hidden(self) -> tuple[str, ...]:
        """What was left out of the recordings: names of headers and the like, never what they held."""
        return self._used().folder.hidden

    def _used(self) -> Site:
        if self._site is None:
            raise ValueError("give the site to a gateway first: headrace_gateway(..., site=site)")
        return self._site


class Sites:
    """Makes sites in temporary folders. Relative paths count from `folder`, the test's own."""

    def __init__(self, folder: Path, scratch: Callable[[], Path]) -> None:
        self._folder, self._scratch = folder, scratch

    def __call__(
        self, path: str | Path | None = None, *, record: bool = False, faults: str | Path | None = None
    ) -> RecordedSite:
        """A copy of the recordings at `path` to play from, or with `record` to add to; without a path, a new
        folder to record into. `faults`: a fault plan, its text or its file's path. FileNotFoundError where
        nothing is at `path`; adapters.recorded.tree.table.TextFault for a plan that is none; ValueError for a
        plan where nothing is played.
        """
        if faults is not None and (path is None or record):
            raise ValueError("faults are for recordings that are played")
        plan = None if faults is None else read_plan(text_of(faults, self._folder))
        place = self._scratch() / "site"
        if path is None:
            place.mkdir()
            return RecordedSite(place, record=True)
        source = self._folder / path
        if not source.is_dir():
            raise FileNotFoundError(f"no recordings at {source}")
        shutil.copytree(source, place)
        return RecordedSite(place, record=record, faults=plan)


def text_of(what: str | Path, folder: Path) -> str:
    """The text itself, or that of the TOML file which a path names, from `folder` on. OSError."""
    if isinstance(what, str) and ("\n" in what or not what.endswith(".toml")):
        return what
    return (folder / what).read_text(encoding="utf-8")
