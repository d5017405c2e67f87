"""Time zones, against the IANA data that Python finds."""

import zoneinfo

import pytest

from gateway.catalogue.schema.values.zones import known_zone, near_zone


@pytest.mark.parametrize("name", sorted(zoneinfo.available_timezones()))
def test_every_zone_is_known_in_any_case(name: str) -> None:
    assert known_zone(name.upper()) == name


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("Lisbon", "Europe/Lisbon"),
        ("new york", "America/New_York"),
        ("Europe/Lisbom", "Europe/Lisbon"),
        ("zzz9zzz", ""),
    ],
)
def test_near_zones(text: str, near: str) -> None:
    assert known_zone(text) is None
    assert near_zone(text) == near
