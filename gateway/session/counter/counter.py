"""a client's bytes at a place's counter -> what it is told, shown, sent, and what it stores.

The counter is a session of its own words over the requests of `session/files`: refs are resolved as there,
and none leads out of the place.
"""

from dataclasses import replace
from typing import Final
from urllib.parse import unquote_to_bytes

from adapters import limits
from adapters.errors import HeadraceError, NameNotAllowed, NotAllowed, NotARequest, NotPossible
from adapters.files import quoted
from gateway.catalogue.calling.targets import Ref, current, read_ref
from gateway.catalogue.model import Catalogue, Place
from gateway.extract.fields.text import Lettering
from gateway.extract.folders.names import shown_name
from gateway.session.counter import wording
from gateway.session.counter.commands import (
    Blocks,
    Command,
    Fetch,
    GoTo,
    Help,
    Leave,
    ListFolder,
    ShowText,
    Store,
    read_command,
)
from gateway.session.counter.fetching import Fetching, Window
from gateway.session.counter.steps import Talk, listen, say
from gateway.session.counter.storing import Storing, staged
from gateway.session.counter.transfers import Transfer
from gateway.session.files.listed_names import Use
from gateway.session.files.listing import list_folder
from gateway.session.files.refs import typed_ref, writable
from gateway.session.files.texts import text as text_of
from gateway.session.memory import Weights
from gateway.session.state import State, World
from gateway.session.steps import Steps
from gateway.wire.blocks import heading
from gateway.wire.charsets import decode_line
from gateway.wire.lines import BS, CAN, CR, LF, TAB, Cancel, Line, LineReader
from gateway.wire.replies import Reply
from gateway.wire.settings import Settings

_SEPARATORS: Final = str.maketrans("/\\", "__")
_DROPPED: Final = bytes(set(range(0x20)) - {BS, TAB, LF, CR, CAN})
"""Controls that no line has, and that a partner in a transfer may have sent too late."""


