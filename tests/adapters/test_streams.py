"""The port of streams: what a call is made of, and that the adapter in the house keeps it."""

from dataclasses import FrozenInstanceError

import pytest

from adapters.port import Adapter, Reach
from adapters.stream.adapter import LineAdapter
from adapters.streams import Calling, StreamAdapter, Terminal


def test_a_call_is_frozen_and_by_default_goes_to_public_addresses_only() -> None:
    calling = Calling("tcp://far.example:7")
    assert calling.reach == Reach()
    assert calling.terminal == Terminal(0, 0, "UNKNOWN")
    with pytest.raises(FrozenInstanceError):
        calling.url = "tcp://other.example:7"  # type: ignore[misc]


def test_an_adapter_of_streams_is_one_of_documents_too_for_the_registry() -> None:
    """Its methods' types are mypy's affair, which reads this line."""
    made: tuple[StreamAdapter, Adapter] = (LineAdapter(), LineAdapter())
    assert all(hasattr(made[0], name) for name in ("open", "fetch", "aclose"))
