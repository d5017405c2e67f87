"""source + settings -> Task: what a client program has to do, the same whatever language it is written in.

A writer turns a Task into the program's text. Programs are ASCII, no line of them is longer than 40 columns
(limits.LISTING_COLUMNS) where their language has lines of its own choosing, and each does the same:

1. opens the channel; `setup`, if it is not empty, is sent first and its reply read and checked;
2. sends `request` (its args, if any, stand as variables at the top, with an example's value);
3. reads the status line: 16 characters and the check's digits, if `settings.check` wants any;
4. first digit 2: reads as many records as columns 5-9 say, shows each field under its name by its column;
   other digits: reads the one record and shows it, then stops;
5. column 15 is `+`: sends MORE and goes on with 3;
6. with a window sends an empty line after each `settings.window` lines, the status line counted, while
   lines of the reply are still to come;
7. with a check works it out over each line and asks again (AGAIN) for what was wrong;
8. ends by printing END.
"""

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from adapters.errors import NotPossible
from gateway.catalogue.model import Arg, ArgKind, LinesBody, Source
from gateway.extract.plan import Kind
from gateway.wire.settings import Settings


@dataclass(frozen=True, slots=True)
class Column:
    """One field of a record: `start` counts from 1 and includes the mark; `width` in characters."""

    name: str
    start: int
    width: int
    kind: Kind


@dataclass(frozen=True, slots=True)
class Task:
    """What the program does. `width` is a whole record's, mark and check included, its end not.

    `setup` is the request that makes the settings so, such as `SET buffer-256 eol=cr`, or empty where the
    listener's own are right. `args` are pairs of an arg's name and an example's value, in the order in which
    the request has them.
    """

    source: str  # upper case
    about: str
    args: tuple[tuple[str, str], ...]
    columns: tuple[Column, ...]
    width: int
    setup: str
    settings: Settings
    changes: bool = False  # TELL instead of ASK
    lines: bool = False  # lines of text follow the request, once it is answered 350

    @property
    def request(self) -> str:
        """The request without its args."""
        return f"{'TELL' if self.changes else 'ASK'} {self.source}"


class Writer(Protocol):
    """One trait: what kind of machine, and how a task is written for it."""

    @property
    def name(self) -> str:
        """What `--for` takes."""
        ...

    @property
    def about(self) -> str:
        """One line: which machines take it."""
        ...

    @property
    def suffix(self) -> str:
        """Of a file that holds it, such as ".bas"."""
        ...

    @property
    def setup(self) -> str:
        """What SET takes for such machines where nothing else is asked for: "buffer-256 eol=cr"."""
        ...

    def write(self, task: Task) -> str:
        """The whole program, its lines ended by LF. NotPossible for settings that it could not follow."""
        ...


@runtime_checkable
class SendsLines(Protocol):
    """A writer whose programs can send the lines of text that a source takes after its request."""

    @property
    def lines_at_most(self) -> int:
        """Characters of one such line."""
        ...


@runtime_checkable
class Buffered(Protocol):
    """A writer whose machines lose what their receive buffer has no room for."""

    @property
    def buffer(self) -> int:
        """Its bytes."""
        ...


def task_of(source: Source, setup: str, settings: Settings, args: tuple[str, ...] = ()) -> Task:
    """The task of one source for a client whose settings are `settings` once `setup` is answered.

    `args` are an example's values; missing ones are made up from the arg's kind or its choices.
    """
    columns, start = [], 1 + settings.mark
    for each in source.plan.fields:
        columns.append(Column(each.name, start, each.width, each.kind))
        start += each.width + source.plan.gap
    values = (*args, *(_example(each) for each in source.args[len(args) :]))
    return Task(
        source=source.name,
        about=source.about,
        args=tuple((each.name, value) for each, value in zip(source.args, values, strict=True)),
        columns=tuple(columns),
        width=source.plan.width + settings.added,
        setup=setup,
        settings=settings,
        changes=source.changes,
        lines=isinstance(source.body, LinesBody),
    )


def check_unechoed(settings: Settings) -> None:
    """NotPossible where what a program sends comes back to it among the replies."""
    if settings.echo:
        raise NotPossible("A program wants no echo: echo=off")


def _example(arg: Arg) -> str:
    if arg.choices:
        return next(iter(arg.choices)).upper()
    return {ArgKind.INT: "1", ArgKind.FIXED: "1.0", ArgKind.TEXT: arg.name.upper()}[arg.kind]