class Counter:
    """One client's. `ref` is the folder of a place that it begins in, `settings` are the client's own, with
    `echo` as it is wanted here and `eol` as it is; `unclean` says why its line takes no transfers, if so.
    """

    def __init__(self, world: World, ref: Ref, place: Place, settings: Settings, unclean: str = "") -> None:
        plain = replace(settings, page=0, window=0, guard=False, mark=False, check="none")
        self._state = State(world, "", plain)
        self._state.base = ref
        self._place = place
        self._writing = wording.Writing(settings)
        self._reader = LineReader(replace(settings, telnet="off", flow="none", check="none"))
        self._unclean = unclean
        self._last: Transfer | None = None
        self._stopped = False  # by a CAN that is still to be listened to
        self.busy = False  # records are being shown

    @property
    def kept(self) -> Weights:
        """What is kept in memory of listings."""
        return self._state.kept

    def forget(self) -> None:
        """Memory is wanted for others."""
        self._state.forget_replies()

    def run(self) -> Talk[None]:
        """The whole dialogue, which ends when the client takes its leave."""
        try:
            yield from self._dialogue()
        finally:
            self._state.world.memory.gone(self)

    def _dialogue(self) -> Talk[None]:
        yield from self._tell(wording.greeting(self._place.name, writable=self._place.write))
        yield from say(self._writing.prompt())
        while True:
            event = self._reader.next_event()
            output = self._reader.take_output()
            if output:
                yield from say(output)
            if event is None:
                came = yield from listen()
                if self._last is None or not (yield from self._last.answers_late(came)):
                    self._typed(came.data)
            elif isinstance(event, Cancel):
                yield from say(self._writing.eol + self._writing.prompt())
            elif isinstance(event, Line) and not self._reader.cancel_ahead():
                if (yield from self._answered(event)):
                    return
                stopped, self._stopped = self._stopped, False
                if not stopped and not self._reader.cancel_ahead():  # that brings a prompt of its own
                    yield from say(self._writing.prompt())

    # One line

    def _answered(self, line: Line) -> Talk[bool]:
        """Whether that was the last one."""
        try:
            if line.overlong:
                raise NotARequest(f"A line holds {limits.LINE_BYTES} bytes at most")
            text = decode_line(line.data, self._state.settings.charset)
            if not text.strip():
                return False
            command = read_command(text)
            if isinstance(command, Leave):
                yield from self._tell("Goodbye")
                return True
            yield from self._do(command)
        except HeadraceError as error:
            yield from self._tell(error.sentence)
        self._state.cursor = None
        return False

    def _do(self, command: Command) -> Talk[None]:
        match command:
            case ListFolder(folder):
                yield from self._list(folder)
            case GoTo(folder):
                yield from self._go(folder)
            case ShowText(name):
                self._own(name)
                yield from self._show(text_of(self._state, [name]))
            case Fetch(name, blocks):
                yield from self._fetch(name, blocks)
            case Store(name, blocks):
                yield from self._store(name, blocks)
            case Help():  # pragma: no branch — mypy knows that these are all
                for each in wording.HELP:
                    yield from self._tell(each)

    def _list(self, folder: str | None) -> Talk[None]:
        self._own(folder or "")
        shown = yield from self._show(list_folder(self._state, [folder] if folder else []))
        if not shown:
            yield from self._tell("Nothing is there")

    def _go(self, folder: str | None) -> Talk[None]:
        if folder is None:
            ref = current(self._catalogue, Ref(self._place.base, self._place))
        else:
            ref = self._own(folder)
            if not ref.is_folder:
                ref = replace(ref, url=ref.url.partition("?")[0] + "/")
        self._state.base = ref
        yield from self._tell(f"You are in {self._clean(unquote_to_bytes(ref.whole))}")

    # Transfers

    def _fetch(self, name: str, blocks: Blocks) -> Talk[None]:
        self._refuse_unclean()
        ref = self._own(name)
        if ref.is_folder:
            raise NotPossible("That is a folder")
        window = Window(ref)
        yield from window.fill()  # what keeps the document from being had is told before anything starts
        fetching = Fetching(window, self._plain_name(ref), blocks)
        shown = self._shown(ref)
        yield from self._begin(shown, blocks, receive=True)
        yield from self._run(fetching)
        if fetching.failed:
            yield from self._tell(f"{shown} was not sent whole. {fetching.failed}")
        else:
            yield from self._tell(f"{shown}: {wording.counted(fetching.sent)} sent")

    def _store(self, name: str | None, blocks: Blocks) -> Talk[None]:
        self._refuse_unclean()
        if name is None:
            writable(current(self._catalogue, self._folder))
            storing = Storing(blocks, None, self._placed, self._shown)
            yield from self._begin("documents", blocks, receive=False)
        else:
            ref = writable(self._own(name, Use.PUT))
            if ref.is_folder:
                raise NotPossible("A folder takes no data; add a name")
            staging = yield from staged(ref)
            try:
                self._state.listed_names.created(ref)
                storing = Storing(blocks, (ref, staging), self._placed, self._shown)
                yield from self._begin(self._shown(ref), blocks, receive=False)
            except BaseException:
                staging.drop()
                raise
        yield from self._run(storing)
        for each in storing.stored:
            size = wording.counted(each.size)
            how = "came, and are being stored" if each.begun else "stored"
            yield from self._tell(f"{each.name}: {size} {how}")
        if storing.failed:
            told = f"{storing.name} was not stored. " if storing.name else ""
            yield from self._tell(f"{told}{storing.failed}")
        elif not storing.stored:
            yield from self._tell("Nothing came, and nothing was stored")

    def _begin(self, name: str, blocks: Blocks, *, receive: bool) -> Talk[None]:
        """What was typed ahead of it is for nobody: it could be the partner's as well."""
        self._reader.discard()
        yield from listen(0)
        for each in wording.begin(name, blocks, receive=receive):
            yield from self._tell(each)

    def _run(self, transfer: Transfer) -> Talk[None]:
        self._typed((yield from transfer.run()))
        self._last = transfer

    def _typed(self, data: bytes) -> None:
        """Bytes of a keyboard, and what may be left of a transfer."""
        self._reader.feed(data.translate(None, _DROPPED))

    def _refuse_unclean(self) -> None:
        if self._unclean:
            raise NotPossible(self._unclean)

    def _placed(self, name: str) -> Ref:
        """Where a document goes by the name that came with it: into this folder, and no further."""
        data = self._state.typed(name).encode()
        elsewhere = not data or b"/" in data or b"\\" in data or data in {b".", b".."}
        if elsewhere:  # pragma: no cover — of what comes, blocks/heading.py leaves one plain name
            raise NameNotAllowed("That is no name of one document")
        if len(data) > limits.COUNTER_NAME_BYTES:
            raise NameNotAllowed(f"A name has {limits.COUNTER_NAME_BYTES} bytes at most")
        folder = self._folder
        ref = writable(read_ref(self._catalogue, folder.whole + quoted(data)))
        if ref.url.rpartition("/")[0] + "/" != folder.url or ref.is_folder:  # pragma: no cover — it is quoted
            raise NameNotAllowed("That is no name of one document")
        self._state.listed_names.created(ref)
        return ref

    # Names

    @property
    def _catalogue(self) -> Catalogue:
        return self._state.world.catalogue()

    @property
    def _folder(self) -> Ref:
        assert self._state.base is not None
        return self._state.base

    def _own(self, word: str, use: Use = Use.READ) -> Ref:
        """The ref that was typed. NotAllowed where it is none of this place."""
        ref = typed_ref(self._state, word, use)
        if ref.place is None or ref.place.name != self._place.name:
            raise NotAllowed(f"Only {self._place.name} is to be had here")
        return ref

    def _clean(self, name: bytes) -> str:
        return shown_name(name, Lettering(self._state.style.charset, self._catalogue.gateway.letters))

    def _shown(self, ref: Ref) -> str:
        """A document's name in the client's characters."""
        return self._clean(unquote_to_bytes(ref.segment))

    def _plain_name(self, ref: Ref) -> str:
        """A document's name for the client's program, which may know ASCII only, and must know no folders."""
        lettering = Lettering("ascii", self._catalogue.gateway.letters)
        name = shown_name(unquote_to_bytes(ref.segment), lettering).translate(_SEPARATORS)
        return name[: limits.COUNTER_NAME_BYTES] if name.strip(". ") else heading.UNNAMED

    # Saying

    def _tell(self, sentence: str) -> Talk[None]:
        yield from say(self._writing.sentence(sentence))

    def _show(self, steps: Steps) -> Talk[bool]:
        """The records of a request, page by page, until a CAN comes. Whether there were any."""
        reply = yield from steps
        self._state.world.memory.used(self)
        self.busy = True
        try:
            return (yield from self._pages(reply))
        finally:
            self.busy = False

    def _pages(self, reply: Reply) -> Talk[bool]:
        any_yet = False
        while True:
            any_yet = any_yet or bool(reply.records)
            for piece in self._writing.pieces(reply.records):
                if (yield from say(piece)).cancelled:
                    self._stopped = True
                    return True
            if not reply.more:
                break
            reply = yield from self._state.more()
        if reply.flag == "L":
            yield from self._tell("That is not all; the rest was left out")
        return any_yet
