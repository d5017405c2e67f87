"""argv -> exit code: the `headrace` command and its subcommands."""

import argparse
import io
import os
import sys
from collections.abc import Sequence

from gateway import VERSION
from gateway.commands import (
    check,
    demo,
    doctor,
    line,
    listing,
    member,
    record,
    rehearse,
    say,
    serve,
    site,
    spool,
    unit,
)

_EXIT_CODES = "Exit codes: 0 done; 1 it ran and failed; 2 wrong usage or configuration."


def parser() -> argparse.ArgumentParser:
    """The whole command line (CONTRACT section 6)."""
    top = argparse.ArgumentParser(
        prog="headrace",
        description="A gateway that brings just enough of a big network to a small machine: short requests"
        " in, fixed-width records out.",
        epilog=_EXIT_CODES,
    )
    top.add_argument("--version", action="version", version=f"headrace {VERSION}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for module in (
        demo,
        serve,
        say,
        check,
        record,
        site,
        rehearse,
        line,
        listing,
        member,
        spool,
        unit,
        doctor,
    ):
        module.add_parser(commands, _EXIT_CODES)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one subcommand; the exit code is the process's."""
    options = parser().parse_args(argv)
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


if __name__ == "__main__":
    sys.exit(main())
