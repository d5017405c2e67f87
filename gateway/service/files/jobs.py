"""A change -> a job that its client may leave: 250 when it is done in time, 150 when it goes on without.

A job is not cancelled by whoever waits for it: a client that hangs up after the last data line has sent all
there is, and wants it stored. Changes of one target are made one after another, in the order in which they
were asked for.
"""

import asyncio
import logging
from collections import Counter
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError, MayBeDone, NoRoom
from gateway.service.files.turns import Turns
from gateway.session.wishes import Done

_log = logging.getLogger(__name__)
BEGUN: Final = 150
DONE: Final = 250


class Job:
    """One change: what is known of it at any time."""

    def __init__(self, title: str, origin: str = "", to: str = "") -> None:
        self._title = title
        self._ends = [(name, text) for name, text in (("FROM", origin), ("TO", to)) if text]
        self.moved = 0
        self.carried = 0  # of them through this gateway
        self.size: int | None = None
        self.checked = ""
        self.steps: tuple[tuple[str, float], ...] = ()
        self.fault: HeadraceError | None = None
        self.begun = False
        self.alone = False  # nobody waits for it any more
        self.ended = False
        self.noted = asyncio.Event()  # whether it is safe, should the gateway be killed

    def progress(self) -> Sequence[tuple[str, str]]:
        """How far it is or how it ended, for WHY."""
        pairs = [("JOB", f"{self._title}, {self._state()}"), *self._ends]
        if self.moved or self.size is not None:
            pairs.append(("BYTES", f"{self.moved}" if self.size is None else f"{self.moved} of {self.size}"))
        if self.checked:
            pairs.append(("CHECKED", f"by its {self.checked}"))
        if self.fault is not None:
            pairs.append(("ERROR", f"{self.fault.code} {self.fault.sentence}"))
        return pairs + [("TOOK", f"{label} {seconds * 1000:.1f} ms") for label, seconds in self.steps]

    def _state(self) -> str:
        if not self.ended:
            return "under way"
        return "done" if self.fault is None else "failed"


class Jobs:
    """All changes of one gateway that are under way."""

    def __init__(self) -> None:
        self._tasks: set[asyncio.Task[None]] = set()
        self._turns = Turns()
        self._transfers: Counter[str] = Counter()

    @property
    def under_way(self) -> int:
        """How many there are."""
        return len(self._tasks)

    def check_room(self, origins: Sequence[str]) -> None:
        """NoRoom where one more transfer at these servers would be too many: at one of them, or in all."""
        if len(self._tasks) >= limits.JOBS or any(
            self._transfers[origin] >= limits.JOBS_PER_ORIGIN for origin in origins
        ):
            raise NoRoom("Too many transfers are under way")

    async def run(
        self,
        job: Job,
        work: Callable[[], Awaitable[None]],
        urls: Sequence[str],
        seconds: float,
        *,
        transfers: bool = False,
        first: Callable[[], Awaitable[None]] | None = None,
        last: Callable[[], None] = lambda: None,
    ) -> Done:
        """Do `work`, which alone changes `urls` meanwhile; a HeadraceError where it failed within `seconds`.
        `first` is done before, whose turn it may be; it notes down what is to be done, and is waited for.
        `last` is done when it has ended, however that was, and whether or not `work` had its turn.

        `transfers`: it moves bytes. Such a job may need two connections to a server at one time, so only some
        may be under way there: else each could hold one and wait for another for ever. NoRoom where too many
        are.
        """
        turns = dict.fromkeys(urls, 1)
        origins = origins_of(urls) if transfers else []
        if transfers:
            self.check_room(origins)
            turns |= dict.fromkeys(origins, limits.TRANSFERS_PER_ORIGIN)
        task = asyncio.get_running_loop().create_task(self._work(job, first, work, turns))
        job.begun = True
        self._tasks.add(task)
        self._transfers.update(origins)

        def over(_: object) -> None:
            job.noted.set()
            self._tasks.discard(task)
            self._transfers.subtract(origins)
            self._transfers += Counter()  # forgets those of which there are none
            last()

        task.add_done_callback(over)
        try:
            await asyncio.wait({task}, timeout=max(0.0, seconds))
            await job.noted.wait()  # 150 is a promise
        finally:
            job.alone = not task.done()
        if job.alone:
            return Done(BEGUN, job.progress, lambda: job.ended)
        if job.fault is not None:
            raise job.fault
        return Done(DONE, job.progress)

    async def aclose(self, seconds: float) -> None:
        """Let what is under way end by itself for `seconds`, then break it off."""
        if self._tasks:
            await asyncio.wait(self._tasks, timeout=seconds)
        left = list(self._tasks)
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)

    async def _work(
        self,
        job: Job,
        first: Callable[[], Awaitable[None]] | None,
        work: Callable[[], Awaitable[None]],
        turns: Mapping[str, int],
    ) -> None:
        try:
            async with self._turns.place(turns) as due:
                if first is not None:
                    await first()
                job.noted.set()
                await due.wait()
                await work()
        except HeadraceError as fault:
            job.fault = fault
            if job.alone:
                _log.warning("a change failed that nobody waited for", extra={"code": fault.code})
        except asyncio.CancelledError:
            job.fault = MayBeDone("The gateway went down meanwhile")
            raise
        except Exception:  # noqa: BLE001 whatever failed, it is not known how far it came
            _log.exception("a change failed")
            job.fault = MayBeDone()
        finally:
            job.ended = True


def left(ends: float) -> float:
    """Seconds until `ends` by the event loop's clock. What begins late has less, or its 150 came too late."""
    return max(0.0, ends - asyncio.get_running_loop().time())


def origins_of(urls: Sequence[str]) -> list[str]:
    """The far servers of some URLs; this computer's disk is none."""
    return sorted({"/".join(url.split("/")[:3]) for url in urls if not url.startswith("file:")})
