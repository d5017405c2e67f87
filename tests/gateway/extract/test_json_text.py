"""JSON against RFC 8259, RFC 7464, the published parser inputs, Python's json with Decimal, and the cases."""

import base64
import json
import re
import tracemalloc
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import TooLarge, WrongDocument
from gateway.extract import json_text
from gateway.extract.json_text import (
    decode_json,
    parse_json,
    parse_json_or_lines,
    parse_ndjson,
    to_text,
)
from gateway.extract.values import JsonNumber, JsonValue
from tests.conftest import VECTORS

CASES = Path(__file__).parents[2] / "cases"


def case_json(case: str, name: str) -> JsonValue:
    return parse_json((CASES / case / name).read_bytes())


def either(body: bytes) -> JsonValue:
    return parse_json_or_lines(body)[0]


def exact(value: JsonValue) -> object:
    """The same as Python's json gives with parse_int and parse_float as Decimal."""
    if isinstance(value, JsonNumber):
        return Decimal(value.text)
    if isinstance(value, list):
        return [exact(element) for element in value]
    if isinstance(value, dict):
        return {name: exact(member) for name, member in value.items()}
    return value


# The published inputs for RFC 8259 parsers (vectors/json)


@pytest.fixture(scope="module")
def inputs() -> dict[str, bytes]:
    path = VECTORS / "json" / "json-test-suite.base64.json"
    if not path.exists():
        pytest.skip(f"no published vectors in {VECTORS}")
    encoded = json.loads(path.read_text(encoding="utf-8"))
    return {name.rpartition("/")[2]: base64.b64decode(text) for name, text in encoded.items()}


def test_documents_that_must_parse_do(inputs: dict[str, bytes]) -> None:
    names = [name for name in inputs if name.startswith("y_")]
    assert len(names) == 95
    for name in names:
        text = inputs[name].decode()
        reference = json.loads(text, parse_int=Decimal, parse_float=Decimal)
        assert exact(parse_json(inputs[name])) == reference, name


def test_documents_that_must_not_parse_do_not(inputs: dict[str, bytes]) -> None:
    names = [name for name in inputs if name.startswith("n_")]
    assert len(names) == 188
    for name in names:
        with pytest.raises(WrongDocument):
            parse_json(inputs[name])
        with pytest.raises(WrongDocument):
            parse_json_or_lines(inputs[name])


def test_documents_left_open_give_an_answer_or_a_551(inputs: dict[str, bytes]) -> None:
    names = [name for name in inputs if not name.startswith(("y_", "n_"))]
    assert len(names) == 57
    for name in names:
        readers: list[Callable[[bytes], JsonValue]] = [parse_json, either, parse_ndjson]
        for read in readers:
            try:
                value = read(inputs[name])
            except WrongDocument:
                continue
            to_text(value).encode("utf-8")  # no half of a surrogate pair is left


# Numbers


def test_numbers_keep_their_text() -> None:
    text = "[1.10,20.00,-0,0.0,1e400,-1E-7,1.5e+10,9007199254740993]"
    assert to_text(parse_json(text.encode())) == text


def test_the_case_of_exact_numbers_is_read_without_loss() -> None:
    document = case_json("json-exact-numbers", "numbers.json")
    expected = case_json("json-exact-numbers", "expected.json")
    assert isinstance(document, dict) and isinstance(expected, dict)
    for path, text in expected.items():
        value = document[path.removeprefix("$.")]
        if isinstance(value, JsonNumber):
            assert format(Decimal(value.text), "f") == text
        else:
            assert value is True or value == text


@pytest.mark.parametrize(
    "literal", ["7" * 100_000, "1e" + "9" * 100_000, "0." + "0" * 100_000 + "1", "-" + "1" * 5_000]
)
def test_hostile_numbers_are_kept_as_text(literal: str) -> None:
    value = parse_json(f"[{literal}]".encode())
    assert isinstance(value, list)
    assert isinstance(value[0], JsonNumber)
    assert value[0].text == literal
    assert to_text(value) == f"[{literal}]"


