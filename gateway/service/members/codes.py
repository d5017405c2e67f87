"""a code that an authenticator shows -> which step of time it is for (RFC 6238, six digits, 30 seconds)."""

import re
from hmac import compare_digest
from typing import Final

from pyotp import TOTP, random_base32

_CODE: Final = re.compile(r"[0-9]{6}")
_STEP: Final = 30  # seconds (RFC 6238 section 4.1)
_APART: Final = (0, -1, 1)  # steps that the two clocks may be apart (section 5.2)


def new_key() -> str:
    """A key of 160 bits, in base 32 (RFC 4226 section 4, R6)."""
    return random_base32(32)


def key_url(key: str, member: str) -> str:
    """What an authenticator takes as a picture or by hand."""
    return TOTP(key).provisioning_uri(name=member.lower(), issuer_name="headrace")


def step_of(code: str, key: str, now: float, used: int) -> int | None:
    """The step that the code is for at `now`, an epoch in seconds; None where it is no code, or one that is
    not after the step `used`: each is good once (section 5.2).
    """
    if _CODE.fullmatch(code) is None:
        return None
    maker, found = TOTP(key), None
    for apart in _APART:
        step = int(now) // _STEP + apart
        same = compare_digest(maker.generate_otp(step), code) if step >= 0 else False
        if same and step > used:
            found = step
    return found
