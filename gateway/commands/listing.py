"""`headrace listing`: a client program that asks a source and shows its records, on standard output."""

import argparse
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from adapters import limits
from adapters.errors import HeadraceError, TooLarge, WrongWords
from gateway.catalogue.calling.numbers import is_number
from gateway.catalogue.document.mistakes import nearest
from gateway.catalogue.model import ArgKind, Catalogue, LinesBody, Source
from gateway.commands import wiring
from gateway.listings.program import Buffered, SendsLines, Task, Writer, task_of
from gateway.listings.writers import WRITERS
from gateway.wire.settings import SETTINGS, Settings, change

_STATUS_LINE = 16  # CONTRACT section 2
_LINE_END = 2  # bytes at most
_MACHINES = ("eol", "case", "typed")  # settings that a trait's machines are known by


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    traits = " ".join(f"{each.name}: {each.about}." for each in WRITERS.values())
    parser = commands.add_parser(
        "listing",
        help="write a client program for a source",
        description="Print a complete client program that asks SOURCE and shows its records, for machines of"
        f" one trait. {traits} The program begins by a SET that makes the gateway suit it: its trait's own"
        " settings, or those of --profile; --set adds to them. For a receive buffer of 128 bytes take"
        " --profile buffer-128, or what headrace line proposes. What --for and SOURCE may be is told where"
        " one is left out.",
        epilog=epilog,
    )
    wiring.add_config(parser)
    parser.add_argument("source", nargs="?", metavar="SOURCE", help="a source of the catalogue")
    parser.add_argument("arg", nargs="*", metavar="ARG", help="the source's args, as the program's example")
    parser.add_argument("--for", dest="trait", metavar="TRAIT", help=f"one of {' '.join(WRITERS)}")
    parser.add_argument(
        "--profile", metavar="NAME", help="a profile in the place of the trait's own settings"
    )
    parser.add_argument(
        "--set",
        dest="pairs",
        nargs="+",
        action="extend",
        default=[],
        metavar="KEY=VALUE",
        help="settings to add",
    )
    parser.add_argument("--output", metavar="FILE", help="where to write it (default: standard output)")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the program; 2 where a word is wrong or settings do not suit, 1 where FILE cannot be written."""
    catalogue = wiring.catalogue_or_complaint(Path(options.config))
    if catalogue is None:
        return wiring.WRONG_USAGE
    try:
        text = written(catalogue, options)
    except HeadraceError as error:
        print(f"headrace: {error.sentence}", file=sys.stderr)
        return wiring.WRONG_USAGE
    if options.output is None:
        sys.stdout.write(text)
        return 0
    try:
        Path(options.output).write_text(text, "ascii", newline="\n")
    except OSError as error:
        print(f"headrace: cannot write {options.output}: {error.strerror}", file=sys.stderr)
        return 1
    return 0


def written(catalogue: Catalogue, options: argparse.Namespace) -> str:
    """The program's text. HeadraceError where there is none; its sentence names the nearest right word."""
    if options.trait is None:
        raise WrongWords(f"--for TRAIT is wanted, one of: {', '.join(WRITERS)}")
    writer = WRITERS.get(options.trait.lower())
    if writer is None:
        raise WrongWords(_no("trait", options.trait, WRITERS))
    if options.source is None:
        raise WrongWords(f"SOURCE is wanted, one of: {', '.join(catalogue.sources).lower()}")
    source = catalogue.sources.get(options.source.upper())
    if source is None:
        raise WrongWords(_no("source", options.source, [name.lower() for name in catalogue.sources]))
    if isinstance(source.body, LinesBody) and not isinstance(writer, SendsLines):
        raise WrongWords(
            f"{source.name} takes lines of text after its request, which no {writer.name} listing sends"
        )
    _check_args(source, options.arg)
    setup, settings = _settings(catalogue, writer, options.profile, options.pairs)
    task = task_of(source, setup, settings, tuple(options.arg))
    if task.width > settings.most:
        raise TooLarge(
            f"{source.name} has records of {task.width}, and the settings take {settings.most}: the gateway"
            f" would answer 552 (try --set most={task.width}{_window(writer, task, ' ')})"
        )
    text = writer.write(task)
    _warn(writer, task)
    if options.profile is not None:
        _warn_of_profile(writer, options.profile, settings)
    return text


