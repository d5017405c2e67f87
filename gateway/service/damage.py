"""A file that is damaged, or no file -> the same under another name, where it is in nobody's way."""

import os
from pathlib import Path
from typing import Final

DAMAGED: Final = ".damaged"


def set_aside(path: Path) -> Path:
    """Rename a file or folder to `NAME.damaged`, or `NAME.damaged.2` and so on: what was set aside earlier
    stays. Where it is now. OSError; FileNotFoundError where nothing is there any more.
    """
    aside = path.with_name(f"{path.name}{DAMAGED}")
    number = 1
    while os.path.lexists(aside):
        number += 1
        aside = path.with_name(f"{path.name}{DAMAGED}.{number}")
    path.rename(aside)
    return aside


def lying_aside(folder: Path) -> list[Path]:
    """What was set aside in a folder, by name; none where it cannot be looked into."""
    try:
        return sorted(each for each in folder.iterdir() if DAMAGED in each.name)
    except OSError:
        return []