@pytest.mark.parametrize("literal", ["NaN", "Infinity", "-Infinity", "[1,NaN]", '{"a":-Infinity}'])
def test_what_is_no_number_is_551(literal: str) -> None:
    with pytest.raises(WrongDocument, match="NaN"):
        parse_json(literal.encode())


# Strings


@pytest.mark.parametrize(
    ("text", "value"),
    [
        (r'"\ud83d\ude00"', "\U0001f600"),
        (r'"\ud83d"', "\ufffd"),
        (r'"\ude00"', "\ufffd"),
        (r'"\ude00\ud83d"', "\ufffd\ufffd"),
        (r'"\ud83d\ud83d\ude00\ude00"', "\ufffd\U0001f600\ufffd"),
        (r'"\uD83Dx\uDE00"', "\ufffdx\ufffd"),
        (r'"\ud83d\n"', "\ufffd\n"),
        (r'"\\ud83d\\ude00"', r"\ud83d\ude00"),  # escaped backslashes: no escapes of characters at all
        (r'"\\\ud83d\\\ude00"', "\\\ufffd\\\ufffd"),
        (r'"\\\\ud83d"', r"\\ud83d"),
        (r'"\\\\\ud83d\ude00"', "\\\\\U0001f600"),
    ],
)
def test_halves_of_surrogate_pairs_are_replaced(text: str, value: str) -> None:
    assert parse_json(text.encode()) == value


def test_names_have_no_halves_of_surrogate_pairs_either() -> None:
    assert parse_json(rb'{"\ud800":1}') == {"\ufffd": JsonNumber("1")}


@given(st.lists(st.sampled_from(["\\ud83d", "\\ude00", "\\\\", "\\n", "\\u0041", "u", "d83d", '\\"', "é"])))
def test_any_row_of_escapes_gives_what_python_gives(pieces: list[str]) -> None:
    text = '"' + "".join(pieces) + '"'
    reference = re.sub("[\ud800-\udfff]", "\ufffd", json.loads(text))
    assert parse_json(text.encode()) == reference


def test_of_a_repeated_name_the_last_wins() -> None:
    # RFC 8259 section 4 leaves it open; CONTRACT section 4 says the last.
    assert to_text(parse_json(b'{"a":1,"b":2,"a":3}')) == '{"a":3,"b":2}'


# Depth


def nested(depth: int) -> bytes:
    return b"[" * depth + b"]" * depth


def test_depth_up_to_the_limit() -> None:
    assert to_text(parse_json(nested(limits.DEPTH))) == nested(limits.DEPTH).decode()
    assert len(parse_ndjson(nested(limits.DEPTH) + b"\n1\n")) == 2


@pytest.mark.parametrize("depth", [limits.DEPTH + 1, 900, 5_000, 200_000])
@pytest.mark.parametrize("opening", [b"[", b'{"a":', b'[{"a":'])
def test_deeper_documents_are_551(depth: int, opening: bytes) -> None:
    closing = opening[::-1].translate(bytes.maketrans(b"[{", b"]}"), b'":a')
    for body in (opening * depth + b"1" + closing * depth, opening * depth):
        for parse in (parse_json, parse_ndjson, parse_json_or_lines):
            with pytest.raises(WrongDocument):
                parse(body)


def test_brackets_inside_strings_do_not_nest() -> None:
    text = json.dumps(["[{" * 1_000, '\\"[[' * 500])
    assert exact(parse_json(text.encode())) == json.loads(text)


# Encodings (RFC 8259 section 8.1)


@pytest.mark.parametrize(
    "codec", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "utf-32-be"]
)
@pytest.mark.parametrize("charset", [None, "utf-8", "iso-8859-1"])
def test_unicode_encodings_are_told_apart(codec: str, charset: str | None) -> None:
    assert parse_json('{"place":"Łódź 🌊"}'.encode(codec), charset) == {"place": "Łódź 🌊"}


