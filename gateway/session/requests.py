"""line -> Request, noted for WHY; and what a request lets go of (CONTRACT sections 1 and 3)."""

from typing import Final

from adapters import limits
from adapters.errors import NotARequest
from gateway.session.state import Explanation, State, without_secrets
from gateway.wire.charsets import decode_line
from gateway.wire.lines import Line
from gateway.wire.words import Request, parse_request, request_word, split_words, without_prompt

_KEEP_CURSOR: Final = frozenset({"MORE", "AGAIN", "WHY", "TIME", "HELP", "NOOP", "SET"})


def request_text(line: Line, charset: str) -> tuple[str, str]:
    """The text of a line without a BASIC's prompt, and its first word.

    NotARequest: a byte that the charset does not have. WrongWords: a quote that is not closed.
    """
    text = without_prompt(decode_line(line.data, charset)).strip()
    return text, split_words(text)[0] if text[:1] in {"'", '"'} else text.partition(" ")[0]


def read_request(state: State, line: Line) -> Request:
    """The request; notes it for WHY, and lets go of the cursor where the contract says so.

    NotARequest and WrongWords say what is wrong with it.
    """
    before, state.explained, state.explains = state.explained, Explanation(""), False
    if line.overlong:
        raise NotARequest(f"A line holds {limits.LINE_BYTES} bytes at most")
    text, first = request_text(line, state.settings.charset)
    state.explained = Explanation(f"{first} ..")
    name = request_word(first).name
    if name not in _KEEP_CURSOR:
        state.cursor = None
    state.explained = Explanation("LOGIN" if name == "LOGIN" else without_secrets(text))
    request = parse_request(text)
    state.explains = name == "WHY" and not request.words
    if state.explains:
        state.explained = before
    return request
