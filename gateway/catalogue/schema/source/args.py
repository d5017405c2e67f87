"""args and choices of a source -> Args."""

from collections.abc import Mapping
from types import MappingProxyType

from gateway.catalogue.calling.numbers import is_number
from gateway.catalogue.calling.slots import ARG_NAME
from gateway.catalogue.document.mistakes import TextFault, nearest
from gateway.catalogue.document.positions import Path
from gateway.catalogue.model import Arg, ArgKind
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table

_ALLOWED = "letters, digits and _, not first a digit"


def read_args(table: Table) -> dict[str, tuple[Path, Arg]]:
    """The source's args in order, each with the path of its word."""
    args: dict[str, tuple[Path, Arg]] = {}
    for path, text in table.texts("args"):
        name, colon, word = text.partition(":")
        if not ARG_NAME.fullmatch(name):
            fault = TextFault(f"the arg name {shown(name)}", 0, len(name), _ALLOWED)
            table.report.inside(path, fault)
            continue
        if name in args:
            table.report.at_value(path, f"{name} for the second time", "each arg once")
            continue
        kinds = {each.value: each for each in ArgKind}
        if colon and word not in kinds:
            allowed = " ".join(kinds)
            near = nearest(word, kinds)
            fault = TextFault(f"{name} as {shown(word)}", len(name) + 1, max(1, len(word)), allowed, near)
            table.report.inside(path, fault)
        args[name] = path, Arg(name, kinds.get(word, ArgKind.TEXT))
    return _with_choices(table, args)


def all_args_read(table: Table, args: Mapping[str, object]) -> bool:
    """Whether the args of the file are `args` and no others, so that another name is none of them."""
    listed = table.raw("args")
    return table.settled("args") and (
        listed is None or (isinstance(listed, list) and len(listed) == len(args))
    )


def _with_choices(table: Table, args: dict[str, tuple[Path, Arg]]) -> dict[str, tuple[Path, Arg]]:
    for name, values in (table.table("choices") or {}).items():
        path = (*table.at("choices"), name)
        if name not in args:
            if all_args_read(table, args):
                allowed = " ".join(args) or "names of args; this source has none"
                table.report.at_key(path, f"{name}, which is no arg", allowed, nearest(name, args))
            continue
        if not isinstance(values, dict) or not values:
            table.report.at_value(path, shown(values), f"a table: {{ {name} = {{ typed = wanted }} }}")
            continue
        where, arg = args[name]
        choices = _choices(table, path, values, arg)
        args[name] = where, Arg(name, arg.kind, MappingProxyType(choices))
    return args


def _choices(table: Table, path: Path, values: dict[str, object], arg: Arg) -> dict[str, str]:
    choices: dict[str, str] = {}
    for typed, wanted in values.items():
        at = (*path, typed)
        text = shown(wanted) if isinstance(wanted, int) else wanted
        if not isinstance(text, str):
            table.report.at_value(at, shown(wanted), "a text, or a whole number")
            continue
        if not typed or not typed.isprintable():
            table.report.at_key(at, shown(typed), "printable characters that a client can type")
        elif typed.casefold() in choices:
            table.report.at_key(
                at, f"{typed}, which is there in another case", "choices that differ in more than case"
            )
        elif table.clean(at, text, "what the server wants", empty=True) is None:
            continue
        elif not is_number(text, arg.kind):
            table.report.at_value(at, shown(text), f"a number, since {arg.name} is {arg.kind.value}")
        choices.setdefault(typed.casefold(), text)
    return choices
