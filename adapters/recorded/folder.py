"""A folder on disk <-> exchanges: kept as they come, found again by what was asked.

    SITE/site.toml                                  the format's version; what was hidden in these recordings
    SITE/https/tides.example/v1/mole/events.1.toml  one exchange
    SITE/https/tides.example/v1/mole/events.1.json  its body

A file's name says nothing: what is in the TOML file counts, so that files may be renamed, edited, copied and
removed by hand. An exchange is there once its TOML file is. Nothing is synced to the disk (fsync(2)): a
killed process loses nothing that was kept, a power cut may.
"""

import logging
import os
import re
import stat
import time
from bisect import bisect_right, insort
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from operator import attrgetter
from pathlib import Path
from typing import Final, TypeAlias

from adapters import limits
from adapters.recorded.drafts import FileDraft, content_of, with_content
from adapters.recorded.exchange import Asked, Content, Exchange
from adapters.recorded.hiding import Hiding, without_digests
from adapters.recorded.matching import NOTHING, Form, Key, form_of, key_of, media_type
from adapters.recorded.nearest import nearest
from adapters.recorded.ports import Clock, Draft, Miss, Recorder, Recordings
from adapters.recorded.sameness import same_again
from adapters.recorded.tree import naming, toml_text
from adapters.recorded.tree.bodies import files_of, is_text, reply_type
from adapters.recorded.tree.disk import TOML, Part, Tree, beside
from adapters.recorded.tree.site import SITE, read_site, site_text, utf_8
from adapters.recorded.tree.table import TextFault

_log = logging.getLogger(__name__)

_NUMBERED: Final = re.compile(r"(.*)\.([0-9]{1,9})\.toml", re.DOTALL)

_Order: TypeAlias = tuple[datetime, str, int, str]
_Stamp: TypeAlias = tuple[int, int]


class FolderFault(ValueError):
    """Files in the folder are wrong: all `mistakes`, each with its file's name."""

    def __init__(self, mistakes: list[str]) -> None:
        super().__init__("\n".join(mistakes))
        self.mistakes = mistakes


@dataclass(slots=True)
class _Kept:
    """An exchange and its TOML file, which was last changed as `stamp` says."""

    exchange: Exchange
    path: Path
    stamp: _Stamp
    order: _Order
    used: bool = False
    form: tuple[_Stamp, Form] | None = None

    def asks(self, form: Form) -> bool:
        """Whether the request's body is one of that form. Read again only where its file has changed."""
        body = self.exchange.asked.body
        if body is None:
            return form == NOTHING
        try:
            stamp = (0, 0) if body.path is None else _stamp(body.path.stat())
            if self.form is None or self.form[0] != stamp:
                size = body.size
                if size != form.size and max(size, form.size) > limits.RECORDED_FORM:
                    return False
                self.form = stamp, form_of(body.chunks(), media_type(self.exchange.asked.headers))
        except OSError:  # removed by hand
            return False
        return self.form[1].is_like(form)


