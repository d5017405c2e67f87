"""What a reload asks of a catalogue."""

import dataclasses

import pytest

from gateway.catalogue.model import Catalogue, Listener
from tests.gateway.catalogue.example import example


def test_watched_are_the_file_its_secrets_and_its_certificates() -> None:
    assert example().watched == ("harbour.toml", "certs/club.pem", "certs/tides.pem", "secrets/score")
    assert Catalogue().watched == ()


def test_watched_are_mapping_files_too() -> None:
    tables = {"file:maps/kiosk.txt": "table:kiosk=..", "table:kiosk": "table:kiosk=.."}
    assert Catalogue(tables=tables, filename="f").watched == ("f", "maps/kiosk.txt")


def test_secrets_are_in_no_repr() -> None:
    text = repr(example())
    for secret in ("club-secret", "k-1234", "s-99"):
        assert secret not in text


def test_it_cannot_be_changed() -> None:
    catalogue = example()
    with pytest.raises(dataclasses.FrozenInstanceError):
        catalogue.listeners = ()  # type: ignore[misc]
    with pytest.raises(TypeError):
        catalogue.sources["X"] = catalogue.sources["TIDES"]  # type: ignore[index]


def test_listeners_of_two_readings_are_equal() -> None:
    assert example().listeners == example().listeners
    assert example().listeners[1] == Listener("127.0.0.1", 0)


def test_only_get_changes_nothing() -> None:
    """RFC 9110 section 9.2.1."""
    sources = example().sources
    assert not sources["TIDES"].changes
    assert sources["SCORE"].changes
    assert sources["BERTH"].changes