def _no(what: str, word: str, words: Iterable[str]) -> str:
    near = nearest(word, words)
    return f"no {what} {word!r}" + (f"; did you mean {near}?" if near else f"; there are: {', '.join(words)}")


def _check_args(source: Source, args: Sequence[str]) -> None:
    if len(args) > len(source.args):
        names = " ".join(each.name.upper() for each in source.args)
        raise WrongWords(f"{source.name} takes {f'only {names}' if names else 'no args'}")
    for arg, given in zip(source.args, args, strict=False):
        if arg.choices and given.casefold() not in arg.choices:
            raise WrongWords(_no(arg.name, given, arg.choices))
        if not arg.choices and not is_number(given, arg.kind):
            kind = "a whole number" if arg.kind is ArgKind.INT else "a number"
            raise WrongWords(f"{arg.name} is {kind}, not {given!r}")


def _settings(
    catalogue: Catalogue, writer: Writer, profile: str | None, pairs: Sequence[str]
) -> tuple[str, Settings]:
    """The request that sets them, and what they come to."""
    words = writer.setup.split() if profile is None else [profile]
    name = words[0].upper()
    if name not in catalogue.profiles:
        raise WrongWords(_no("profile", words[0], [each.lower() for each in catalogue.profiles]))
    words = [words[0].lower(), *words[1:], *pairs]
    split = []
    for word in words[1:]:
        key, equals, value = word.partition("=")
        if not equals:
            raise WrongWords(f"--set takes KEY=VALUE, not {word!r}")
        if key.lower() not in SETTINGS:
            raise WrongWords(_no("setting", key, SETTINGS))
        split.append((key, value))
    return f"SET {' '.join(words)}", change(catalogue.profiles[name], split)


def _warn(writer: Writer, task: Task) -> None:
    """Say on standard error where a fast line may send more than the machine's buffer holds."""
    if not isinstance(writer, Buffered) or task.settings.flow == "xon":
        return
    lines = task.settings.window
    held = lines * (max(task.width, _STATUS_LINE) + _LINE_END)
    if 0 < held <= writer.buffer:
        return
    said = f"{lines} lines of {task.width} are {held} bytes with their ends" if lines else "no window is set"
    print(
        f"headrace: {said}, and the receive buffer of such machines holds {writer.buffer}:"
        f" a fast line may lose characters (try --set{_window(writer, task, ' ')})",
        file=sys.stderr,
    )


def _warn_of_profile(writer: Writer, profile: str, settings: Settings) -> None:
    """Say on standard error what of the writer's own settings the profile took the place of, if machines of
    that trait may need it.
    """
    wanted = (word.partition("=") for word in writer.setup.split())
    words = [f"{key}={value}" for key, _, value in wanted if key in _MACHINES]
    has = {f"eol={settings.eol}", f"case={settings.case}", f"typed={settings.typed}"}
    missing = " ".join(each for each in words if each not in has)
    if missing:
        print(
            f"headrace: {profile.lower()} has not {missing}, which {writer.name} machines may need"
            f" (try --set {missing})",
            file=sys.stderr,
        )


def _window(writer: Writer, task: Task, before: str) -> str:
    """The setting of a window that fits the machine's buffer, if it has one.

    Settings that limit both lines and their width, as those of buffer-128 do, tell of a buffer themselves.
    """
    settings, rooms = task.settings, []
    if isinstance(writer, Buffered):
        rooms.append(writer.buffer)
    if settings.window and settings.most < limits.RECORD_WIDTH:
        rooms.append(settings.window * (settings.most + _LINE_END))
    if not rooms:
        return ""
    return f"{before}window={max(1, min(rooms) // (max(task.width, _STATUS_LINE) + _LINE_END))}"
