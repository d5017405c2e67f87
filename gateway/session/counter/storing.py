"""STORE at the counter: blocks from the client -> documents, each stored whole or not at all."""

from collections.abc import Callable
from dataclasses import dataclass

from adapters import limits
from adapters.errors import NotPossible, TooLarge
from gateway.catalogue.calling.targets import Ref
from gateway.session.counter.commands import Blocks
from gateway.session.counter.steps import Talk
from gateway.session.counter.transfers import Transfer
from gateway.session.steps import Asking, granted
from gateway.session.wishes import DataWish, DeliverWish, Done, Staged, StageWish, Staging, Taken
from gateway.wire.blocks.effects import Block, Document, Effect, Ended
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.xmodem import XmodemReceiver
from gateway.wire.blocks.ymodem import YmodemReceiver


@dataclass(frozen=True, slots=True)
class Stored:
    """A document that came whole. `begun`: storing it goes on without the client."""

    name: str
    size: int
    begun: bool


def staged(ref: Ref) -> Asking[Staging]:
    """Begin to take in what is to be stored at `ref`; whatever is wrong there is told now."""
    return (yield from granted(StageWish(ref, append=False), Staged)).staging


class Storing(Transfer):
    """`named` is where the first document goes, with what it is staged in; None: where `placed` puts it by
    the name that came with it. `shown` makes a ref's name one that can be told.
    """

    def __init__(
        self,
        blocks: Blocks,
        named: tuple[Ref, Staging] | None,
        placed: Callable[[str], Ref],
        shown: Callable[[Ref], str],
    ) -> None:
        super().__init__()
        self.stored: list[Stored] = []
        self.name = ""  # of the document that is coming, or came last
        self._blocks, self._placed, self._shown = blocks, placed, shown
        self._only_one = named is not None
        self._staging: Staging | None = None
        self._began = False
        self._size = 0
        self._gathered = bytearray()
        if named is not None:
            self._staging, self.name = named[1], shown(named[0])

    def _begin(self, now: float) -> Receiver:
        return XmodemReceiver(now) if self._blocks is Blocks.XMODEM else YmodemReceiver(now)

    def _do(self, effect: Effect) -> Talk[None]:
        match effect:
            case Document():
                yield from self._heading(effect)
            case Block(data):
                self._size += len(data)
                self._gathered += data
                if len(self._gathered) >= limits.STAGE_BYTES:
                    yield from self._hand_on()
            case Ended():  # pragma: no branch — mypy knows that these are all
                yield from self._deliver()

    def _heading(self, document: Document) -> Talk[None]:
        if self._only_one and self._began:
            raise NotPossible("One name was given, and a second document came")
        self._began = True
        if document.size is not None and document.size > limits.SPOOL_BYTES:
            raise TooLarge(f"At most {limits.SPOOL_BYTES} bytes")
        if not self._only_one:
            self.name = "The next one"  # until its own is known to be one that can be shown
            ref = self._placed(document.name)
            self.name = self._shown(ref)
            self._staging = yield from staged(ref)

    def _hand_on(self) -> Talk[None]:
        assert self._staging is not None
        yield from granted(DataWish(self._staging, bytes(self._gathered)), Taken)
        self._gathered.clear()

    def _deliver(self) -> Talk[None]:
        assert self._staging is not None
        if self._gathered:
            yield from self._hand_on()
        staging, self._staging = self._staging, None  # from here on it is the service's
        outcome = yield from granted(DeliverWish(staging), Done)
        self.stored.append(Stored(self.name, self._size, begun=outcome.code != 250))
        self.name, self._size = "", 0

    def _let_go(self) -> None:
        if self._staging is not None:
            self._staging.drop()
            self._staging = None
        self._gathered.clear()
