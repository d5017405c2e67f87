"""The reply to HASH or an X command -> a digest's digits.

HASH is draft-bryan-ftpext-hash (from memory): `213 SHA-256 0-49 6169ef1f... name`. XSHA256, XMD5 and
their like are common practice: `250 6169ef1f...`, in either case, sometimes with words around.
"""

import re
from typing import Final

LENGTHS: Final = {"md5": 32, "sha1": 40, "sha256": 64, "sha512": 128}
"""Hex digits of a digest, by its `hashlib` name."""


def read_digits(text: str, algorithm: str) -> str | None:
    """The lower-case hex digits in the text of a reply, or None where there are none of that length."""
    found = re.search(rf"(?<![0-9A-Za-z])[0-9A-Fa-f]{{{LENGTHS[algorithm]}}}(?![0-9A-Za-z])", text)
    return found[0].lower() if found else None
