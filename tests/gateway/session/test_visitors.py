"""Who counts as one caller."""

import pytest

from gateway.session.visitors import NOBODY, Visitor, home_of


@pytest.mark.parametrize(
    ("address", "home"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),  # RFC 4291 section 2.5.5.2
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"),  # RFC 6177 section 2: a site's network
        ("2001:db8:1:2::7", "2001:db8:1:2::"),
        ("2001:db8:1:3::7", "2001:db8:1:3::"),
        ("fe80::1%eth0", "fe80::"),
        ("", ""),
        ("no address", "no address"),
    ],
)
def test_homes(address: str, home: str) -> None:
    assert home_of(address) == home


def test_no_member_has_a_visitors_account() -> None:
    """A member's name holds no blank."""
    assert Visitor("192.0.2.7").account == "from 192.0.2.7"
    assert NOBODY.account == "from "