@pytest.mark.parametrize(
    ("codec", "charset", "text"),
    [
        ("cp1252", "iso-8859-1", "5 € – café"),  # what is meant by that label: WHATWG Encoding section 4.2
        ("latin-1", "latin1", "\x81 café"),  # which windows-1252 does not have
        ("cp1250", "Windows-1250", "Łódź"),
        ("shift_jis", " shift_jis ", "港"),
    ],
)
def test_the_declared_charset_counts_where_utf_8_fails(codec: str, charset: str, text: str) -> None:
    assert parse_json(json.dumps([text], ensure_ascii=False).encode(codec), charset) == [text]


@pytest.mark.parametrize(
    "charset",
    [
        None,
        "utf-8",
        "no-such",
        "",
        "utf\0",
        "idna",
        "punycode",
        "unicode_escape",
        "utf-7",
        "hex",
        "undefined",
    ],
)
def test_no_charset_that_fits_is_551(charset: str | None) -> None:
    with pytest.raises(WrongDocument):
        decode_json(b'["caf\xe9"]', charset)


@pytest.mark.parametrize(
    "body", [b"\xff\xfe[\0", b"\xff\xfe\x00\xd8[\0", b"\xef\xbb\xbf[\xff]", b'["\xed\xa0\x80"]']
)
def test_broken_encodings_are_551(body: bytes) -> None:
    with pytest.raises(WrongDocument):
        parse_json(body)


def response(name: str) -> tuple[bytes, str]:
    """Body and charset of a recorded answer."""
    head, _, body = (CASES / "json-bom-wrong-charset-html-type" / name).read_bytes().partition(b"\r\n\r\n")
    found = re.search(rb"charset=([\w-]+)", head)
    assert found is not None
    return body, found.group(1).decode()


@pytest.mark.parametrize("name", ["lies.http", "honest.http"])
def test_the_case_of_wrong_and_right_charsets(name: str) -> None:
    body, charset = response(name)
    value, lines = parse_json_or_lines(body, "text/html", charset)
    expected = case_json("json-bom-wrong-charset-html-type", "expected.json")
    assert isinstance(value, dict) and isinstance(expected, dict) and not lines
    wanted = expected[name]
    assert isinstance(wanted, dict)
    assert {f"$.{member}": value[member] for member in ("place", "also") if member in value} == {
        path: text for path, text in wanted.items() if path != "ascii"
    }


# Truncation, and what is no JSON


@given(st.data())
def test_a_truncated_document_is_never_a_shorter_one(data: st.DataObject) -> None:
    text = '{"rows":[{"a":"x\\u00e9\\n","b":[1.5,true,null]},{"c":{}}],"n":"é"}'
    body = text.encode()
    end = data.draw(st.integers(0, len(body) - 1))
    for parse in (parse_json, parse_json_or_lines):
        with pytest.raises(WrongDocument):
            parse(body[:end])


@pytest.mark.parametrize("end", range(1, 37))
def test_truncated_lines_are_551_unless_cut_between_lines(end: int) -> None:
    body = b'{"a":[1,2]}\n{"a":"x"}\r\n{"a":{"b":0}}'
    if end in {11, 12, 21, 22, 23, 36}:
        assert parse_ndjson(body[:end]) == parse_ndjson(body)[: (end + 1) // 11]
    else:
        with pytest.raises(WrongDocument):
            parse_ndjson(body[:end])


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        (b"", "Empty, so not JSON"),
        (b" \r\n", "Empty, so not JSON"),
        (b"<!doctype html>", "Not JSON but markup"),
        (b'{"a":[1,2', "The JSON document stops too early"),
        (b'{"a":"x', "The JSON document stops too early"),
        (b'{"a":1}\n{"a":', "The JSON document stops too early"),
        (b"[1,\n 2,\n 3 4]", "Not JSON: line 3 column 4"),
        (b'{"a":1}\n{"a":1]\n', "Not JSON: line 2 column 7"),
        (b'{"a":1} {"a":2}', "More follows the value: line 1 column 9"),
        (b"down for repairs", "Not JSON: line 1 column 1"),
        (b"[1,NaN]", "JSON has no NaN or Infinity"),
        (nested(limits.DEPTH + 1), "JSON nested too deeply"),
        (b"\xff", "Not UTF-8 text"),
    ],
)
def test_the_sentence_tells_what_is_wrong(body: bytes, sentence: str) -> None:
    with pytest.raises(WrongDocument) as caught:
        parse_json_or_lines(body)
    assert caught.value.sentence == sentence
    assert caught.value.code == 551
    assert len(sentence) <= 40


