"""a password <-> its salted hash: Argon2id (RFC 9106), in the PHC string format."""

import unicodedata
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.low_level import Type
from argon2.profiles import RFC_9106_LOW_MEMORY

_HASHER: Final = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
"""RFC 9106 section 4, the second choice: 64 MiB, three passes. Measured here: some 90 ms."""

assert _HASHER.type is Type.ID


def hashed(password: str) -> str:
    """A new hash, of a new salt each time."""
    return _HASHER.hash(_form(password))


def matches(password: str, kept: str) -> bool:
    """Whether it is the one that was hashed. It takes as long where it is not."""
    try:
        return _HASHER.verify(kept, _form(password))
    except (VerificationError, InvalidHashError):
        return False


def _form(password: str) -> str:
    """One spelling of what looks the same (RFC 8265 section 4.2.2)."""
    return unicodedata.normalize("NFC", password)
