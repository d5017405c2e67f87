"""RFC 6570, against its own examples, the published vectors, and a second reading of its grammar."""

import json
import re
import urllib.parse
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.calling.templates import expand, parse_template
from gateway.catalogue.document.mistakes import TextFault
from tests.conftest import VECTORS

FOLDER = VECTORS / "uritemplate"


def cases(name: str) -> Iterator[Any]:
    """Template, variables and expected expansions of one file of the published vectors."""
    path = FOLDER / f"{name}.json"
    if not path.exists():
        reason = f"no vectors in {FOLDER.name}: set HEADRACE_VECTORS"
        yield pytest.param("", {}, False, marks=pytest.mark.skip(reason=reason))
        return
    for group, content in json.loads(path.read_text(encoding="utf-8")).items():
        for number, (template, expected) in enumerate(content["testcases"]):
            yield pytest.param(template, _values(content["variables"]), expected, id=f"{group}-{number}")


def _values(variables: dict[str, Any]) -> dict[str, Any]:
    """Numbers as the texts that they are; undefined variables left out."""
    return {
        name: str(value) if isinstance(value, int | float) else value
        for name, value in variables.items()
        if value is not None
    }


@pytest.mark.parametrize(
    ("template", "values", "expected"),
    [*cases("spec-examples"), *cases("spec-examples-by-section"), *cases("extended-tests")],
)
def test_published_expansions(template: str, values: dict[str, Any], expected: Any) -> None:
    """uritemplate-test, Apache-2.0; a list means that any of its members will do (order of an object)."""
    allowed = expected if isinstance(expected, list) else [expected]
    assert expand(parse_template(template), values) in allowed


@pytest.mark.parametrize(("template", "values", "expected"), list(cases("negative-tests")))
def test_published_failures(template: str, values: dict[str, Any], expected: Any) -> None:
    assert expected is False
    with pytest.raises(TextFault):
        expand(parse_template(template), values)


RFC_EXAMPLES = [
    # RFC 6570 sections 1.2 and 3.2, so that a lone clone has them, too.
    ("{var}", "value"),
    ("{hello}", "Hello%20World%21"),
    ("{+hello}", "Hello%20World!"),
    ("{+path}/here", "/foo/bar/here"),
    ("here?ref={+path}", "here?ref=/foo/bar"),
    ("X{#var}", "X#value"),
    ("X{#hello}", "X#Hello%20World!"),
    ("map?{x,y}", "map?1024,768"),
    ("{x,hello,y}", "1024,Hello%20World%21,768"),
    ("{+x,hello,y}", "1024,Hello%20World!,768"),
    ("{#path,x}/here", "#/foo/bar,1024/here"),
    ("X{.x,y}", "X.1024.768"),
    ("{/var,x}/here", "/value/1024/here"),
    ("{;x,y,empty}", ";x=1024;y=768;empty"),
    ("{?x,y,empty}", "?x=1024&y=768&empty="),
    ("?fixed=yes{&x}", "?fixed=yes&x=1024"),
    ("{var:3}", "val"),
    ("{var:30}", "value"),
    ("{+path:6}/here", "/foo/b/here"),
    ("{/var:1,var}", "/v/value"),
    ("{?var:3}", "?var=val"),
    ("{undef}", ""),
    ("{x,undef,empty}", "1024,"),
    ("{/var,empty}", "/value/"),
    ("{half}", "50%25"),
    ("{+half}", "50%25"),
    ("{+base}index", "http://example.com/home/index"),
    ("{base}index", "http%3A%2F%2Fexample.com%2Fhome%2Findex"),
]
VALUES = {
    "var": "value",
    "hello": "Hello World!",
    "path": "/foo/bar",
    "x": "1024",
    "y": "768",
    "empty": "",
    "half": "50%",
    "base": "http://example.com/home/",
}


@pytest.mark.parametrize(("template", "expected"), RFC_EXAMPLES)
def test_examples_of_the_rfc(template: str, expected: str) -> None:
    assert expand(parse_template(template), VALUES) == expected


