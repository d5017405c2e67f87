"""Hypothesis strategies: XML documents, and XPath expressions by the grammar of XPath 1.0; and what they
select, so that two evaluators can be compared.

In a document and in an expression, `~` stands before every element name: it is taken away for one without
namespaces, and made a prefix for one with.
"""

import math
from xml.sax.saxutils import escape

from hypothesis import strategies as st
from lxml import etree

from gateway.extract.markup.nodes import Attribute, Text

ELEMENTS = ("a", "b", "c")
ATTRIBUTES = ("x", "y", "id")
TEXTS = ("", "", "1", "2", "10", "-1", "1.5", "x", " x  y ", "\n", "true", "0")
AXES = (
    *("ancestor", "ancestor-or-self", "attribute", "child", "descendant", "descendant-or-self", "following"),
    *("following-sibling", "parent", "preceding", "preceding-sibling", "self"),
)

_texts = st.sampled_from(TEXTS)
_attributes = st.dictionaries(st.sampled_from(ATTRIBUTES), _texts, max_size=3)


def _element(name: str, attributes: dict[str, str], children: list[str], texts: list[str]) -> str:
    written = "".join(f' {key}="{value}"' for key, value in attributes.items())
    inside = "".join(escape(text) + child for text, child in zip(texts, [*children, ""], strict=False))
    return f"<~{name}{written}>{inside}</~{name}>"


def _elements(children: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.builds(
        _element,
        st.sampled_from(ELEMENTS),
        _attributes,
        st.lists(children, max_size=4),
        st.lists(_texts, min_size=5, max_size=5),
    )


_leaves = st.builds(
    _element, st.sampled_from(ELEMENTS), _attributes, st.just([]), st.lists(_texts, min_size=1)
)
documents = st.recursive(_leaves, _elements, max_leaves=20).map(lambda inside: f"<~a>{inside}{inside}</~a>")

_node_tests = st.sampled_from([*(f"~{name}" for name in ELEMENTS), "*", "*", "node()", "text()"])
_attribute_tests = st.sampled_from([*ATTRIBUTES, "*", "node()"])
_numbers = st.sampled_from(["0", "1", "2", "3", "1.5", "10", ".5"])
_strings = st.sampled_from(["''", "'1'", '"x"', "'x  y'", "'10'"])


@st.composite
def _steps(draw: st.DrawFn, conditions: st.SearchStrategy[str] | None) -> str:
    kind = draw(st.integers(0, 9))
    if kind == 0:
        return draw(st.sampled_from([".", ".."]))
    if kind == 1:
        step = f"@{draw(_attribute_tests)}"
    elif kind < 6:
        axis = draw(st.sampled_from(AXES))
        step = f"{axis}::{draw(_attribute_tests if axis == 'attribute' else _node_tests)}"
    else:
        step = draw(_node_tests)
    if conditions is not None:
        step += "".join(f"[{each}]" for each in draw(st.lists(conditions, max_size=2)))
    return step


@st.composite
def _paths(draw: st.DrawFn, conditions: st.SearchStrategy[str] | None) -> str:
    steps = draw(st.lists(_steps(conditions), min_size=1, max_size=4))
    path = draw(st.sampled_from(["", "", "/", "//"])) + steps[0]
    for step in steps[1:]:
        path += draw(st.sampled_from(["/", "/", "//"])) + step
    return path


@st.composite
def _expressions(draw: st.DrawFn, inner: st.SearchStrategy[str]) -> str:
    def some() -> str:
        return draw(inner)

    paths = _paths(inner)
    kind = draw(st.integers(0, 11))
    if kind < 4:
        return draw(paths)
    if kind == 4:
        sign = draw(st.sampled_from([" = ", " != ", " < ", "<=", " > ", ">=", " and ", " or "]))
        return f"{some()}{sign}{some()}"
    if kind == 5:
        sign = draw(st.sampled_from([" + ", " - ", " * ", " mod "]))
        return f"{some()}{sign}{some()}"
    if kind == 6:
        return f"{draw(paths)} | {draw(paths)}"
    if kind == 7:
        more = draw(st.sampled_from(["", "/..", "//@x", "/node()"]))
        return f"({draw(paths)} | {draw(paths)})[{some()}]{more}"
    if kind == 8:
        name = draw(st.sampled_from(["count", "sum", "name", "local-name"]))
        return f"{name}({draw(paths)})"
    if kind == 9:
        names = [
            "string",
            "number",
            "boolean",
            "not",
            "normalize-space",
            "string-length",
            "floor",
            "ceiling",
            "round",
        ]
        return f"{draw(st.sampled_from(names))}({some()})"
    if kind == 10:
        name = draw(
            st.sampled_from(["concat", "contains", "starts-with", "substring-before", "substring-after"])
        )
        return f"{name}({some()}, {some()})"
    return draw(st.sampled_from(["position()", "last()", "-1", "-last()", "name()", "true()", "false()"]))


_simple = _numbers | _strings | _paths(None) | st.sampled_from(["last()", "position()", "true()"])
expressions = st.recursive(_simple, _expressions, max_leaves=6)


def place(item: object) -> object:
    """Something that is equal for the same node, and for equal values."""
    match item:
        case Attribute(parent, name, value):
            return "attribute", parent, name, value
        case Text(beside, after):
            return "text", beside, after
        case etree._ElementUnicodeResult():
            if item.is_attribute:
                return "attribute", item.getparent(), item.attrname, str(item)
            return ("text", item.getparent(), item.is_tail) if item.is_text or item.is_tail else str(item)
        case float():
            return "NaN" if math.isnan(item) else item
        case _:
            return item
