"""A client's line, as an attacker has it: requests as words or bytes -> replies as one short text."""

import time

from gateway.testing.clients.line import Line, NothingCame

PATIENCE = 15.0  # seconds, beyond any `wait` of these tests
GONE = "closed"


class AttackLine:
    """A connection. What the gateway says is taken apart by the contract's counts alone (section 2)."""

    def __init__(self, host: str, port: int) -> None:
        self._line = Line(host, port, PATIENCE)

    def ask(self, request: str) -> str:
        """The reply to one request, as `reply` tells it."""
        self.put(request.encode("latin-1") + b"\r")
        return self.reply()

    def put(self, data: bytes) -> None:
        """Bytes as they stand."""
        self._line.send(data, PATIENCE)

    def reply(self, patience: float = PATIENCE) -> str:
        """The next reply: its code, its records with a bar between them, and a worst mark that it may have.

        "closed" where the gateway hangs up instead.
        """
        deadline = time.monotonic() + patience
        try:
            status = self._line.take(18, deadline).decode("ascii")
            assert status.endswith("\r\n"), status
            count, width = int(status[4:9]), int(status[10:13])
            records = []
            for _ in range(count):
                record = self._line.take(width + 2, deadline).decode("ascii")
                assert record.endswith("\r\n"), record
                assert record[:-2].isprintable(), record
                records.append(record[:-2].strip())
        except NothingCame as outcome:
            if outcome.hung_up and not self._line.pending:
                return GONE
            raise AssertionError(f"{outcome}; {bytes(self._line.pending[-200:])!r}") from None
        mark = "" if status[15] == "." else f" ({status[15]})"
        return f"{status[:3]} {'|'.join(records)}".rstrip() + mark

    def skip(self, start: bytes) -> None:
        """Leave out what the gateway says of telnet: three bytes each, of which `start` are the first two."""
        deadline = time.monotonic() + PATIENCE
        while (first := self._line.take(1, deadline)) == start[:1]:
            assert self._line.take(2, deadline)[:1] == start[1:]
        self._line.pending[:0] = first

    def exactly(self, data: bytes) -> bool:
        """Whether the next bytes are these."""
        return self._line.take(len(data), time.monotonic() + PATIENCE) == data

    def after_call(self) -> str:
        """What comes behind a raw stream: the rest of it, a line end, and the status line that ends it."""
        deadline = time.monotonic() + PATIENCE
        while (line := self._line.take_until(b"\r\n", deadline)) != b"226 00000 000 ..":
            assert len(line) < 1_000
        return "226"

    def reset(self) -> None:
        """Cut it (TCP's RST)."""
        self._line.reset()

    def ended(self, patience: float = PATIENCE) -> bool:
        """Whether the gateway hangs up."""
        return self._line.ended(time.monotonic() + patience)

    def finish(self) -> None:
        """Send no more."""
        self._line.finish()

    def close(self) -> None:
        """Hang up."""
        self._line.close()
