"""JSON, CSV, packed documents and documents that are not what they say."""

import gzip
import json

from tests.attacks.attack import Attack
from tests.attacks.rows.document import document_row

_XML = "application/xml"


def _json_row(
    name: str,
    source: str,
    does: str,
    reply: str,
    body: bytes,
    request: str = "PICK far:{path} - $.v:40",
    *,
    served: bool = False,
) -> Attack:
    return document_row(name, "JSON", source, does, reply, body, request=request, served=served)


TREES = (
    _json_row(
        "deep JSON",
        "CWE-674; RFC 8259 section 9",
        "100,000 arrays inside one another",
        "551 JSON nested too deeply",
        b'{"v": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
        served=True,
    ),
    _json_row(
        "a huge exponent",
        "CWE-1339; RFC 8259 section 6",
        "`1e999999999` as a number of two decimals",
        "200 ************ (*)",
        b'{"v": 1e999999999}',
        "PICK far:{path} - $.v:12f",
        served=True,
    ),
    _json_row(
        "a small exponent",
        "CWE-1339; RFC 8259 section 6",
        "`-1e-999999999` likewise",
        "200 ************ (*)",
        b'{"v": -1e-999999999}',
        "PICK far:{path} - $.v:12f",
    ),
    _json_row(
        "many digits",
        "CWE-400; RFC 8259 section 6",
        "a number of a million digits",
        "200 ************ (*)",
        b'{"v": ' + b"9" * 1_000_000 + b"}",
        "PICK far:{path} - $.v:12i",
        served=True,
    ),
    _json_row(
        "a key twice",
        "CWE-436; RFC 8259 section 4",
        "`v` with two values: the last",
        "200 last",
        b'{"v": "first", "v": "last"}',
    ),
    _json_row("NaN", "RFC 8259 section 6", "`NaN`", "551 JSON has no NaN or Infinity", b'{"v": NaN}'),
    _json_row(
        "half a pair", "CWE-176; RFC 8259 section 8.2", "a lone surrogate", "200 a?b", b'{"v": "a\\ud800b"}'
    ),
    _json_row(
        "two documents",
        "CWE-436; RFC 8259 section 2",
        "one JSON text behind another",
        "551 More follows the value: line 1 column 16",
        b'{"v": "first"} {"v": "last"}',
    ),
    _json_row(
        "a NUL in a text",
        "CWE-158",
        "`\\u0000` in a value, and a raw one",
        "551 Not JSON: line 1 column 26",
        b'{"v": "a\\u0000b", "w": "a\x00b"}',
    ),
    _json_row(
        "a million rows",
        "CWE-400",
        "an array of a million numbers, a record for each",
        "552 That path selects too much",
        b"[" + b"1," * 1_000_000 + b"1]",
        "PICK far:{path} $[*] $:5",
    ),
    _json_row(
        "a date of a million digits",
        "CWE-400; CWE-1333",
        "a date field over a text of a million digits: it is text that is cut",
        "200 1111111111 (C)",
        b'{"v": "' + b"1" * 1_000_000 + b'"}',
        "PICK far:{path} - $.v:10d",
    ),
    _json_row(
        "keys that are programs",
        "CWE-1321 (prototype pollution)",
        "`__proto__` and `constructor` as keys",
        "200",
        b'{"__proto__": {"v": "no"}, "constructor": {"v": "no"}}',
    ),
    _json_row(
        "comments",
        "CWE-436; RFC 8259",
        "a comment in JSON",
        "551 Not JSON: line 1 column 9",
        b'{"v": 1 /* one */}',
    ),
)

