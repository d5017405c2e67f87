"""auth: exactly one form."""

import pytest

from adapters.port import CredentialKind
from gateway.catalogue.model import Auth, SecretRef
from tests.gateway.catalogue.marked import check, load, source

WRONG = {
    "none": "auth = { secret = 'env:KEY' }\n^^^^",
    "two": "auth = { header = 'X', query = 'k', secret = 'env:KEY' }\n                       ^^^^^",
    "unknown": "auth = { user = 'x', bearer = true, secret = 'env:KEY' }\n         ^^^^",
    "bearer with the token": "auth = { bearer = 'hunter2', secret = 'env:KEY' }\n                   ^^^^^^^",
    "bearer off": "auth = { bearer = false, secret = 'env:KEY' }\n                  ^^^^^ true",
    "basic with the password": "auth = { basic = 'me:hunter2', secret = 'env:KEY' }\n"
    "                  ^^^^^^^^^^",
    "header name": "auth = { header = 'X Key', secret = 'env:KEY' }\n                   ^^^^^",
    "header that is no text": "auth = { header = 7, secret = 'env:KEY' }\n                  ^ \"7\"",
    "header of the gateway": "auth = { header = 'Host', secret = 'env:KEY' }\n                   ^^^^",
    "text": "auth = 'hunter2'\n        ^^^^^^^",
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    for mistake in check(source(lines)):
        text = source(lines.split("\n")[0])
        assert "hunter2" not in mistake.render(text, "f")


@pytest.mark.parametrize(
    ("form", "kind", "name"),
    [
        ("header = 'X-Key'", CredentialKind.HEADER, "X-Key"),
        ("basic = 'gate'", CredentialKind.BASIC, "gate"),
        ("bearer = true", CredentialKind.BEARER, ""),
        ("query = 'api key'", CredentialKind.QUERY, "api key"),
    ],
)
def test_forms(form: str, kind: CredentialKind, name: str) -> None:
    read = load(source(f"auth = {{ {form}, secret = 'env:KEY' }}")).sources["A"].auth
    assert read == Auth(kind, name, SecretRef("env:KEY"))