@pytest.mark.parametrize(
    ("template", "value", "expected"),
    [
        # Section 3.2.3: triplets pass, all else that is neither reserved nor unreserved is encoded.
        ("{+v}", "a b%20c", "a%20b%20c"),
        ("{+v}", '%zz"%41', "%25zz%22%41"),
        ("{#v}", "é%C3%A9", "#%C3%A9%C3%A9"),
        # Section 3.1: literals beyond ASCII are encoded, triplets kept.
        ("/ü/%C3%BC/{v}", "x", "/%C3%BC/%C3%BC/x"),
        # Section 2.4.1: a prefix counts characters, and does not split a triplet.
        ("{v:1}", "éa", "%C3%A9"),
        ("{+v:2}", "%C3%A9x", "%C3%A9"),
    ],
)
def test_where_the_library_alone_would_be_wrong(template: str, value: str, expected: str) -> None:
    assert expand(parse_template(template), {"v": value}) == expected


@pytest.mark.parametrize(
    ("text", "start", "length"),
    [
        ("/a b", 2, 1),
        ("/x{", 2, 1),
        ("/{day", 1, 4),
        ("/}", 1, 1),
        ("/{}", 2, 1),
        ("/{day:}", 2, 4),
        ("/{day:0}", 2, 5),
        ("/{day:12345}", 2, 9),
        ("/{a,b-c}", 4, 3),
        ("/100%", 4, 1),
        ('/"', 1, 1),
    ],
)
def test_where_a_template_is_wrong(text: str, start: int, length: int) -> None:
    with pytest.raises(TextFault) as caught:
        parse_template(text)
    assert (caught.value.start, caught.value.length) == (start, length)


@given(st.text(st.sampled_from("ab1_.,:*+#/?&;{}|=-% é'"), max_size=12))
def test_the_grammar_is_that_of_section_2(text: str) -> None:
    """The ABNF of section 2 as one regular expression, written down a second time."""
    varname = r"(?:\w|%[0-9A-F]{2})(?:\.?(?:\w|%[0-9A-F]{2}))*"
    varspec = rf"{varname}(?:\*|:[1-9]\d{{0,3}})?"
    expression = rf"\{{[+#./;?&]?{varspec}(?:,{varspec})*\}}"
    literal = r"(?:[!#$&'()*+,\-./0-9:;=?@A-Z\[\]_a-z~]|[^\x00-\x7f]|%[0-9A-F]{2})"
    valid = re.fullmatch(rf"(?:{literal}|{expression})*", text, re.ASCII | re.IGNORECASE) is not None
    try:
        parse_template(text)
    except TextFault as fault:
        assert not valid
        assert 0 <= fault.start < len(text)
        assert fault.length >= 1
    else:
        assert valid


@given(
    st.sampled_from(["/{v}", "/{+v}", "{?v}", "{/v}", "{;v}", "/{v:5}", "{#v}"]),
    st.text(st.characters(codec="utf-8")),
)
def test_an_expansion_is_a_uri_and_a_simple_one_gives_the_value_back(template: str, value: str) -> None:
    uri = expand(parse_template(template), {"v": value})
    assert re.fullmatch(r"(?:[!#$&'()*+,\-./0-9:;=?@A-Za-z\[\]_~]|%[0-9A-Fa-f]{2})*", uri)
    if template == "/{v}":
        assert urllib.parse.unquote(uri[1:]) == value


def test_variables_and_their_places() -> None:
    template = parse_template("https://a.example/{x}{?day,hour*}")
    assert [(each.name, each.start) for each in template.variables] == [("x", 19), ("day", 23), ("hour", 27)]


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("https://a.example/{x}", set()),
        ("https://a.example{/x}", set()),
        ("https://a.example{?x}", set()),
        ("https://a.example{#x}", set()),
        ("https://{x}.example/{y}", {"x"}),
        ("https://a.example{x}/{y}", {"x"}),
        ("https://a.example:{x}/{y}", {"x"}),
        ("https://a.example{+x}{/y}", {"x"}),
        ("https://a.example{.x}{y}/{z}", {"x", "y"}),
        ("{+x}/{y}", {"x", "y"}),
        ("{x}://a.example/{y}", {"x"}),
    ],
)
def test_variables_that_can_change_the_host(text: str, names: set[str]) -> None:
    assert parse_template(text).host == names


@given(st.text(st.characters(codec="utf-8"), max_size=12))
def test_no_other_variable_can_change_the_host(value: str) -> None:
    """Against urllib's own splitting."""
    for text in (
        "https://a.example/{x}",
        "https://a.example/{+x}",
        "https://a.example{/x}",
        "https://a.example{?x}",
    ):
        uri = expand(parse_template(text), {"x": value})
        assert urllib.parse.urlsplit(uri).netloc == "a.example"
