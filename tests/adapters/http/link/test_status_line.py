"""The first bytes of an answer: interim or final (RFC 9112 section 4, RFC 9110 section 15.2)."""

import pytest

from adapters.http.link.status_line import final_status

CONTINUE = b"HTTP/1.1 100 Continue\r\n\r\n"
HINTS = b"HTTP/1.1 103 Early Hints\r\nLink: </a>\r\n\r\n"


@pytest.mark.parametrize("final", [b"HTTP/1.1 201 Created\r\n", b"HTTP/1.0 500", b"HTTP/1.1 413 Content"])
@pytest.mark.parametrize("before", [b"", CONTINUE, HINTS, CONTINUE + HINTS])
def test_a_final_status_is_seen_as_soon_as_it_can_be(before: bytes, final: bytes) -> None:
    whole = before + final
    for end in range(len(whole) + 1):
        assert final_status(whole[:end]) == (end >= len(before) + len(b"HTTP/1.1 201"))


@pytest.mark.parametrize("text", [b"SSH-2.0-x", b"<html><title>", b"X", b"HTTP/2.0 200"])
def test_what_is_no_http_is_as_good_as_an_answer(text: bytes) -> None:
    assert final_status(text)
    assert final_status(CONTINUE + text)


def test_nothing_is_no_answer() -> None:
    assert not final_status(b"")
    assert not final_status(CONTINUE)
