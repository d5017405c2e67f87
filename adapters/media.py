"""A file's name -> its media type, where no server names one (IANA media types, by common file endings)."""

import mimetypes
from typing import Final

_TYPES: Final = mimetypes.MimeTypes(filenames=())  # the library's own table, not this machine's files

_MORE: Final = {
    ".ndjson": "application/x-ndjson",
    ".jsonl": "application/x-ndjson",
    ".atom": "application/atom+xml",
    ".rss": "application/rss+xml",
    ".md": "text/markdown",
    ".bas": "text/plain",
    ".asm": "text/plain",
    ".log": "text/plain",
    ".toml": "text/plain",
}


def media_type_of(name: bytes) -> str:
    """`type/subtype` in lower case by the name's ending, or empty."""
    text = name.decode("latin-1").lower()
    ending = text[text.rindex(".") :] if "." in text else ""
    return _MORE.get(ending) or _TYPES.guess_type("name" + ending)[0] or ""
