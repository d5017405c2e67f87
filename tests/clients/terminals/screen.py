"""A terminal program in a terminal of its own (tmux): keys in, the screen out."""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

import pytest

PATIENCE = 40.0  # seconds
_LOOK = 0.05


def program(name: str) -> str:
    """Where it is; the test is skipped where it is not."""
    found = shutil.which(name)
    if found is None or shutil.which("tmux") is None:
        pytest.skip(f"{name} and tmux are needed")
    return found


class Screen:
    """One program's. `rows` by `columns`."""

    def __init__(
        self, command: Sequence[str], environment: Mapping[str, str], *, rows: int = 30, columns: int = 80
    ) -> None:
        self._command = (program(command[0]), *command[1:])
        self._environment = {"PATH": os.environ["PATH"], "TERM": "screen", **environment}
        self._size = ("-x", str(columns), "-y", str(rows))
        self._folder = Path(tempfile.mkdtemp(prefix="screen-"))  # a socket's name has to be short

    def __enter__(self) -> Self:
        settings = self._folder / "settings"
        settings.write_text("set -g remain-on-exit on\n")  # what a program said at its end is worth seeing
        self._tmux("-f", str(settings), "new-session", "-d", *self._size, "--", *self._command)
        self._process = Path("/proc") / self._tmux("display-message", "-p", "#{pane_pid}").strip()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._tmux("kill-server")
        until = time.monotonic() + PATIENCE
        while self._process.exists() and time.monotonic() < until:
            time.sleep(_LOOK)
        shutil.rmtree(self._folder)

    def type(self, text: str) -> None:
        """Type characters, and the return key for each CR."""
        first, *others = text.split("\r")
        self._letters(first)
        for each in others:
            self.key("Enter")
            self._letters(each)

    def key(self, name: str) -> None:
        """Press a key, by tmux's name."""
        self._tmux("send-keys", name)

    def _letters(self, text: str) -> None:
        if text:
            self._tmux("send-keys", "-l", "--", text)

    def lines(self) -> list[str]:
        """What is on the screen, blanks at the ends off."""
        return [each.rstrip() for each in self._tmux("capture-pane", "-p").split("\n")]

    def wait_for(self, *wanted: str, seconds: float = PATIENCE) -> list[str]:
        """The screen, once it shows these as whole lines, one below the other."""
        until = time.monotonic() + seconds
        while True:
            lines = self.lines()
            starts = range(len(lines) - len(wanted) + 1)
            if any(lines[at : at + len(wanted)] == list(wanted) for at in starts):
                return lines
            shown = "\n".join(lines)
            assert time.monotonic() < until, f"waited for {wanted}; on the screen:\n{shown}"
            time.sleep(_LOOK)

    def wait_for_prompt(self, wanted: str) -> None:
        """Until a line that begins so is the last."""
        until = time.monotonic() + PATIENCE
        while not self._last().startswith(wanted):
            shown = "\n".join(self.lines())
            assert time.monotonic() < until, f"waited for {wanted!r}; on the screen:\n{shown}"
            time.sleep(_LOOK)

    def wait_for_words(self, words: str) -> None:
        """Until some line has these in it, such as a window's that lies over others."""
        until = time.monotonic() + PATIENCE
        while not any(words in each for each in self.lines()):
            shown = "\n".join(self.lines())
            assert time.monotonic() < until, f"waited for {words!r}; on the screen:\n{shown}"
            time.sleep(_LOOK)

    def _last(self) -> str:
        filled = [each for each in self.lines() if each and "Minicom" not in each]
        return filled[-1] if filled else ""

    def _tmux(self, *words: str) -> str:
        command = ("tmux", "-S", str(self._folder / "socket"), *words)
        done = subprocess.run(
            command, env=self._environment, check=True, capture_output=True, text=True, timeout=PATIENCE
        )
        return done.stdout
