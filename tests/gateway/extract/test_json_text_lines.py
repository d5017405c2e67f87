"""JSON lines, and how they are told from one document: the NDJSON convention, RFC 7464, RFC 8142."""

import json

import pytest

from adapters import limits
from adapters.errors import WrongDocument
from gateway.extract.json_text import is_line_type, parse_json_or_lines, parse_ndjson, to_text

ODD = "\u2028\u2029\x85\x0b\x0c\x1c\x1d\x1e\r"


def test_odd_separators_inside_strings_are_text() -> None:
    # U+2028, U+2029 and U+0085 may stand in strings as they are; controls must be escaped (section 7).
    lines = [json.dumps({"note": f"a{character}b"}, ensure_ascii=character < " ") for character in ODD]
    body = "\r\n".join([*lines, "", " \t", *lines]).encode()
    assert parse_ndjson(body) == [{"note": f"a{character}b"} for character in ODD] * 2
    assert parse_json_or_lines(body) == (parse_ndjson(body), True)


@pytest.mark.parametrize(
    ("body", "values"),
    [
        (b"", []),
        (b"\n\n", []),
        (b"1\n2\n3", ["1", "2", "3"]),
        (b'\r\n[1]\r\n\r\n"x"\r\n', ["[1]", '"x"']),
        (b"\xef\xbb\xbf1\n2\n", ["1", "2"]),
        (b"null\nfalse\n", ["null", "false"]),
        # RFC 7464: a separator before each text, which may run over several lines
        (b'\x1e{"a":\n1}\n\x1e2\n', ['{"a":1}', "2"]),
        (b'\x1e\x1e{"a":1}\n\x1e\n\x1e"end"', ['{"a":1}', '"end"']),
        (b'{"a":1}\n\x1e{"b":2}\n', ['{"a":1}', '{"b":2}']),
    ],
)
def test_lines(body: bytes, values: list[str]) -> None:
    assert list(map(to_text, parse_ndjson(body))) == values


@pytest.mark.parametrize(
    "body", [b"\x1e12\n\x1e3", b"\x1etrue", b"\x1e[1\n\x1e2\n", b"\x1e1 2\n", b"1\r2\n", b"1 2\n"]
)
def test_what_are_no_lines(body: bytes) -> None:
    # A number without a blank after it may be what was left of a longer one (RFC 7464 section 2.4).
    with pytest.raises(WrongDocument):
        parse_ndjson(body)


def test_depth_counts_from_each_line() -> None:
    with pytest.raises(WrongDocument):
        parse_ndjson(b"1\n" + b"[" * (limits.DEPTH + 1) + b"]" * (limits.DEPTH + 1) + b"\n")


@pytest.mark.parametrize(
    ("body", "media_type", "text", "lines"),
    [
        (b'{"a":1}', "application/json", '{"a":1}', False),
        (b'{"a":1}\n', None, '{"a":1}', False),
        (b'{"a":1}\n{"a":2}\n', None, '[{"a":1},{"a":2}]', True),
        (b'{"a":1}\n{"a":2}\n', "application/json", '[{"a":1},{"a":2}]', True),
        (b'{"a":1}\n', "application/x-ndjson; charset=utf-8", '[{"a":1}]', True),
        (b"[1,2]\n", "application/jsonl", "[[1,2]]", True),
        (b"", "application/x-ndjson", "[]", True),
        (b'{\n "a": 1\n}\n', "application/x-ndjson", '{"a":1}', False),
        (b'\x1e{"a":1}\n', None, '[{"a":1}]', True),
        (b'\x1e{"a":\n1}\n', "application/geo+json-seq", '[{"a":1}]', True),
    ],
)
def test_one_document_or_lines(body: bytes, media_type: str | None, text: str, lines: bool) -> None:
    value, were_lines = parse_json_or_lines(body, media_type)
    assert (to_text(value), were_lines) == (text, lines)


def test_media_types_of_lines() -> None:
    assert is_line_type("Application/X-NDJSON ; charset=utf-8")
    assert is_line_type("application/geo+json-seq")  # RFC 8142
    assert not is_line_type("application/json")
    assert not is_line_type(None)
