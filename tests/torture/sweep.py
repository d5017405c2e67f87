"""Trials -> what came of all of them, several gateways at work side by side."""

import tempfile
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from tests.torture.ground import ground
from tests.torture.plan import Trial
from tests.torture.trial import Outcome, Trials, host


@dataclass(slots=True)
class Figures:
    """`idle` are trials in which the point was not reached, as what is reached depends on the time, too."""

    trials: int = 0
    idle: int = 0
    failures: int = 0
    codes: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[Trial, Sequence[str]]] = field(default_factory=list)
    complaints: Counter[str] = field(default_factory=Counter)

    def add(self, trial: Trial, outcome: Outcome) -> None:
        """One more."""
        self.trials += 1
        self.idle += not outcome.struck
        self.failures += outcome.struck
        self.codes += outcome.codes
        self.complaints.update(outcome.complaints)
        if outcome.wrong:
            self.wrong.append((trial, outcome.wrong))

    def told(self) -> str:
        """For whoever reads it."""
        codes = ", ".join(f"{code} {count}" for code, count in sorted(self.codes.items()))
        lines = [
            f"{self.trials} trials, {self.failures} calls failed, {self.idle} points not reached",
            f"replies: {codes}",
            f"wrong: {len(self.wrong)}",
        ]
        for trial, wrong in self.wrong:
            lines += [str(trial), *(f"    {each}" for each in wrong)]
        return "\n".join(lines)


@contextmanager
def torturers(count: int) -> Iterator[list[Trials]]:
    """So many, each with far servers and a gateway's process of its own."""
    with ExitStack() as stack:
        made = []
        for _ in range(count):
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="headrace-torture-")))
            made.append(Trials(stack.enter_context(ground(folder)), stack.enter_context(host())))
        yield made


def sweep(
    torturers: Sequence[Trials], trials: Iterable[Trial], tell: Callable[[str], None] = lambda _: None
) -> Figures:
    """All of them; `tell` is told of each that went wrong, and how far it is."""
    figures, lock, waiting = Figures(), threading.Lock(), iter(list(trials))

    def work(torturer: Trials) -> None:
        while True:
            with lock:
                trial = next(waiting, None)
            if trial is None:
                return
            try:
                outcome = torturer.trial(trial.chapter, trial.point, trial.error, for_good=trial.for_good)
            except AssertionError as fault:
                outcome = Outcome(wrong=[f"the trial itself failed: {fault}"])
            with lock:
                figures.add(trial, outcome)
                if outcome.wrong:
                    tell(f"{trial}\n" + "".join(f"    {each}\n" for each in outcome.wrong))
                if figures.trials % 100 == 0:
                    tell(f"... {figures.trials}\n")

    with ThreadPoolExecutor(len(torturers)) as pool:
        for each in [pool.submit(work, torturer) for torturer in torturers]:
            each.result()
    return figures
