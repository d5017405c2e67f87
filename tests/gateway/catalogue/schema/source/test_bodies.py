"""body and send."""

from pathlib import Path

import pytest

from gateway.catalogue.model import FormBody, JsonBody, LinesBody, Number, TextBody
from tests.gateway.catalogue.marked import check, load, source

POST = "method = 'POST'\n"
WRONG = {
    "with GET": "body = { a = 1 }\n^^^^ POST",
    "with GET by name": "method = 'GET'\nbody = 'lines'\n^^^^ POST",
    "send alone": POST + "send = 'form'\n^^^^",
    "send with a text": POST + "body = 'x'\nsend = 'form'\n^^^^",
    "send": POST + "body = { a = 1 }\nsend = 'xml'\n        ^^^",
    "number": POST + "body = 5\n       ^",
    "list": POST + "body = [1]\n       ^^^",
    "date": POST + 'body = { a = 2026-01-02 }\n             ^^^^^^^^^^ "2026-01-02"',
    "no JSON number": POST + "body = { a = inf }\n             ^^^",
    "no arg": POST + "body = { a = ['x {dya}'] }\n                  ^^^",
    "no arg below": POST + "body = { a = { b = '{dya}' } }\n                     ^^^",
    "table in a form": POST + "send = 'form'\nbody = { a = { b = 1 } }\n             ^^^^^^^^^",
    "list of lists in a form": POST + "send = 'form'\nbody = { a = [[1]] }\n              ^^^",
    "JSON as text": POST + "headers = { Content-Type = 'application/json' }\nbody = '{}'\n        ^^",
    "XML that is none": POST + "body = '<a><b></a>'\n                 ^",
    "no arg in a text": POST + "body = 'day {dya}'\n             ^^^",
    "another encoding": POST
    + 'body = \'<?xml version="1.0" encoding="latin1"?><a/>\'\n'
    + " " * 38
    + "^^^^^^ UTF-8",
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    check(source(lines))


@pytest.mark.parametrize(
    "body",
    ["<a><![CDATA[{day}]]></a>", "<a><!-- {day} --></a>", "<{day}/>", "<a {day}='x'/>", "<a><?x {day}?></a>"],
)
def test_an_arg_may_not_stand_where_xml_escapes_nothing(body: str) -> None:
    text = source(f'method = "POST"\nargs = ["day"]\nbody = "{body}"')
    with pytest.raises(pytest.fail.Exception):
        load(text)


def test_json_and_form() -> None:
    table = "{ a = '{day}', n = 1.50, f = true, l = [1, '{day}'], t = { u = 'x' } }"
    body = load(source(f"method = 'PUT'\nargs = ['day']\nbody = {table}")).sources["A"].body
    assert isinstance(body, JsonBody)
    assert body.table == {"a": "{day}", "n": Number("1.50"), "f": True, "l": [1, "{day}"], "t": {"u": "x"}}
    body = load(source("method = 'PUT'\nsend = 'form'\nbody = { a = 'x' }")).sources["A"].body
    assert body == FormBody({"a": "x"})


def test_texts() -> None:
    def read(lines: str) -> object:
        return load(source(f"method = 'POST'\n{lines}")).sources["A"].body

    assert read("body = 'lines'") == LinesBody()
    assert read("body = 'two lines'") == TextBody("two lines", xml=False)
    assert read("body = ' <a/>'") == TextBody(" <a/>", xml=True)
    assert read("headers = { Content-Type = 'text/plain' }\nbody = '<b>'") == TextBody("<b>", xml=False)
    assert read("headers = { content-type = 'application/soap+xml' }\nbody = '<a/>'") == TextBody(
        "<a/>", xml=True
    )


def test_the_files_that_a_body_names_are_the_far_servers_matter(tmp_path: Path) -> None:
    """What is sent is as it was written: no entity is looked up here (OWASP XXE Prevention, from memory)."""
    (tmp_path / "words.txt").write_text("</a> this would be no XML")
    body = f'<!DOCTYPE a [<!ENTITY x SYSTEM "{tmp_path.as_uri()}/words.txt">]><a>&x;</a>'
    text = source(f"method = 'POST'\nbody = '{body}'")
    assert load(text).sources["A"].body == TextBody(body, xml=True)
