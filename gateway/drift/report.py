"""Findings -> what their reader gets: plain ASCII, at most COLUMNS wide, to be mailed by cron too."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from adapters.recorded.tree.table import printable
from gateway.drift.comparing import Finding

COLUMNS: Final = 72


@dataclass(frozen=True, slots=True)
class Checked:
    """One request: what was found, or in `unchecked` why it could not be looked at, or in `failed` what went
    wrong with it.
    """

    request: str
    findings: tuple[Finding, ...] = ()
    unchecked: str = ""
    failed: str = ""

    @property
    def drift(self) -> bool:
        """Whether something is to be done about it."""
        return bool(self.failed) or any(each.drift for each in self.findings)


def report(checked: Sequence[Checked], *, quiet: bool) -> Iterator[str]:
    """The lines. `quiet`: nothing at all where nothing has drifted, and only what has."""
    drifted = [each for each in checked if each.drift]
    if quiet and not drifted:
        return
    unchecked = sum(bool(each.unchecked) for each in checked)
    yield f"{len(drifted)} of {len(checked)} requests have drifted" + (
        f"; {unchecked} could not be checked" if unchecked else ""
    )
    for each in drifted if quiet else checked:
        yield from _lines(each, quiet=quiet)


def _lines(checked: Checked, *, quiet: bool) -> Iterator[str]:
    shown = [each for each in checked.findings if each.drift or not quiet]
    state = checked.failed or ("" if shown else "as it was")
    if checked.unchecked:
        state = f"not checked: {checked.unchecked}"
    yield from _wrapped(f"{checked.request}: {state}".rstrip(), "", "    ")
    for each in shown:
        name = each.field or "rows"
        yield from _wrapped(f"{name}: {each.said}", "  ", "      ")
        for number, path in enumerate(each.likely):
            yield f"      {'likely now' if number == 0 else 'or'}: {_pasted(path)}"


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        _ascii(text), COLUMNS, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _pasted(path: str) -> str:
    """With TOML's escapes (TOML 1.0, basic strings), which go into a catalogue as they are."""
    return "".join(
        each
        if " " <= each <= "~"
        else f"\\u{ord(each):04x}"
        if ord(each) < 0x10000
        else f"\\U{ord(each):08x}"
        for each in path
    )


def _ascii(text: str) -> str:
    """With escapes for what is no printable ASCII: names come from far servers."""
    return printable(text).encode("ascii", "backslashreplace").decode("ascii")
