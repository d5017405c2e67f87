"""The spool's folder -> what was set aside in it as damaged, as far as that can still be told. Blocking."""

import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gateway.service.damage import DAMAGED
from gateway.service.spool.folder import look, read_small
from gateway.service.spool.record import Damaged, SpooledJob, read_record

_PART: Final = re.compile(rf"(\d+)\.([a-z]+){re.escape(DAMAGED)}(?:\.\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Aside:
    """A damaged transfer. `job` is None where no description of it can be read; `size` are the bytes that are
    there of it, None where there is no such file.
    """

    number: int
    job: SpooledJob | None
    size: int | None
    why: str


def lying_aside(folder: Path) -> list[Aside]:
    """All of them, by number; nothing is changed. OSError where the folder cannot be looked into."""
    return [_aside(folder, number) for number in sorted(look(folder).damaged)]


def remove(folder: Path, number: int) -> bool:
    """Remove what was set aside of that number; whether there was any. OSError; what is no file stays."""
    files = _files(folder, number)
    for each in files:
        with suppress(IsADirectoryError):
            each.unlink(missing_ok=True)
    return bool(files)


def _files(folder: Path, number: int, *parts: str) -> list[Path]:
    matches = ((each, _PART.fullmatch(each.name)) for each in sorted(folder.iterdir()))
    return [
        each
        for each, match in matches
        if match is not None and int(match[1]) == number and (not parts or match[2] in parts)
    ]


def _aside(folder: Path, number: int) -> Aside:
    job, size, why = None, None, "nobody knows why"
    for each in _files(folder, number, "job", "spare"):
        with suppress(OSError, Damaged):
            job = read_record(read_small(each)).job
    for each in _files(folder, number, "data"):
        with suppress(OSError):
            size = each.stat(follow_symlinks=False).st_size
    for each in _files(folder, number, "why"):
        with suppress(OSError):
            why = read_small(each).decode("utf-8", "replace")
    return Aside(number, job, size, why)
