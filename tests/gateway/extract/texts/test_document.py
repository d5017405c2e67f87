"""Documents of any kind as text: which way each goes, and records of exactly one width."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import WrongDocument
from gateway.extract.plan import Style
from gateway.extract.texts import TextSheet, text_records

CASES = Path(__file__).parents[3] / "cases"
PAGE = b"<html><body><p>Hello <a href='x'>there</a></body></html>"


def sheet(
    body: bytes,
    media_type: str = "text/plain",
    charset: str | None = None,
    columns: int = 40,
    flow: bool = False,
) -> TextSheet:
    return text_records(body, media_type, charset, "http://h.example/d/", columns, flow, Style(), {})


def lines(body: bytes, media_type: str = "text/plain", charset: str | None = None) -> list[str]:
    return [record.text.rstrip(" ") for record in sheet(body, media_type, charset).lines]


@pytest.mark.parametrize("media_type", ["text/html", "application/xhtml+xml", "", "application/octet-stream"])
def test_html_is_reduced(media_type: str) -> None:
    assert lines(PAGE, media_type) == ["Hello there [1]"]
    assert sheet(PAGE, media_type).links == ("http://h.example/d/x",)


@pytest.mark.parametrize("media_type", ["text/plain", "application/xml", "text/csv", "application/json"])
def test_everything_else_is_shown_as_it_is(media_type: str) -> None:
    assert "".join(lines(PAGE, media_type)).replace(" ", "") == PAGE.decode().replace(" ", "")


@pytest.mark.parametrize(
    "start", [b"<!DOCTYPE html>", b"\n <!-- by hand --> <HTML>", b"\xef\xbb\xbf<html>", b"<body>", b"<head>"]
)
def test_without_a_type_a_page_is_known_by_its_beginning(start: bytes) -> None:
    assert lines(start + b"<p>Hi", "") == ["Hi"]
    assert lines(b"x " + start + b"<p>Hi", "") != ["Hi"]


def test_the_encoding_may_be_named_by_server_page_or_declaration() -> None:
    page = '<html><head><meta charset="koi8-r"></head><body>порт</body></html>'.encode("koi8-r")
    assert lines(page, "text/html") == ["port"]
    assert lines(page, "text/html", "no-such") == ["port"]
    xml = "<?xml version='1.0' encoding='cp437'?>\n<p>café</p>".encode("cp437")
    assert lines(xml, "application/xml")[-1] == "<p>cafe</p>"
    assert lines(xml.replace(b"cp437", b"other"), "application/xml", "cp1252")[-1] == "<p>caf'</p>"
    assert lines("порт".encode("cp866"), "text/plain", "ibm866") == ["port"]


def test_records_are_exactly_as_wide_and_nothing_counts_as_cut() -> None:
    made = sheet(b"a\n" + b"word " * 20, columns=16)
    assert made.width == 16
    assert all(len(record.text) == 16 and record.cut == record.misfit == () for record in made.lines)


@pytest.mark.parametrize("media_type", ["text/plain", "text/html", ""])
def test_an_empty_document_has_no_lines(media_type: str) -> None:
    assert sheet(b"", media_type) == TextSheet(40, ())


@pytest.mark.parametrize("media_type", ["text/plain", "text/html", "image/png"])
def test_what_is_no_text_is_refused(media_type: str) -> None:
    with pytest.raises(WrongDocument):
        sheet(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", media_type)


def test_too_many_lines_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TEXT_LINES", 3)
    assert (len(sheet(b"a\n" * 3).lines), sheet(b"a\n" * 3).limited) == (3, False)
    assert (len(sheet(b"a\n" * 4).lines), sheet(b"a\n" * 4).limited) == (3, True)


def test_flow_and_the_catalogue_s_own_letters() -> None:
    body = "Über\nuns\n".encode()
    made = text_records(body, "text/plain", None, "http://h.example/", 40, True, Style(), {"Ü": "Ue"})
    assert [record.text.rstrip() for record in made.lines] == ["Ueber uns"]


def test_a_charset_keeps_what_it_has() -> None:
    made = text_records("é€".encode(), "text/plain", None, "", 16, False, Style("latin-1"), None)
    assert made.lines[0].text == "éEUR".ljust(16)


def test_values_of_the_forging_case_are_one_line_each() -> None:
    values = json.loads((CASES / "text-values-must-not-forge-lines" / "values.json").read_text("utf-8"))
    for text in values.values():
        page = f"<p>{text}</p>".replace("\x00", " ").encode()
        (line,) = lines(page, "text/html", "utf-8")
        assert line.isascii() and line.isprintable()


@given(
    st.binary(max_size=200),
    st.sampled_from(["", "text/plain", "text/html"]),
    st.integers(16, 80),
    st.booleans(),
)
def test_any_bytes_are_a_text_or_refused(body: bytes, media_type: str, columns: int, flow: bool) -> None:
    try:
        made = sheet(body, media_type, None, columns, flow)
    except WrongDocument:
        return
    for record in made.lines:
        assert len(record.text) == columns and record.text.isascii() and record.text.isprintable()
