"""The port's own promises: frozen, and no secret in a repr."""

from dataclasses import FrozenInstanceError

import pytest

from adapters.port import Call, CredentialKind, Credentials, Validators


def test_a_secret_is_not_in_the_repr_of_a_call() -> None:
    call = Call("https://far.example/", credentials=Credentials(CredentialKind.BASIC, "clerk", "opensesame"))
    assert "opensesame" not in repr(call)
    assert "clerk" in repr(call)


def test_a_call_is_frozen() -> None:
    with pytest.raises(FrozenInstanceError):
        Call("https://far.example/").url = "https://other.example/"  # type: ignore[misc]


def test_validators_are_true_where_there_is_one() -> None:
    assert not Validators()
    assert Validators(etag='""')
    assert Validators(last_modified="Fri, 17 May 2024 08:00:00 GMT")
