"""argv -> exit code: the `headrace` command and its subcommands."""

import argparse
import gc
import io
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from importlib import import_module
from typing import Final, Protocol, cast

from gateway import VERSION

_COMMANDS: Final = (
    "demo",
    "serve",
    "say",
    "check",
    "record",
    "site",
    "rehearse",
    "line",
    "listing",
    "member",
    "spool",
    "unit",
    "doctor",
)
"""Each a module of this package, in the order of the help."""
_EXIT_CODES = "Exit codes: 0 done; 1 it ran and failed; 2 wrong usage or configuration."


class _Command(Protocol):
    """A module of this package."""

    def add_parser(
        self, commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str
    ) -> None:
        """Describe the subcommand."""
        ...


def parser(wanted: Sequence[str] = _COMMANDS) -> argparse.ArgumentParser:
    """The whole command line (CONTRACT section 6), or what it has for the subcommands that are `wanted`: to
    load them all takes a small computer longer than most of them need for their work.
    """
    top = argparse.ArgumentParser(
        prog="headrace",
        description="A gateway that brings just enough of a big network to a small machine: short requests"
        " in, fixed-width records out.",
        epilog=_EXIT_CODES,
    )
    top.add_argument("--version", action="version", version=f"headrace {VERSION}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in wanted:
        module = cast(_Command, import_module(f"gateway.commands.{name}"))
        module.add_parser(commands, _EXIT_CODES)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one subcommand; the exit code is the process's."""
    words = sys.argv[1:] if argv is None else argv
    with _loading() if argv is None else nullcontext():  # a process of its own
        known = parser(_wanted(words))
    options = known.parse_args(words)
    if isinstance(sys.stdout, io.TextIOWrapper) and sys.stdout.errors == "strict":
        sys.stdout.reconfigure(errors="backslashreplace")  # names of files, and URLs, may be any text
    try:
        code: int = options.run(options)
        sys.stdout.flush()
    except KeyboardInterrupt:
        return 130
    except OSError as error:  # every command deals with its own files: this is standard output
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if not isinstance(error, BrokenPipeError):
            print(f"headrace: cannot write: {error.strerror}", file=sys.stderr)
        return 1
    return code


@contextmanager
def _loading() -> Iterator[None]:
    """Modules are loaded, which stay: the garbage collector need not look at them, neither again and again
    meanwhile, for a fifth of the time that it takes, nor later.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def _wanted(words: Sequence[str]) -> Sequence[str]:
    """The subcommands that have to be known for these words."""
    first = words[0] if words else ""
    if first in _COMMANDS:
        return (first,)
    return () if first == "--version" else _COMMANDS


if __name__ == "__main__":
    sys.exit(main())
