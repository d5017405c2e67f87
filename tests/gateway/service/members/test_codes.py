"""Codes of authenticators. The key and the values are those of RFC 6238 Appendix B (SHA-1), from memory; of
their eight digits the last six, as RFC 4226 section 5.3 takes the code modulo a power of ten.
"""

from base64 import b32encode

import pytest

from gateway.service.members.codes import key_url, new_key, step_of

KEY = b32encode(b"12345678901234567890").decode()
VECTORS = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]


@pytest.mark.parametrize(("now", "code"), VECTORS)
def test_published_values(now: int, code: str) -> None:
    assert step_of(code[2:], KEY, now, -1) == now // 30
    assert step_of(code[2:], KEY, now + 30, -1) == now // 30  # RFC 6238 section 5.2: a step late
    assert step_of(code[2:], KEY, now - 30, -1) == now // 30  # or early
    assert step_of(code[2:], KEY, now + 60, -1) is None
    assert step_of(code[2:], KEY, now - 60, -1) is None


def test_each_code_is_good_once() -> None:
    now, code = VECTORS[1]
    step = step_of(code[2:], KEY, now, -1)
    assert step is not None
    assert step_of(code[2:], KEY, now, step) is None
    assert step_of(code[2:], KEY, now, step - 1) == step


@pytest.mark.parametrize("code", ["", "94287082", "28708", "2870 82", "٢٨٧٠٨٢", "abcdef", "287083"])
def test_what_is_no_code(code: str) -> None:
    assert step_of(code, KEY, 59, -1) is None


def test_keys() -> None:
    """RFC 4226 section 4, R6: 160 bits; what an authenticator takes names the gateway and the member."""
    assert len(new_key()) == 32
    assert new_key() != new_key()
    assert key_url(KEY, "ANNA") == f"otpauth://totp/headrace:anna?secret={KEY}&issuer=headrace"
