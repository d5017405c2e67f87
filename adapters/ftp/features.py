"""The lines of a FEAT reply -> what the server can do (RFC 2389 section 3, RFC 3659)."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

_DIGESTS: Final = (("SHA-512", "sha512"), ("SHA-256", "sha256"), ("SHA-1", "sha1"), ("MD5", "md5"))
_COMMANDS: Final = (
    ("XSHA512", "sha512"),
    ("XSHA256", "sha256"),
    ("XSHA1", "sha1"),
    ("XSHA", "sha1"),
    ("XMD5", "md5"),
)


@dataclass(frozen=True, slots=True)
class Features:
    """What FEAT named. Without FEAT all is False; `size` and `modified` are then tried all the same.

    `digest` is a `hashlib` name, or empty; `digest_command` asks for it, after `digest_option` if any.
    """

    facts: bool = False  # MLST and MLSD
    size: bool = True
    modified: bool = True
    utf8: bool = False
    digest: str = ""
    digest_command: str = ""
    digest_option: str = ""


def read_features(lines: Sequence[str]) -> Features:
    """The features of the lines between the first and the last one of a 211 reply."""
    words = {key.upper(): value for key, _, value in (line.strip().partition(" ") for line in lines)}
    found = Features(
        facts="MLST" in words or "MLSD" in words,
        size="SIZE" in words,
        modified="MDTM" in words,
        utf8="UTF8" in words,
    )
    return _with_digest(found, words)


def _with_digest(found: Features, words: dict[str, str]) -> Features:
    """HASH (draft-bryan-ftpext-hash, from memory): `HASH SHA-256*;SHA-1`, the one in use with a star; the
    strongest is chosen. Else one of the older X commands, which are common practice.
    """
    offered = [each.strip().upper() for each in words.get("HASH", "").split(";")]
    for name, algorithm in _DIGESTS:
        if name + "*" in offered:
            return replace(found, digest=algorithm, digest_command="HASH")
        if name in offered:
            return replace(found, digest=algorithm, digest_command="HASH", digest_option=f"OPTS HASH {name}")
    for command, algorithm in _COMMANDS:
        if command in words:
            return replace(found, digest=algorithm, digest_command=command)
    return found
