"""a session's wishes -> what is granted: one line's steps, run to its reply within the time there is."""

import asyncio
import logging
from typing import Protocol

from adapters import limits
from adapters.errors import HeadraceError, MayBeDone, NotRecorded
from gateway.service.logs import reason
from gateway.session.conversation import Session
from gateway.session.wishes import Called, DeliverWish, Granted, Staged, Wish, time_is_up
from gateway.wire.lines import Data, Line
from gateway.wire.replies import Lines

_log = logging.getLogger(__name__)


class Fulfiller(Protocol):
    """What grants a session's wishes (see `answers.Answers`)."""

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting, or None; a HeadraceError where that is certain already."""
        ...

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """What was wished for within `seconds`, or a HeadraceError."""
        ...


class Granting:
    """One client's requests, one at a time. What a warm cache can answer takes no further task."""

    def __init__(self, fulfiller: Fulfiller) -> None:
        self._fulfiller = fulfiller
        self._request: asyncio.Task[Granted] | None = None
        self._abandoned = False

    @property
    def under_way(self) -> bool:
        """Whether something that a session wished for is being waited for."""
        return self._request is not None

    def abandon(self) -> None:
        """CAN came: the request being worked on gets no reply."""
        self._abandoned = True
        if self._request is not None:
            self._request.cancel()

    async def reply(self, session: Session, event: Line | Data, seconds: float) -> Lines | None:
        """Run one line's steps to its reply within `seconds`; whatever goes wrong, there is one."""
        steps = session.respond(event)
        self._abandoned = False
        deadline = asyncio.get_running_loop().time() + seconds
        try:
            wish = next(steps)
            while True:
                try:
                    granted = self._fulfiller.now(wish) or await self._grant(wish, deadline)
                except HeadraceError as error:
                    tell(session.request_shown, error)
                    wish = steps.throw(error)
                    continue
                except Exception as error:  # noqa: BLE001 the session tells it when it is time to
                    _log.exception("request=%r failed", session.request_shown)
                    wish = steps.throw(failure(wish, error))
                    continue
                if granted is None:  # abandoned by CAN: no reply
                    steps.close()
                    session.abandoned()
                    return None
                wish = steps.send(granted)
        except StopIteration as stop:
            lines: Lines | None = stop.value
            return lines
        except Exception:  # noqa: BLE001 every request is answered, whatever failed
            _log.exception("request=%r failed", session.request_shown)
            return session.failed(HeadraceError())

    async def _grant(self, wish: Wish, deadline: float) -> Granted | None:
        """What was wished for; None where CAN abandoned the request meanwhile."""
        seconds = deadline - asyncio.get_running_loop().time()
        request = asyncio.get_running_loop().create_task(self._fulfiller.answer(wish, with_margin(seconds)))
        self._request = request
        try:
            async with asyncio.timeout_at(deadline):
                granted = await request
        except TimeoutError as error:
            let_go(request)
            raise time_is_up(wish) from error
        except asyncio.CancelledError:
            let_go(request)
            if self._abandoned and not _being_cancelled():
                return None
            raise
        except BaseException:
            let_go(request)
            raise
        else:
            if not self._abandoned:
                return granted
            let_go(request)  # CAN came just after it was granted
            return None
        finally:
            self._request = None
            forget(wish)


def with_margin(seconds: float) -> float:
    """What is left for the work, so that the reply itself is in time."""
    return seconds - min(limits.ANSWER_MARGIN_SECONDS, seconds / 10)


def failure(wish: Wish, error: Exception) -> HeadraceError:
    """What the client is told of a fault of our own; a wish that changes something may have been granted."""
    told = time_is_up(wish) if isinstance(time_is_up(wish), MayBeDone) else HeadraceError()
    told.__cause__ = error
    return told


def let_go(request: "asyncio.Task[Granted]") -> None:
    """Nobody waits for this any more: what it began to take in is dropped."""
    if not request.cancel() and not request.cancelled() and request.exception() is None:
        granted = request.result()
        if isinstance(granted, Staged):
            granted.staging.drop()
        if isinstance(granted, Called):
            granted.call.drop()


def forget(wish: Wish) -> None:
    """The wish is dealt with, in whatever way. What was to be delivered and was never made a job is dropped;
    on one that was, this has no effect.
    """
    if isinstance(wish, DeliverWish):
        wish.staging.drop()


def _being_cancelled() -> bool:
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0


def tell(request: str, error: HeadraceError) -> None:
    """The log. What was not recorded is a matter for who runs an offline day: it says what comes nearest."""
    if isinstance(error, NotRecorded):
        notes = {name.lower(): text for name, text in error.notes}
        _log.warning("nothing recorded for request=%r", request, extra=notes)
    else:
        trace = error if _log.isEnabledFor(logging.DEBUG) else None
        _log.info("request=%r code=%s why=%r", request, error.code, reason(error), exc_info=trace)
