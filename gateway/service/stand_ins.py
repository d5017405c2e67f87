"""An adapter of the registry -> the one that records what it does, plays what was recorded, or both."""

from adapters.files import FileAdapter
from adapters.http.adapter import HttpAdapter
from adapters.http.link.link import Link
from adapters.port import Adapter, AdapterFactory
from adapters.recorded.answers import AnswersOnly
from adapters.recorded.faults.files import FaultyFetch, FaultyFiles
from adapters.recorded.faults.link import FaultyLink
from adapters.recorded.files.adding import AddingFetch, AddingFiles
from adapters.recorded.files.playing import PlayingFetch, PlayingFiles
from adapters.recorded.files.recording import RecordingFetch, RecordingFiles
from adapters.recorded.http.adding import AddingLink
from adapters.recorded.http.playing import PlayingLink
from adapters.recorded.http.recording import RecordingLink
from adapters.recorded.streams import NoStreams
from adapters.streams import StreamAdapter
from gateway.service.sites import Mode, Site


def stand_in(site: Site, factory: AdapterFactory) -> Adapter:
    """The adapter for this folder of recordings. HTTP is met at its link, any other protocol at its port."""
    plan = site.faults
    if factory is HttpAdapter:
        link = _link(site)
        return HttpAdapter(now=site.clock.now, link=link if plan is None else FaultyLink(link, plan))
    inner = factory()
    if isinstance(inner, StreamAdapter):
        return inner if site.mode is Mode.RECORD else NoStreams()
    if isinstance(inner, FileAdapter):
        files = _files(site, inner)
        return files if plan is None else FaultyFiles(files, plan)
    fetch = _fetch(site, inner)
    return fetch if plan is None else FaultyFetch(fetch, plan)


def _link(site: Site) -> Link:
    folder, now = site.folder, site.clock.now
    match site.mode:
        case Mode.RECORD:
            return RecordingLink(folder)
        case Mode.PLAY:
            return PlayingLink(folder, now)
        case Mode.ADD:  # pragma: no branch — mypy knows that these are all
            return AddingLink(folder, now, RecordingLink(AnswersOnly(folder)))


def _files(site: Site, inner: FileAdapter) -> FileAdapter:
    match site.mode:
        case Mode.RECORD:
            return RecordingFiles(inner, site.folder)
        case Mode.PLAY:
            return PlayingFiles(inner, site.folder)
        case Mode.ADD:  # pragma: no branch — mypy knows that these are all
            return AddingFiles(RecordingFiles(inner, AnswersOnly(site.folder)), site.folder)


def _fetch(site: Site, inner: Adapter) -> Adapter:
    match site.mode:
        case Mode.RECORD:
            return RecordingFetch(inner, site.folder)
        case Mode.PLAY:
            return PlayingFetch(inner, site.folder)
        case Mode.ADD:  # pragma: no branch — mypy knows that these are all
            return AddingFetch(RecordingFetch(inner, AnswersOnly(site.folder)), site.folder)
