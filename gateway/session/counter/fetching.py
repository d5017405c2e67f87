"""READ at the counter: a document, read in windows -> blocks to the client."""

from adapters import limits
from gateway.catalogue.calling.targets import Ref
from gateway.session.counter.commands import Blocks
from gateway.session.counter.steps import Talk
from gateway.session.counter.transfers import Transfer
from gateway.session.steps import Asking, granted
from gateway.session.wishes import Part, ReadWish
from gateway.wire.blocks.effects import Document, Effect, Want
from gateway.wire.blocks.sending import Sender
from gateway.wire.blocks.xmodem import XmodemSender
from gateway.wire.blocks.ymodem import YmodemSender


class Window:
    """A document, of which limits.READ_WINDOW_BYTES at most are here."""

    def __init__(self, ref: Ref) -> None:
        self._ref = ref
        self._here = bytearray()
        self._position = 0  # of the next byte to ask for
        self._part: Part | None = None  # the last one

    def begin(self) -> Asking[Part]:
        """The first bytes. Whatever keeps them from being had is told now."""
        yield from self._more()
        assert self._part is not None
        return self._part

    def take(self, count: int) -> Asking[bytes]:
        """The next bytes, `count` at most; none at the end. ChangedMeanwhile where it is another document."""
        while not self._here and self._part is not None and not self._part.last:
            yield from self._more()
        data = bytes(self._here[:count])
        del self._here[:count]
        return data

    def _more(self) -> Asking[None]:
        same = None if self._part is None else self._part.stat
        wish = ReadWish(self._ref, self._position, limits.READ_WINDOW_BYTES, same)
        self._part = yield from granted(wish, Part)
        self._position += len(self._part.data)
        self._here += self._part.data


class Fetching(Transfer):
    """One document to the client. `first` is what `window` began with; `name` is told to its program."""

    def __init__(self, window: Window, first: Part, name: str, blocks: Blocks) -> None:
        super().__init__()
        self._window, self._blocks = window, blocks
        modified = first.stat.modified
        seconds = None if modified is None else int(modified.timestamp())
        self._document = Document(name, first.size, seconds)
        self.sent = 0

    def _begin(self, now: float) -> Sender:
        if self._blocks is Blocks.XMODEM:
            return XmodemSender(now)
        return YmodemSender([self._document], now)

    def _do(self, effect: Effect) -> Talk[bytes | None]:
        if not isinstance(effect, Want):
            return None
        data = yield from self._window.take(effect.count)
        self.sent += len(data)
        return data
