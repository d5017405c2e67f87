"""sender, receiver -> effects: what is to be done for a transfer, in the order given."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Document:
    """A document begins, as YMODEM names it: bytes, and seconds since 1970 in UTC; None where not told.

    What a receiver gives has a bare name, without folders and control characters, that is still the other
    side's word; a sender may be given any name that fits.
    """

    name: str
    size: int | None = None
    modified: int | None = None


@dataclass(frozen=True, slots=True)
class Send:
    """These bytes go to the other side."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Block:
    """The next bytes of the document that is being received, never none."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Want:
    """`supply` the next bytes of document number `document` (from 0), `count` at most; none for its end."""

    count: int
    document: int = 0


@dataclass(frozen=True, slots=True)
class Ended:
    """The document is whole: received and to be kept, or acknowledged by the other side."""


@dataclass(frozen=True, slots=True)
class Done:
    """The transfer is over, and all of it went well."""


@dataclass(frozen=True, slots=True)
class Failed:
    """The transfer is over; a document without its `Ended` is not whole. `reason` is a short sentence."""

    reason: str


Effect = Document | Send | Block | Want | Ended | Done | Failed
