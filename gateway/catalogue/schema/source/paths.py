"""rows and at of a source -> compiled paths, all of one language."""

import re
from collections.abc import Mapping
from typing import Final

from adapters.errors import PathFault
from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.document.positions import Path
from gateway.catalogue.schema.report import Report
from gateway.extract.paths import AnyPath, OpenPath, compile_path
from gateway.extract.plan import Format

_JSON: Final = frozenset({Format.JSON, Format.NDJSON})
_LANGUAGES: Final = {Format.CSV: "a heading, or a column number from 1"}
_WORD: Final = re.compile(r"\w+|.", re.DOTALL)


class PathReader:
    """The paths of one source. `texts` are all that it has: one `$` among them makes `auto` mean JSON.

    `namespaces` are None where some of them could not be read: then no prefix is unknown.
    """

    def __init__(
        self,
        report: Report,
        format_: Format,
        namespaces: Mapping[str, str] | None,
        texts: list[str],
        *,
        rows: bool,
    ) -> None:
        self._report = report
        self._format = format_
        self._namespaces = namespaces or {}
        self._prefixes_known = namespaces is not None
        self._json = format_ in _JSON or (
            format_ is Format.AUTO and any(each.startswith("$") for each in texts)
        )
        self._rows = rows

    def read(self, path: Path, text: str) -> AnyPath | None:
        """The compiled path, or None after a mistake."""
        try:
            return self._compile(text)
        except TextFault as fault:
            self._report.inside(path, fault)
        except PathFault as fault:
            if not self._prefixes_known and not self._json and ":" in text:
                return None
            match = _WORD.match(text, fault.position)
            size = len(match.group()) if match else 1
            self._report.inside(path, TextFault(fault.sentence, fault.position, size, self._language()))
        return None

    def read_number(self, path: Path, number: int) -> AnyPath | None:
        """A column's number, which only CSV has."""
        csv = self._format is Format.CSV or (
            self._format is Format.AUTO and not self._json and not self._rows
        )
        if csv and number >= 1:
            return self.read(path, str(number))
        found = f"column {number}" if csv else f"column {number}, which is for csv"
        self._report.at_value(path, found, self._language() if not csv else _LANGUAGES[Format.CSV])
        return None

    def _language(self) -> str:
        if self._json:
            return "JSONPath (RFC 9535), from $"
        return _LANGUAGES.get(self._format, "XPath 1.0")

    def _compile(self, text: str) -> AnyPath:
        if self._json and not text.startswith("$"):
            near = "$" + text if text.startswith(("[", ".")) else "$." + text.lstrip("@./")
            reason = ", where another path has it" if self._format is Format.AUTO else ""
            raise TextFault(f"a path without $ in front{reason}", 0, len(text), self._language(), near)
        if self._format in {Format.XML, Format.HTML} and text.startswith("$"):
            found = f"a JSONPath in a source of format {self._format.value}"
            raise TextFault(found, 0, len(text), "XPath 1.0, or another format")
        compiled = compile_path(text, self._format, self._namespaces)
        if isinstance(compiled, OpenPath) and compiled.markup is None and self._rows:
            # With rows it cannot be CSV, so what is no XPath is wrong, and the compiler says where.
            return compile_path(text, Format.XML, self._namespaces)
        return compiled
