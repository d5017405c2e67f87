"""Header fields -> the digest of a whole document, where a server offers one.

- Repr-Digest (RFC 9530 section 3) is of the whole document, also beside a part of it.
- Digest (RFC 3230, obsolete) likewise.
- Content-Digest (RFC 9530 section 2) and Content-MD5 (RFC 1864) are of what came, so they count only where
  that is the whole.

The strongest one that can be read counts. All are of the bytes as sent, before a content coding is undone.
"""

import base64
import binascii
import re
from collections.abc import Iterator
from typing import Final

from adapters.files import Digest
from adapters.http.answer.fields import Fields

WANTED: Final = "sha-256=10, sha-512=5"
"""For Want-Repr-Digest (RFC 9530 section 4): sha-256 is what most have ready."""

_ALGORITHMS: Final = {  # names of both registries -> hashlib's and the length in bytes, the strongest first
    "sha-512": ("sha512", 64),
    "sha-256": ("sha256", 32),
    "sha": ("sha1", 20),
    "md5": ("md5", 16),
}
_MEMBER: Final = re.compile(r"\s*([a-z*][a-z0-9_.*-]*)\s*=\s*:([A-Za-z0-9+/=\s]*):", re.ASCII | re.IGNORECASE)
"""One member of a dictionary of byte sequences (RFC 8941 sections 3.2 and 3.3.5), its parameters ignored."""


def document_digest(fields: Fields, *, whole: bool) -> Digest | None:
    """The digest, or None. `whole`: the body is the document and no part of it."""
    offered = dict(_offers(fields, whole=whole))
    return next((offered[name] for name in _ALGORITHMS if name in offered), None)


def _offers(fields: Fields, *, whole: bool) -> Iterator[tuple[str, Digest]]:
    """By name, the more telling fields last."""
    if whole:
        yield from _read("md5", fields.first("content-md5") or "")
        yield from _members(fields.joined("content-digest"))
    for each in fields.joined("digest").split(","):
        name, _, value = each.strip().partition("=")
        yield from _read(name, value)
    yield from _members(fields.joined("repr-digest"))


def _members(text: str) -> Iterator[tuple[str, Digest]]:
    for found in _MEMBER.finditer(text):
        yield from _read(found[1], found[2])


def _read(name: str, value: str) -> Iterator[tuple[str, Digest]]:
    known = _ALGORITHMS.get(name.lower())
    if known is None:
        return
    try:
        digest = base64.b64decode(value, validate=True)
    except (binascii.Error, ValueError):
        return
    if len(digest) == known[1]:
        yield name.lower(), Digest(known[0], digest.hex())
