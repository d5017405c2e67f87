"""a client that cannot log in -> what it may do, and what that costs it: a modem's program."""

from collections.abc import Callable

from gateway.catalogue.model import Catalogue
from gateway.service.clients.client import House
from gateway.session.access import access_of
from gateway.session.visitors import Visitor


class Guest:
    """Whoever is at one line. `catalogue` is asked anew each time."""

    def __init__(self, house: House, catalogue: Callable[[], Catalogue], visitor: Visitor) -> None:
        self._house, self._catalogue, self._visitor = house, catalogue, visitor

    def check(self, wish: object) -> None:
        """The refusal of what it may not wish for, if so."""
        access_of(self._catalogue(), self._visitor).check(wish)

    def charge(self) -> None:
        """One request more; AskedTooOften."""
        rights = access_of(self._catalogue(), self._visitor).rights
        if rights.metered:
            self._house.charge(self._visitor.account, rights)

    def count(self, size: int) -> None:
        """Bytes passed, either way."""
        metered = access_of(self._catalogue(), self._visitor).rights.metered
        self._house.moved(self._visitor.account if metered else None, size)
