"""text -> Path, in the language that the format, or the text itself, tells (CONTRACT section 4).

A path that begins with `$` is JSONPath. Any other, where the format is not fixed, is XPath or a column: only
the document can tell, so an OpenPath holds both readings and the pipeline takes the one that fits.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from adapters.errors import PathFault
from gateway.extract.jsonpath import JsonPath, compile_jsonpath
from gateway.extract.markup import XmlPath, compile_xpath
from gateway.extract.plan import Format
from gateway.extract.table import ColumnPath, compile_column


@dataclass(frozen=True, slots=True)
class OpenPath:
    """A path of a source with format `auto`. `markup` is None where the text is no XPath, only a heading."""

    text: str
    markup: XmlPath | None
    column: ColumnPath


AnyPath = JsonPath | XmlPath | ColumnPath | OpenPath


def compile_path(text: str, format_: Format, namespaces: Mapping[str, str]) -> AnyPath:
    """The path in the language of `format_`; PathFault says what is wrong and where."""
    if format_ is Format.AUTO:
        return compile_open_path(text, namespaces)
    if format_ in {Format.JSON, Format.NDJSON}:
        return compile_jsonpath(text)
    if format_ is Format.CSV:
        return compile_column(text)
    return compile_xpath(text, namespaces)


def compile_open_path(text: str, namespaces: Mapping[str, str] | None = None) -> JsonPath | OpenPath:
    """The path where the format is `auto`."""
    if text.startswith("$"):
        return compile_jsonpath(text)
    column = compile_column(text)
    try:
        return OpenPath(text, compile_xpath(text, namespaces or {}), column)
    except PathFault:
        return OpenPath(text, None, column)
