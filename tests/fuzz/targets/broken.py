"""No stage: it has something to be found, for the test of the fuzzer itself."""

from collections.abc import Iterator

from adapters.errors import NotARequest
from gateway.wire.words import request_word


def check(data: bytes) -> None:
    """Raise where the data begin with a request word, which the seeds do not."""
    try:
        found = request_word(data[:3].decode("latin-1"))
    except NotARequest:
        return
    raise AssertionError(f"told {found.name}")


def seeds() -> Iterator[bytes]:
    """Nothing that is near."""
    yield b"zzz"