class Folder(Recorder, Recordings):
    """Both sides of the folder at `path`, which is made when something is kept; `load` reads what is there.

    Blocking, in short steps, but for bodies: `add` copies them, and `find` reads those of requests once.
    OSError as the disk gives it, except from drafts.
    """

    def __init__(self, path: Path, hiding: Hiding, now: Clock) -> None:
        self.path = path
        self._tree = Tree(path)
        self._hiding = hiding
        self._now = now
        self._index: dict[Key, list[_Kept]] = {}
        self._hidden: frozenset[str] = frozenset()
        self._written: frozenset[str] | None = None
        self._complained = float("-inf")
        self.unkept = 0
        """Exchanges so far that the disk did not take."""

    # Reading

    def load(self) -> None:
        """Read every TOML file; none is an empty folder. FolderFault for all that is wrong in them."""
        self._index.clear()
        mistakes: list[str] = []
        for folder, folders, names in os.walk(self.path, onerror=_unless_absent):
            folders.sort()
            for name in sorted(names):
                path = Path(folder, name)
                shown = path.relative_to(self.path)
                try:
                    if name.endswith(TOML) and not stat.S_ISREG(path.stat().st_mode):
                        mistakes.append(f"{shown}: not an ordinary file")  # a FIFO would be waited for
                    elif name == SITE and path == self.path / SITE:
                        self._hidden = self._written = read_site(path)
                    elif name.endswith(TOML):
                        self._read(path)
                except TextFault as fault:
                    mistakes += [f"{shown}: {mistake}" for mistake in fault.mistakes]
                except OSError as error:
                    mistakes.append(f"{shown}: {error.strerror}")
        if mistakes:
            self._index.clear()
            raise FolderFault(mistakes)

    def _read(self, path: Path) -> None:
        with path.open("rb") as file:
            stamp = _stamp(os.fstat(file.fileno()))
            text = utf_8(file.read())

        def content(name: str) -> Content | None:
            if "/" in name or "\0" in name or name in ("", ".", ".."):
                return None
            found = path.with_name(name)  # a link could lead to a file that is none of the recordings
            return Content(path=found) if found.is_file() and not found.is_symlink() else None

        self._insert(toml_text.read(text, content), path, stamp)

    def _insert(self, exchange: Exchange, path: Path, stamp: _Stamp) -> _Kept:
        shown = str(path.relative_to(self.path))
        match = _NUMBERED.fullmatch(shown)
        stem, number = (match[1], int(match[2])) if match is not None else (shown, 0)
        kept = _Kept(exchange, path, stamp, (exchange.at, stem, number, shown))
        insort(self._index.setdefault(key_of(exchange.asked), []), kept, key=attrgetter("order"))
        return kept

    def _all(self) -> list[_Kept]:
        return sorted((kept for each in self._index.values() for kept in each), key=attrgetter("order"))

    # What is there

    def exchanges(self) -> Iterator[Exchange]:
        """All of them, by their time, then by their file's name and number."""
        return iter([kept.exchange for kept in self._all()])

    def path_of(self, exchange: Exchange) -> Path:
        """Its TOML file; KeyError where it is not here."""
        return self._kept(exchange).path

    def shown(self, exchange: Exchange) -> str:
        """Its URL and its TOML file, for people."""
        return f"{exchange.asked.url} ({self.path_of(exchange).relative_to(self.path)})"

    def unused(self) -> list[Exchange]:
        """Those that were neither played nor recorded since `load`, in order."""
        return [kept.exchange for kept in self._all() if not kept.used]

    def older(self, before: datetime) -> list[Exchange]:
        """Those that happened before that time, in order."""
        return [kept.exchange for kept in self._all() if kept.exchange.at < before]

    @property
    def hidden(self) -> tuple[str, ...]:
        """What was hidden in all recordings here, without what it was."""
        return tuple(sorted(self._hidden.union(self._hiding.hidden)))

    @property
    def latest(self) -> datetime | None:
        """When the newest exchange happened."""
        return max((kept.exchange.at for each in self._index.values() for kept in each), default=None)

    def _kept(self, exchange: Exchange) -> _Kept:
        for kept in _until(self._index.get(key_of(exchange.asked), ()), exchange.at):
            if kept.exchange.at != exchange.at:
                break
            if kept.exchange.reply is exchange.reply:
                return kept
        for kept in _until(self._index.get(key_of(self._hiding.asked(exchange.asked)), ()), exchange.at):
            if kept.exchange.at != exchange.at:
                break
            if kept.exchange.took == exchange.took:
                return kept
        raise KeyError(exchange.asked.url)

    # Playing

    def find(self, asked: Asked) -> list[Exchange]:
        """All exchanges of this method, URL (its query without order) and body, in their order."""
        asked = self._hiding.asked(asked)
        kept = self._index.get(key_of(asked))
        for form in self._forms(asked) if kept else ():
            if found := [each.exchange for each in kept or () if each.asks(form)]:
                return found
        return []

    def until(self, asked: Asked, at: datetime) -> Iterator[Exchange]:
        """Those that `find` gives and that happened at that time or before, the newest first."""
        asked = self._hiding.asked(asked)
        kept = self._index.get(key_of(asked))
        forms = list(self._forms(asked)) if kept else []
        for each in _until(kept or (), at):
            if any(each.asks(form) for form in forms):
                yield each.exchange

    def _forms(self, asked: Asked) -> Iterator[Form]:
        """What the body of a request may have been kept as."""
        body, kind = asked.body, media_type(asked.headers)
        if body is None:
            yield NOTHING
            return
        if body.size > limits.RECORDED_FORM:  # looking for secrets in it takes longer than all the rest
            yield form_of(body.chunks(), kind)
        yield form_of(self._hiding.body().run(body.chunks()), kind)

    def missing(self, asked: Asked) -> Miss:
        """The recording that comes nearest, and which part of it differs."""
        asked = self._hiding.asked(asked)
        if asked.body is not None and asked.body.size <= limits.RECORDED_FORM:
            asked = replace(asked, body=Content(b"".join(self._hiding.body().run(asked.body.chunks()))))
        return nearest(asked, (kept.exchange.asked for each in self._index.values() for kept in each))

    def used(self, exchange: Exchange) -> None:
        """It was played in this run."""
        self._kept(exchange).used = True

    # Recording

    def draft(self) -> Draft:
        """An exchange that begins now."""
        return FileDraft(
            _in_milliseconds(self._now()),
            self._hiding.body(same_size=True),
            self._tree.part,
            self._store,
            self._fail,
        )

    def add(self, exchange: Exchange) -> Path:
        """Keep a whole exchange: its TOML file."""
        return self._add(exchange, None, changed=False).path

    def _store(self, exchange: Exchange, part: Part | None, *, changed: bool) -> None:
        self._add(exchange, part, changed=changed).used = True

    def _fail(self, error: Exception) -> None:
        self.unkept += 1
        now = time.monotonic()
        if now - self._complained >= limits.RECORDED_COMPLAINT_SECONDS:
            self._complained = now
            why = (error.strerror if isinstance(error, OSError) else None) or str(error)
            _log.error("an exchange was not recorded: %s", why)

    def _add(self, exchange: Exchange, part: Part | None, *, changed: bool) -> _Kept:
        """`part` is the reply's body, already hidden."""
        asked, reply = exchange.asked, exchange.reply
        parts = [] if part is None else [part]
        clean = self._hiding.kept(exchange)
        try:
            if asked.body is not None:
                body, found = self._clean(asked.body, parts, same_size=False)
                if found:
                    self._hiding.body_changed(asked.url)
                clean = replace(clean, asked=replace(clean.asked, body=body))
            if part is None and (content := content_of(reply)) is not None:
                content, changed = self._clean(content, parts, same_size=True)
                clean = replace(clean, reply=with_content(clean.reply, content))
            if changed:
                self._hiding.body_changed(asked.url)
                clean = replace(clean, reply=without_digests(clean.reply))
            return self._raised(clean) or self._write(clean, parts)
        finally:
            for each in parts:
                each.drop()

    def _clean(self, body: Content, parts: list[Part], *, same_size: bool) -> tuple[Content, bool]:
        """The body without secrets, in memory where it is short, and whether it had any."""
        hiding = self._hiding.body(same_size=same_size)
        chunks = hiding.run(body.chunks())
        if body.size <= limits.CHUNK_BYTES:
            return Content(b"".join(chunks)), hiding.changed
        parts.append(self._tree.part())
        for chunk in chunks:
            parts[-1].write(chunk)
        return Content(path=parts[-1].path), hiding.changed

    def _raised(self, exchange: Exchange) -> _Kept | None:
        """The one before, where the same came again."""
        form = NOTHING
        if exchange.asked.body is not None:
            form = form_of(exchange.asked.body.chunks(), media_type(exchange.asked.headers))
        kept = next(
            (each for each in reversed(self._index.get(key_of(exchange.asked), ())) if each.asks(form)), None
        )
        if kept is None or kept.exchange.at > exchange.at or not same_again(kept.exchange, exchange):
            return None
        raised = replace(kept.exchange, times=kept.exchange.times + exchange.times)
        text = toml_text.written(raised, files_of(raised)).encode()
        if not self._tree.rewrite(kept.path, lambda there: _stamp(there) == kept.stamp, text):
            return None
        kept.exchange, kept.stamp = raised, _stamp(kept.path.stat())
        return kept

    def _write(self, exchange: Exchange, parts: list[Part]) -> _Kept:
        asked, content = exchange.asked, content_of(exchange.reply)
        ending = naming.ending(reply_type(exchange), asked.url)
        asked_ending = ".request" + naming.ending(media_type(asked.headers))
        own_file = asked.body is not None and not is_text(asked.body)
        toml, name = self._tree.claim(naming.stem(asked.method, asked.url, ending), (ending, asked_ending))
        made: list[Path] = []
        try:
            if asked.body is not None and own_file:
                made.append(beside(name, asked_ending))
                asked = replace(asked, body=self._place(asked.body, made[-1], parts))
            if content is not None:
                made.append(beside(name, ending))
                reply = with_content(exchange.reply, self._place(content, made[-1], parts))
                exchange = replace(exchange, reply=reply)
            exchange = replace(exchange, asked=asked)
            text = toml_text.written(exchange, files_of(exchange))
            toml_text.read(text, lambda _: Content())  # what cannot be read again is not written
            toml.write(text.encode())
            self._write_site()
            path = beside(name, TOML)
            toml.keep(path)
        except BaseException:
            for each in made:
                each.unlink(missing_ok=True)
            raise
        finally:
            toml.drop()
        return self._insert(exchange, path, _stamp(path.stat()))

    def _place(self, content: Content, path: Path, parts: list[Part]) -> Content:
        part = next((each for each in parts if each.path == content.path), None)
        if part is None:
            part = self._tree.part()
            parts.append(part)
            for chunk in content.chunks():
                part.write(chunk)
        part.keep(path)
        return Content(path=path)

    def _write_site(self) -> None:
        """Before the first exchange, and whenever something new was hidden."""
        wanted = self._hidden.union(self._hiding.hidden)
        if wanted == self._written:
            return
        path = self.path / SITE
        if path.exists():
            try:
                wanted |= read_site(path)
            except TextFault as fault:
                raise ValueError(f"{SITE}: {fault}") from fault
        part = self._tree.part()
        try:
            part.write(site_text(wanted).encode())
            part.keep(path)
        finally:
            part.drop()
        self._hidden = self._written = wanted


def _unless_absent(error: OSError) -> None:
    if not isinstance(error, FileNotFoundError):
        raise error


def _until(kept: Sequence[_Kept], at: datetime) -> Iterator[_Kept]:
    """Those of that time or before, the newest first."""
    end = bisect_right(kept, at, key=lambda each: each.exchange.at)
    return (kept[place] for place in range(end - 1, -1, -1))


def _stamp(stat: os.stat_result) -> _Stamp:
    return stat.st_mtime_ns, stat.st_size


def _in_milliseconds(moment: datetime) -> datetime:
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)
