"""A session with a raw stream open -> the line is piped to it; what tells the client that it is over."""

import asyncio
import logging
import time
from collections.abc import Callable

from gateway.service.clients.sending import Sender
from gateway.service.streams.open_call import OpenCall
from gateway.service.streams.piping import Ending, Pipe, Ways
from gateway.session.conversation import Session
from gateway.wire.replies import Lines

_log = logging.getLogger(__name__)


class Talking:
    """One connection's raw streams, one after the other. `choke` and `heard` as in `Pipe`."""

    def __init__(self, choke: Callable[[bool], None], heard: Callable[[], None]) -> None:
        self._choke, self._heard = choke, heard
        self._pipe: Pipe | None = None
        self._finished = False

    def takes(self, session: Session, data: bytes) -> bool:
        """Whether what came is for a stream; it is then on its way."""
        if self._pipe is None:
            return False
        self._pipe.feed(session.reader.after_end(data))
        return True

    def room(self) -> None:
        """The client has read."""
        if self._pipe is not None:
            self._pipe.room()

    def finish(self) -> None:
        """The client sends no more."""
        self._finished = True
        if self._pipe is not None:
            self._pipe.finish()

    def end(self) -> None:
        """The gateway ends it."""
        if self._pipe is not None:
            self._pipe.end(Ending.GATEWAY)

    def refuse(self, session: Session) -> Lines | None:
        """None where no stream was opened; else it is over before anything was said, as `run` tells it."""
        if session.talking is None:
            return None
        assert isinstance(session.talking.call, OpenCall)
        session.talking.call.drop()
        return session.stream_over(Ending.GATEWAY.value)

    async def run(
        self, session: Session, sender: Sender, transport: asyncio.Transport, peer: str
    ) -> Lines | None:
        """None where no stream was opened; else what tells the client that it is over."""
        talk, reader = session.talking, session.reader
        if talk is None:
            return None
        assert isinstance(talk.call, OpenCall)
        ways = Ways(talk.to_client(session.eol), talk.to_far(), reader.settings)
        began = time.perf_counter()
        pipe = Pipe(talk.call, ways, sender, owed=transport.write, choke=self._choke, heard=self._heard)
        reader.release()
        self._pipe = pipe
        try:
            self._choke(False)  # what came before the stream may have been too much to read on
            pipe.feed(reader.take_waiting())
            if self._finished:
                pipe.finish()
            ending = await pipe.run()
        finally:
            self._pipe = None
        self._choke(False)
        reader.feed(pipe.rest)
        lines = session.stream_over(ending.value)
        call, seconds = talk.call, time.perf_counter() - began
        told = (peer, session.request_shown, ending.value, call.sent, call.heard, seconds)
        _log.info("peer=%s request=%r over=%r sent=%d heard=%d seconds=%.1f", *told)
        return lines
