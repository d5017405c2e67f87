"""Paths that want to look at everything, again and again."""

import json

from tests.attacks.attack import Attack
from tests.attacks.ground import Ground

_DOS = "CWE-400; CWE-407"
_REDOS = "CWE-1333; RFC 9535 section 4.1"
_DOCUMENTS: dict[str, bytes] = {
    "deep.json": json.dumps({"v": [[[[[list(range(8))] * 6] * 6] * 6] * 6] * 6}).encode(),
    "wide.json": json.dumps({"v": list(range(4_000))}).encode(),
    "words.json": json.dumps({"v": ["a" * 40 + "!"] * 40}).encode(),
    "wide.xml": b"<a>" + b"<b><c/></b>" * 4_000 + b"</a>",
    "deep.xml": b"<a>" + b"<b>" * 100 + b"</b>" * 100 + b"</a>",
    "text.xml": b"<a>" + b"<b>" + b"x" * 1_000 + b"</b>" + b"<b>x</b>" * 3_000 + b"</a>",
}
_WORK = "552 Too much work for one document"


def _bomb(
    name: str,
    source: str,
    document: str,
    rows: str,
    path: str,
    reply: str,
    *,
    served: bool = False,
    waits: bool = False,
) -> Attack:
    quoted = f"'{path}'" if " " in path else path
    rows = f"'{rows}'" if " " in rows else rows
    shown = f"PICK far:{document} {rows} {quoted}"
    assert len(shown) <= 255

    def run(ground: Ground) -> str:
        ground.far.on(f"/{document}").data(_DOCUMENTS[document], "application/octet-stream")
        said = ground.ask(shown)
        records = said.count("|") + 1
        return said if records < 4 else f"{said[:3]}, {records:,} records"

    does = f"`{shown}`" if len(shown) < 90 else f"`{shown[:80]}...`"
    return Attack(name, "PICK", source, does, reply, run, served=served, waits=waits, together=True)


SELECTIONS = (
    _bomb("everything of everything", _DOS, "deep.json", "$..*..*", "$:5", "552 That path selects too much"),
    _bomb(
        "everything, four times",
        _DOS,
        "deep.json",
        "-",
        "$..*..*..*..*:5",
        "552 That path looks at too much",
        served=True,
    ),
    _bomb("a filter in a filter", _DOS, "wide.json", "$..[?count($..[?@>1])>1]", "$:5", "200, 4,001 records"),
    _bomb(
        "filters side by side",
        _DOS,
        "wide.json",
        "$.v[?count($.v[*])>count($.v[?@>1])]",
        "$:5",
        "200, 4,000 records",
    ),
    _bomb("the same index a hundred times", _DOS, "wide.json", "-", "$.v" + "[*,*]" * 40 + ":5", "200"),
    _bomb(
        "many selectors",
        _DOS,
        "wide.json",
        "$.v[" + ",".join(["*"] * 99) + "]",
        "$:5",
        "552 That path selects too much",
    ),
    _bomb(
        "a pattern that goes back and forth",
        _REDOS,
        "words.json",
        '$.v[?search(@,"(a+)+$")]',
        "$:5",
        "200",
        served=True,
    ),
    _bomb(
        "a pattern of choices",
        _REDOS,
        "words.json",
        '$.v[?match(@,"(a|aa)+")]',
        "$:5",
        "552 A pattern takes too long",
    ),
    _bomb(
        "a pattern of repetitions",
        _REDOS,
        "words.json",
        '$.v[?match(@,"((a{1,90}){1,90}){1,90}")]',
        "$:5",
        "501 Rows: That pattern is too large",
    ),
    _bomb("a long pattern", _REDOS, "words.json", '$.v[?match(@,"' + "(a?)" * 45 + '")]', "$:5", "200"),
    _bomb(
        "parentheses",
        "CWE-674",
        "wide.json",
        "$.v[?" + "(" * 100 + "@>1" + ")" * 100 + "]",
        "$:5",
        "501 Rows: Nested too deeply",
    ),
    _bomb(
        "brackets", "CWE-674", "wide.json", "$" + "[?@" * 52 + "]" * 52, "$:5", "501 Rows: Nested too deeply"
    ),
    _bomb(
        "negations",
        "CWE-674",
        "wide.json",
        "$.v[?" + "!" * 200 + "@]",
        "$:5",
        "501 Rows: Only one ! before a test",
    ),
    _bomb(
        "a huge index",
        "CWE-190; RFC 9535 section 2.1",
        "wide.json",
        "$.v[9007199254740993]",
        "$:5",
        "501 Rows: That index is too large",
    ),
    _bomb(
        "a huge step",
        "CWE-190; RFC 9535 section 2.3.4",
        "wide.json",
        "$.v[0:9007199254740991:1]",
        "$:5",
        "200, 4,000 records",
    ),
    _bomb("a count of counts", _DOS, "wide.xml", "-", "count(//*[count(//*)>1]):9", "200 8001", served=True),
    _bomb("everything below everything", _DOS, "deep.xml", "-", "count(//*//*//*//*):9", "200 98"),
    _bomb(
        "all that follows",
        _DOS,
        "wide.xml",
        "-",
        "count(//*[following::*[following::*]]):9",
        "451 The gateway is too busy for this now",
        waits=True,
    ),
    _bomb("up and down", _DOS, "wide.xml", "-", "count(" + "//*/.." * 25 + "):9", "200 4002"),
    _bomb(
        "siblings of siblings",
        _DOS,
        "wide.xml",
        "-",
        "count(//b[preceding-sibling::b[following-sibling::b]]):9",
        "552 Too much work for one document",
    ),
    _bomb("a sum of texts", _DOS, "text.xml", "//b", "string(/a):20", "200, 3,001 records"),
    _bomb(
        "texts that grow",
        _DOS,
        "text.xml",
        "-",
        "concat(" + ",".join(["string(/a)"] * 20) + "):20",
        "200 xxxxxxxxxxxxxxxxxxxx (C)",
    ),
    _bomb(
        "XPath parentheses",
        "CWE-674",
        "wide.xml",
        "-",
        "(" * 110 + "1" + ")" * 110 + ":9",
        "501 The path is nested too deeply",
    ),
    _bomb(
        "XPath brackets",
        "CWE-674",
        "wide.xml",
        "-",
        "//*" + "[*" * 69 + "]" * 69 + ":9",
        "501 The path is nested too deeply",
    ),
    _bomb(
        "a variable and a function",
        "CWE-643; XPath 1.0 section 3.2",
        "wide.xml",
        "-",
        "document('file:///etc/passwd'):9",
        "501 Unknown function document()",
    ),
    _bomb(
        "an extension function",
        "CWE-643",
        "wide.xml",
        "-",
        "re:test('a','(a+)+'):9",
        "501 Unknown function test()",
    ),
)
