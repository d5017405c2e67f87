"""`headrace check`: is the catalogue right, and what can stand in it."""

import argparse
import shutil
import sys
from pathlib import Path

from gateway.catalogue.keys.explain import explained
from gateway.catalogue.model import Catalogue
from gateway.commands import check_live, wiring


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "check",
        help="validate the catalogue",
        description="Validate the catalogue: every mistake at once, each with its line, column and a caret."
        " With --live, ask the sources too, and tell which fields have moved, vanished, changed or no longer"
        " fit since they were recorded; exit code 1 where any has.",
        epilog=epilog,
    )
    wiring.add_config(parser)
    parser.add_argument(
        "--explain", action="store_true", help="print every key, its default and meaning, and check nothing"
    )
    check_live.add_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Check or explain; 2 where the catalogue is wrong."""
    if options.explain:
        print(explained(shutil.get_terminal_size().columns))
        return 0
    path = Path(options.config)
    catalogue = wiring.catalogue_or_complaint(path)
    if catalogue is None:
        return wiring.WRONG_USAGE
    if options.live:
        return check_live.run(options, catalogue)
    if options.sources or options.site is not None or options.quiet:
        print("headrace: a SOURCE, --site and --quiet: each goes with --live", file=sys.stderr)
        return wiring.WRONG_USAGE
    print(
        f"{path}: good. Sources {len(catalogue.sources)}, places {len(catalogue.places)},"
        f" profiles {len(catalogue.profiles)}, listeners {len(catalogue.listeners)}{_calls(catalogue)}."
    )
    for source in catalogue.sources.values():
        words = " ".join([source.name, *(arg.name.upper() for arg in source.args)])
        print(f"  {'TELL' if source.changes else 'ASK'} {words}: records of {source.plan.width}")
    return 0


def _calls(catalogue: Catalogue) -> str:
    """What there is for calls, where there is any."""
    numbers, ports = len(catalogue.phones), len(catalogue.reserved)
    return (f", phone numbers {numbers}" if numbers else "") + (
        f", ports for calls in {ports}" if ports else ""
    )
