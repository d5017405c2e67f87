"""texts with `{arg}` -> the args that they use; what is no arg is a mistake at its place."""

from collections.abc import Collection

from gateway.catalogue.calling.slots import slots
from gateway.catalogue.document.mistakes import TextFault, nearest
from gateway.catalogue.document.positions import Path
from gateway.catalogue.schema.report import Report


class SlotCheck:
    """The args of one source, and which of them are used so far.

    `certain`: all of its args could be read, so that any other name is a mistake.
    """

    def __init__(self, report: Report, args: Collection[str], *, certain: bool) -> None:
        self._report = report
        self._args = args
        self._certain = certain
        self.used: set[str] = set()

    def text(self, path: Path, text: str) -> None:
        """A header's value or a part of a body."""
        for slot in slots(text):
            self.name(path, slot.name, slot.start)

    def name(self, path: Path, name: str, start: int) -> None:
        """One use of an arg, whose name stands at `start` of the text at `path`."""
        self.used.add(name)
        if name not in self._args and self._certain:
            allowed = " ".join(self._args) or "no args: args = [] here"
            near = nearest(name, self._args)
            fault = TextFault(f"{{{name}}}, which is no arg", start, len(name), allowed, near)
            self._report.inside(path, fault)