@pytest.mark.parametrize("blank", ["\x0b", "\x0c", "\x85", "\xa0", "\u2028", "\ufeff", "\0"])
def test_only_four_characters_are_blank(blank: str) -> None:
    # RFC 8259 section 2
    for text in (f"{blank}[1]", f"[1]{blank}", f"[{blank}1]", f"1\n{blank}\n2\n"):
        with pytest.raises(WrongDocument):
            parse_json_or_lines(f" {text}".encode())


# Against Python's json with Decimal


_numbers = st.one_of(
    st.integers().map(str),
    st.floats(allow_nan=False, allow_infinity=False).map(json.dumps),
    st.from_regex(r"-?(0|[1-9][0-9]{0,30})(\.[0-9]{1,30})?([eE][+-]?[0-9]{1,3})?", fullmatch=True),
)


class Raw(str):
    """JSON text that stands for itself."""

    __slots__ = ()


def written(value: object, gap: str, ensure_ascii: bool) -> str:
    """The document's text, with blanks in all places where they may stand."""
    if isinstance(value, Raw):
        return str(value)
    comma = f"{gap},{gap}"
    if isinstance(value, dict):
        members = (
            f"{json.dumps(name, ensure_ascii=ensure_ascii)}{gap}:{gap}{written(member, gap, ensure_ascii)}"
            for name, member in value.items()
        )
        return f"{{{gap}{comma.join(members)}{gap}}}"
    if isinstance(value, list):
        return f"[{gap}{comma.join(written(element, gap, ensure_ascii) for element in value)}{gap}]"
    return json.dumps(value, ensure_ascii=ensure_ascii)


_text = st.text(st.characters(exclude_categories=["Cs"]))
_documents = st.recursive(
    st.none() | st.booleans() | _text | _numbers.map(Raw),
    lambda inner: st.lists(inner) | st.dictionaries(_text, inner),
    max_leaves=20,
)


@given(_documents, st.sampled_from(["", " ", "\r\n\t"]), st.booleans())
def test_any_document_reads_as_with_the_reference(document: object, gap: str, ensure_ascii: bool) -> None:
    text = written(document, gap, ensure_ascii)
    value = parse_json(text.encode())
    assert exact(value) == json.loads(text, parse_int=Decimal, parse_float=Decimal)
    assert to_text(value) == written(document, "", ensure_ascii=False)


@given(st.binary(max_size=60) | st.text('[]{}",:\\u0dD8eE1-. \n\x1e', max_size=40).map(str.encode))
def test_any_bytes_give_values_or_a_551(body: bytes) -> None:
    for charset in (None, "latin-1"):
        try:
            value, _ = parse_json_or_lines(body, None, charset)
        except WrongDocument as fault:
            assert fault.sentence.isascii()
        else:
            to_text(value).encode("utf-8")


def test_a_number_of_millions_of_digits_costs_its_own_size() -> None:
    body = b"[" + b"7" * 4_000_000 + b"]"
    tracemalloc.start()
    try:
        parse_json(body)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 6 * len(body)


def test_a_document_for_which_there_is_no_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        def raw_decode(self, text: str, start: int) -> tuple[object, int]:
            raise MemoryError

    monkeypatch.setattr(json_text, "_DECODER", Full())
    with pytest.raises(TooLarge):
        parse_json(b"[1]")
