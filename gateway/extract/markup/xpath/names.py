"""A name test and a document -> the pattern that lxml compares names with.

CONTRACT section 4: an unprefixed element name means the root element's namespace, an unprefixed attribute
name none; a prefix means its URI, whatever the document calls it. In HTML there are no namespaces and case
does not count. `blind`: a name that the document does not have is taken for the only one that differs from it
in case.
"""

from collections.abc import Iterable

from gateway.extract.markup.nodes import Markup
from gateway.extract.markup.xpath.syntax import NameTest


def pattern(test: NameTest, attribute: bool, markup: Markup, blind: bool) -> str:
    """The name to look for, in lxml's form: `*`, `{namespace}*`, `{namespace}local` or `local`."""
    key = id(test), attribute, blind
    known = markup.memory.patterns.get(key)
    if known is None:
        # The test is kept with its pattern, so that no other one can get its id.
        known = markup.memory.patterns[key] = test, _pattern(test, attribute, markup, blind)
    return known[1]


def fits(name: str, wanted: str) -> bool:
    """Whether lxml's name of an element or attribute fits a pattern."""
    if wanted.endswith("*"):
        return wanted == "*" or name.startswith(wanted[:-1])
    return name == wanted


def _pattern(test: NameTest, attribute: bool, markup: Markup, blind: bool) -> str:
    if test.uri is None and test.local == "*":
        return "*"
    if markup.html:
        # The parser leaves a colon in the name.
        name = test.local if test.prefix is None else f"{test.prefix}:{test.local}"
        return name.lower()
    uri = test.uri if test.uri is not None else "" if attribute else markup.namespace
    name = f"{{{uri}}}{test.local}" if uri else test.local
    if blind and test.local != "*":
        return _nearest(name, _attribute_names(markup) if attribute else _element_names(markup))
    return name


def _nearest(name: str, present: frozenset[str]) -> str:
    """The name itself, or the only one present that differs from it in the case of the local part."""
    if name in present:
        return name
    uri, brace, local = name.rpartition("}")
    beginning, folded = uri + brace, local.casefold()
    alike = [
        each
        for each in present
        if each.startswith(beginning)
        and (brace or not each.startswith("{"))
        and each[len(beginning) :].casefold() == folded
    ]
    return alike[0] if len(alike) == 1 else name


def _element_names(markup: Markup) -> frozenset[str]:
    if markup.memory.element_names is None:
        markup.work.spend(markup.elements)
        markup.memory.element_names = frozenset(str(each.tag) for each in markup.root.iter())
    return markup.memory.element_names


def _attribute_names(markup: Markup) -> frozenset[str]:
    if markup.memory.attribute_names is None:
        markup.work.spend(markup.elements)
        names: Iterable[str] = (str(name) for each in markup.root.iter() for name in each.attrib)
        markup.memory.attribute_names = frozenset(names)
    return markup.memory.attribute_names
