"""`headrace check`: is the catalogue right, and what can stand in it."""

import argparse
from pathlib import Path

from rich.console import Console
from rich.table import Table

from gateway.catalogue.explain import KEYS
from gateway.commands import wiring
from gateway.wire.settings import LATER, SETTINGS


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "check",
        help="validate the catalogue",
        description="Validate the catalogue: every mistake at once, each with its line, column and a caret.",
        epilog=epilog,
    )
    wiring.add_config(parser)
    parser.add_argument(
        "--explain", action="store_true", help="print every key, its default and meaning, and check nothing"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Check or explain; 2 where the catalogue is wrong."""
    if options.explain:
        explain(Console())
        return 0
    path = Path(options.config)
    catalogue = wiring.catalogue_or_complaint(path)
    if catalogue is None:
        return wiring.WRONG_USAGE
    print(
        f"{path}: good. Sources {len(catalogue.sources)}, places {len(catalogue.places)},"
        f" profiles {len(catalogue.profiles)}, listeners {len(catalogue.listeners)}."
    )
    for source in catalogue.sources.values():
        words = " ".join([source.name, *(arg.name.upper() for arg in source.args)])
        print(f"  {'TELL' if source.changes else 'ASK'} {words}: records of {source.plan.width}")
    return 0


def explain(console: Console) -> None:
    """Every key of the file and every setting of a profile."""
    tables = dict.fromkeys(key.table for key in KEYS)
    for name in tables:
        table = _table(console, f"[{name}]", "key", "default", "allowed", "meaning")
        for key in KEYS:
            if key.table == name:
                table.add_row(key.name, key.default, key.allowed, key.meaning)
        console.print(table)
    table = _table(console, "[profile.NAME], and SET", "key", "default", "allowed", "meaning")
    for setting in SETTINGS.values():
        table.add_row(setting.name, setting.default, setting.values, setting.meaning)
    console.print(table)
    console.print(f"In a later version: {', '.join(sorted(LATER))}.", markup=False)


def _table(console: Console, title: str, *columns: str) -> Table:
    table = Table(box=None, title=None, pad_edge=False)
    console.print(f"\n{title}", markup=False, style="bold")
    for column in columns:
        table.add_column(column, overflow="fold")
    return table
