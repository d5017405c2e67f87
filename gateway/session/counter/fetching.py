"""READ at the counter: a document, read in windows -> blocks to the client."""

from adapters import limits
from adapters.files import Stat
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
    """A document, of which limits.READ_WINDOW_BYTES at most are here. `size`: None where it is not known."""

    def __init__(self, ref: Ref) -> None:
        self._ref = ref
        self._here = bytearray()
        self._position = 0  # of the next byte to ask for
        self._whole = False
        self.stat: Stat | None = None
        self.size: int | None = None

    def fill(self) -> Asking[None]:
        """The next bytes. ChangedMeanwhile where it is another document by now."""
        wish = ReadWish(self._ref, self._position, limits.READ_WINDOW_BYTES, self.stat)
        part = yield from granted(wish, Part)
        self._position += len(part.data)
        self._here += part.data
        self._whole, self.stat, self.size = part.last, part.stat, part.size

    def take(self, count: int) -> Asking[bytes]:
        """The next bytes, `count` at most; none at the end."""
        while not self._here and not self._whole:
            yield from self.fill()
        data = bytes(self._here[:count])
        del self._here[:count]
        return data


class Fetching(Transfer):
    """One document to the client. `window` has its first bytes; `name` is told to the client's program."""

    def __init__(self, window: Window, name: str, blocks: Blocks) -> None:
        super().__init__()
        self._window, self._blocks = window, blocks
        modified = None if window.stat is None else window.stat.modified
        seconds = None if modified is None else int(modified.timestamp())
        self._document = Document(name, window.size, seconds)
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
