"""A client at a counter in virtual time, without a line: it types, reads, and has senders and receivers."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from adapters.errors import HeadraceError
from gateway.catalogue.calling.targets import read_ref
from gateway.catalogue.model import Place
from gateway.session.counter.counter import Counter
from gateway.session.counter.steps import Came, Listen, Said, Say
from gateway.session.state import World
from gateway.session.wishes import Wish
from gateway.wire.blocks.effects import Block, Document, Done, Effect, Ended, Failed, Send, Want
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.sending import Sender
from gateway.wire.lines import CAN
from gateway.wire.settings import Settings
from tests.gateway.session.files.far import Far, catalogue

PLAIN = Settings(eol="crlf")


@dataclass
class Met:
    """What became of a partner: its last word, and what it received."""

    last: Done | Failed | None = None
    received: list[tuple[Document | None, bytes]] = field(default_factory=list)


class Client:
    """`slow` seconds pass while each wish is granted, and while the line takes each thing that is said."""

    def __init__(
        self,
        far: Far | None = None,
        settings: Settings = PLAIN,
        ref: str = "CLUB:",
        unclean: str = "",
        slow: float = 0.0,
        **places: Place,
    ) -> None:
        self.far = far or Far()
        self.now = 1_000.0
        self.slow = slow
        self.wishes: list[Wish] = []
        self.over = False
        self.meanwhile: dict[bytes, bytes] = {}  # what is told -> what is typed before it has all gone
        self._came = bytearray()
        self._told = bytearray()
        self.known = catalogue(**places)
        world = World(lambda: self.known, lambda: datetime(2026, 3, 29, tzinfo=UTC))
        found = read_ref(self.known, ref)
        assert found.place is not None
        self.counter = Counter(world, found, found.place, settings, unclean)
        self.told_busily = b""  # what was told while the counter was busy
        self.steps = self.counter.run()
        self._want: Wish | Say | Listen = next(self.steps)
        self._go()

    def _go(self) -> None:
        """On until it listens in vain."""
        while not self.over:
            want = self._want
            try:
                if isinstance(want, Say):
                    self._told += want.data
                    self.told_busily += want.data * self.counter.busy
                    self._came += self.meanwhile.pop(want.data, b"")
                    self.now += self.slow
                    self._want = self.steps.send(Said(self.now, CAN in self._came))
                elif isinstance(want, Listen):
                    if not self._came and (want.until is None or want.until > self.now):
                        return
                    data = bytes(self._came)
                    self._came.clear()
                    self._want = self.steps.send(Came(data, self.now))
                else:
                    self.wishes.append(want)
                    self.now += self.slow
                    try:
                        granted = self.far.grant(want)
                    except HeadraceError as error:
                        self._want = self.steps.throw(error)
                    else:
                        self._want = self.steps.send(granted)
            except StopIteration:
                self.over = True

    def type(self, data: bytes) -> None:
        self._came += data
        self._go()

    def told(self) -> bytes:
        """What it was told since the last look."""
        told = bytes(self._told)
        self._told.clear()
        return told

    def ask(self, line: str) -> list[str]:
        """The lines that answer a command."""
        self.told()
        self.type(line.encode("latin-1") + b"\r")
        return self.answer()

    def answer(self) -> list[str]:
        told = self.told().decode("latin-1")
        assert told.endswith("> "), told
        return told.removesuffix("> ").split("\r\n")[:-1]

    @property
    def due(self) -> float | None:
        """Until when it listens."""
        return self._want.until if isinstance(self._want, Listen) and not self.over else None

    def wait(self, seconds: float) -> None:
        """Time passes, and nothing is typed."""
        until = self.now + seconds
        while self.due is not None and self.due <= until:
            self.now = max(self.now, self.due)
            self._go()
        self.now = max(self.now, until)

    def starts(self, line: str) -> None:
        """A command that begins a transfer; what the partner would see is still to be told."""
        self.told()
        self.type(line.encode() + b"\r")
        before, mark, after = self.told().partition(b"twice gives up.\r\n")
        assert mark, before
        self._told += after

    def meets(self, side: Sender | Receiver, bodies: Sequence[bytes] = (), seconds: float = 600.0) -> Met:
        """The partner's program, whose clock began at 0, until it has ended; then the pause behind it."""
        met, began, positions = Met(), self.now, [0] * len(bodies)
        heading: Document | None = None
        body = bytearray()

        def do(effects: list[Effect]) -> None:
            nonlocal heading
            for effect in effects:
                match effect:
                    case Send(data):
                        self.type(data)
                    case Want(count, number):
                        assert isinstance(side, Sender)
                        start = positions[number]
                        positions[number] += count
                        do(side.supply(bodies[number][start : start + count], self.now - began))
                    case Block(data):
                        body.extend(data)
                    case Document():
                        heading = effect
                    case Ended() if isinstance(side, Receiver):
                        met.received.append((heading, bytes(body)))
                        body.clear()
                    case Done() | Failed():
                        met.last = effect

        while met.last is None and self.now < began + seconds:
            told = self.told()
            if told:
                self.now += 0.01
                do(side.feed(told, self.now - began))
                continue  # what the line was busy with is there, so there was no silence
            do(side.at(self.now - began))
            if met.last is None and not self._told:
                theirs = side.due()
                dues = [each for each in (self.due, theirs and theirs + began) if each is not None]
                self.wait(max(0.001, min(dues) - self.now) if dues else 1.0)
        self.wait(2.0)
        return met


def with_settings(**changes: object) -> Settings:
    return replace(PLAIN, **changes)  # type: ignore[arg-type]