_FORMAT = "CWE-436; RFC 9110 section 8.3"
_CHARSET = "CWE-176; CWE-436"
CONFUSED = (
    document_row(
        "HTML that says JSON",
        "formats",
        _FORMAT,
        "a log-in page as application/json",
        "551 Not JSON but markup",
        b"<html><body>Log in first</body></html>",
        served=True,
    ),
    document_row(
        "JSON that says XML",
        "formats",
        _FORMAT,
        "JSON as application/xml, by an XPath",
        "551 That is JSON: begin paths with $",
        b'{"v": "text"}',
        _XML,
        request="PICK far:{path} - /a/b:40",
    ),
    document_row(
        "JSON that says XML, by a JSONPath",
        "formats",
        _FORMAT,
        "JSON as application/xml, by a JSONPath: the path decides",
        "200 text",
        b'{"v": "text"}',
        _XML,
    ),
    document_row(
        "a picture",
        "formats",
        _FORMAT,
        "a GIF as application/json",
        "551 Not UTF-8 text",
        b"GIF89a\x01\x00\x01\x00\x80\x00\x00\xff\xff\xff;",
    ),
    document_row(
        "a picture that is a program",
        "formats",
        "CWE-434 (polyglots)",
        "`GIF89a/*` and JSON behind it",
        "551 Not JSON: line 1 column 1",
        b'GIF89a/*\x00*/={"v": "text"}',
    ),
    document_row(
        "a picture as text",
        "TEXT",
        _FORMAT,
        "a PNG as text/plain",
        "551 Not a text; READ shows its bytes",
        b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)),
        "text/plain",
        request="TEXT far:{path}",
    ),
    document_row(
        "UTF-7",
        "charsets",
        f"{_CHARSET}; RFC 2152",
        "`+ADw-b+AD4-` as UTF-7 in a page",
        "200 +ADw-b+AD4-",
        b"<p>+ADw-b+AD4-",
        "text/html; charset=utf-7",
        request="TEXT far:{path}",
    ),
    document_row(
        "UTF-16 without a mark",
        "charsets",
        f"{_CHARSET}; RFC 8259 section 8.1",
        "JSON in UTF-16 without a BOM",
        "200 text",
        '{"v": "text"}'.encode("utf-16-le"),
    ),
    document_row(
        "overlong UTF-8",
        "charsets",
        f"{_CHARSET}; RFC 3629 section 3",
        "`C0 8A` for a line feed",
        "551 Not UTF-8 text",
        b'{"v": "a\xc0\x8ab"}',
    ),
    document_row(
        "a charset that there is not",
        "charsets",
        _CHARSET,
        "`charset=base64_codec`, a codec of Python's that is no charset",
        "200 dGV4dA==",
        b"dGV4dA==",
        "text/plain; charset=base64_codec",
        request="TEXT far:{path}",
    ),
    document_row(
        "a charset with a bomb",
        "charsets",
        "CWE-409",
        "`charset=zlib_codec`",
        "200 x",
        b"x",
        "text/plain; charset=zlib_codec",
        request="TEXT far:{path}",
    ),
    document_row(
        "many columns",
        "CSV",
        "CWE-400",
        "a line of 200,000 columns",
        "200 1",
        b"a;" * 200_000 + b"\n" + b"1;" * 200_000,
        "text/csv",
        request="PICK far:{path} - a:10",
        together=True,
    ),
    document_row(
        "a quote that never ends",
        "CSV",
        "RFC 4180 section 2",
        "an open quote and a megabyte behind it",
        "552 A cell is too large",
        b'a,b\n"' + b"x" * 1_000_000,
        "text/csv",
        request="PICK far:{path} - a:10",
    ),
    document_row(
        "a formula",
        "CSV",
        "OWASP CSV Injection; CWE-1236",
        "`=cmd|...` in a cell: it is text, as any",
        "200 =1+cmd|' /C x'!A0",
        b"a,b\n=1+cmd|' /C x'!A0,2\n",
        "text/csv",
        request="PICK far:{path} - a:20",
    ),
)


def _members(count: int) -> bytes:
    return gzip.compress(b"", mtime=0) * count


def _ndjson_bomb() -> bytes:
    return gzip.compress(json.dumps({"v": " " * (40 << 20)}).encode(), 1)


_GZIP = ("Content-Encoding: gzip",)
_ZIPPED = "CWE-409; RFC 1952"
PACKED = (
    document_row(
        "a gzip bomb",
        "gzip",
        _ZIPPED,
        "40 MB of blanks in 180 KB",
        "552 The document is too large",
        lambda _: _ndjson_bomb(),
        fields=_GZIP,
        served=True,
        together=True,
    ),
    document_row(
        "a gzip bomb by READ",
        "gzip",
        _ZIPPED,
        "300 MB in 1.3 MB, of which ten bytes are asked for",
        "200 00000000000000000000",
        lambda _: gzip.compress(bytes(300 << 20), 1),
        request="READ far:{path} 0 10",
        fields=_GZIP,
        together=True,
    ),
    document_row(
        "a gzip bomb of members",
        "gzip",
        f"{_ZIPPED} section 2.2",
        "20,000 empty members",
        "552 The document is too large",
        lambda _: _members(20_000) + gzip.compress(b'{"v": 1}'),
        fields=_GZIP,
        together=True,
    ),
    document_row(
        "gzip in gzip",
        "gzip",
        f"{_ZIPPED}; RFC 9110 section 8.4",
        "packed twice, said once",
        "551 Not UTF-8 text",
        lambda _: gzip.compress(gzip.compress(b'{"v": 1}')),
        fields=_GZIP,
    ),
    document_row(
        "gzip in gzip, said twice",
        "gzip",
        f"{_ZIPPED}; RFC 9110 section 8.4",
        "`Content-Encoding: gzip, gzip`",
        "551 The document's encoding is not known",
        lambda _: gzip.compress(gzip.compress(b'{"v": 1}')),
        fields=("Content-Encoding: gzip, gzip",),
    ),
    document_row(
        "gzip that is none",
        "gzip",
        _ZIPPED,
        "a plain body that says gzip: taken as it is",
        "200 plain",
        b'{"v": "plain"}',
        fields=_GZIP,
    ),
    document_row(
        "gzip cut short",
        "gzip",
        _ZIPPED,
        "half of a gzip body, its length right",
        "426 The far server's gzip is cut short",
        lambda _: gzip.compress(json.dumps({"v": list(range(5000))}).encode())[:2000],
        fields=_GZIP,
        served=True,
    ),
    document_row(
        "gzip with a wrong sum",
        "gzip",
        f"{_ZIPPED} section 2.3.1",
        "another CRC-32 at the end",
        "426 The far server's gzip is broken",
        lambda _: gzip.compress(b'{"v": 1}')[:-8] + b"\0" * 8,
        fields=_GZIP,
    ),
    document_row(
        "another coding",
        "gzip",
        "RFC 9110 section 8.4; CWE-409",
        "`br`, which was not asked for",
        "551 The document's encoding is not known",
        b"\x0b\x03\x80{}\x03",
        fields=("Content-Encoding: br",),
    ),
)

DOCUMENTS = (*TREES, *CONFUSED, *PACKED)
