"""The BASICs that generated programs are run under, each as text, port, folder -> what it printed.

None of them sees a stub: each speaks to a real gateway on loopback, PC-BASIC through its own COM device, the
others through a pseudo terminal that socat joins to the port.
"""

import importlib.util
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.environment import ENVIRONMENT

PATIENCE = 240  # seconds for one program
Run = Callable[[str, int, Path], list[str]]


def pcbasic(text: str, port: int, folder: Path) -> list[str]:
    """Under PC-BASIC, as written. It exits with 0 even on errors: a program prints a sentinel.

    A folder of its own for what it keeps: two that begin together can fail over making the usual one.
    """
    (folder / "CLIENT.BAS").write_bytes(text.replace("\n", "\r\n").encode("ascii") + b"\x1a")
    command = [sys.executable, "-m", "pcbasic", "--interface=none", "--sound=False", "--output=STDOUT:"]
    command += [f"--com1=SOCKET:127.0.0.1:{port}", "--quit", "--state=/dev/null", "--run=CLIENT.BAS"]
    kept = {"XDG_DATA_HOME": str(folder), "XDG_CONFIG_HOME": str(folder)}
    done = subprocess.run(
        command, cwd=folder, env={**ENVIRONMENT, **kept}, capture_output=True, timeout=PATIENCE, check=False
    )
    assert done.returncode == 0, done.stderr.decode("utf-8", "replace")
    return done.stdout.decode("utf-8").split("\r\n")  # what it prints is in its own code page


def hash_channel_under_pcbasic(text: str, port: int, folder: Path) -> list[str]:
    """A `hash-channel` program under PC-BASIC: there is no free interpreter of its own kind among the
    packages. Only its channel statements are translated, each to PC-BASIC's way of doing just that; flow,
    columns, check and what is printed are as written.

    OPEN 1,2,0,...  ->  OPEN "COM1:..." AS #1, at the same speed setting for all
    GET#1,Z$        ->  Z$="" or, where LOC says that there is one, one character by INPUT$
    CLOSE 1         ->  CLOSE #1 (PRINT#1 means the same in both)
    """
    translated, count = re.subn(r"OPEN 1,2,0,.*", 'OPEN "COM1:9600,N,8,1,CS,DS,CD" AS #1', text)
    assert count == 1
    translated, count = re.subn(
        r"^(\d+) GET#1,Z\$: (.*)$",
        r'\1 Z$="": IF LOC(1)>0 THEN Z$=INPUT$(1,#1)' + "\n" + r"\g<1>\g<1>0 \2",
        translated,
        flags=re.MULTILINE,
    )
    assert count == 1
    return pcbasic(_in_order(translated.replace("CLOSE 1", "CLOSE #1")), port, folder)


def _in_order(text: str) -> str:
    """Lines numbered anew, since one was added; jumps go where they went."""
    lines = text.splitlines()
    numbers = {line.split()[0]: str(10 * place) for place, line in enumerate(lines, 1)}
    jump = re.compile(r"(?<=THEN |GOTO )\d+|(?<=GOSUB )\d+")
    return "".join(
        f"{numbers[number]} {jump.sub(lambda found: numbers[found[0]], rest)}\n"
        for number, _, rest in (line.partition(" ") for line in lines)
    )


@contextmanager
def terminal(port: int, folder: Path) -> Iterator[None]:
    """A file `tty` in the folder that is a serial line to the port."""
    command = ["socat", "PTY,link=./tty,raw,echo=0", f"TCP:127.0.0.1:{port}"]
    with subprocess.Popen(command, cwd=folder) as bridge:
        try:
            deadline = time.monotonic() + PATIENCE
            while not (folder / "tty").exists():
                assert bridge.poll() is None, "socat ended before it made the line"
                assert time.monotonic() < deadline, "socat made no line"
                time.sleep(0.02)
            yield
        finally:
            bridge.terminate()


def brandy(text: str, port: int, folder: Path) -> list[str]:
    """Under Matrix Brandy, as written: a line before the first sends what it prints to a file as well, and
    the screen is SDL's dummy driver.
    """
    (folder / "client.bas").write_text(f"1 *SPOOL printed.txt\n{text}", "ascii")
    environment = {**ENVIRONMENT, "SDL_VIDEODRIVER": "dummy", "SDL_AUDIODRIVER": "dummy"}
    with terminal(port, folder):
        subprocess.run(
            ["brandy", "-quit", "client.bas"],
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=PATIENCE,
            check=False,
        )
    lines = (folder / "printed.txt").read_text("latin1").replace("\r", "").split("\n")
    return [line for line in lines if line != ">"]  # the prompt it leaves with


def bwbasic(text: str, port: int, folder: Path) -> list[str]:
    """Under bwbasic, as written."""
    return _from_file("bwbasic", text, port, folder)


def yabasic(text: str, port: int, folder: Path) -> list[str]:
    """Under yabasic: each line that has a remark `REM OR:` after it is exchanged for what the remark says."""
    changed, count = re.subn(r"^.*\n( *)REM OR: (.*)$", r"\1\2", text, flags=re.MULTILINE)
    assert count >= 4
    return _from_file("yabasic", changed, port, folder)


def _from_file(name: str, text: str, port: int, folder: Path) -> list[str]:
    (folder / "client.bas").write_text(text, "ascii")
    with terminal(port, folder):
        done = subprocess.run(
            [name, "client.bas"],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=PATIENCE,
            check=True,
        )
    lines = done.stdout.decode("ascii").splitlines()
    greeting = ("Bywater BASIC", "Copyright", "bwBASIC:")
    return [line for line in lines if not line.startswith(greeting)]


def _missing(*programs: str) -> tuple[str, ...]:
    return tuple(each for each in programs if shutil.which(each) is None)


@dataclass(frozen=True, slots=True)
class Basic:
    """An interpreter, and what of it is not installed here."""

    trait: str
    run: Run
    missing: tuple[str, ...]

    @property
    def name(self) -> str:
        """The interpreter's."""
        return getattr(self.run, "__name__", self.trait)


_NO_PCBASIC = () if importlib.util.find_spec("pcbasic") else ("pcbasic",)
BASICS = (
    Basic("hash-channel", hash_channel_under_pcbasic, _NO_PCBASIC),
    Basic("com-channel", pcbasic, _NO_PCBASIC),
    Basic("bput-channel", brandy, _missing("brandy", "socat")),
    Basic("structured", bwbasic, _missing("bwbasic", "socat")),
    Basic("structured", yabasic, _missing("yabasic", "socat")),
)
"""The slowest first, as they are started."""

every_basic = pytest.mark.parametrize(
    "basic",
    [
        pytest.param(
            each,
            id=f"{each.trait}-{each.name}",
            marks=pytest.mark.skipif(
                bool(each.missing),
                reason=f"{' AND '.join(each.missing).upper()} MISSING:"
                f" generated {each.trait} program not run",
            ),
        )
        for each in BASICS
    ],
)
"""A test for each interpreter."""
