"""What can go wrong, once for the whole house: failure -> reply code.

The tree (each class names its reply code; CONTRACT section 2 has the meanings):

    HeadraceError                 451  the gateway failed
      GatewayFull                 421  no room for another client, or going down
      NoRoom                      452  the gateway has no room (disk, memory)
      NotARequest                 500  the line is not a request
      WrongWords                  501  a request with wrong words
        PathFault                 501  a JSONPath, XPath or column that cannot be used
      NotPossible                 502  not possible there, or not yet
      WrongMoment                 503  the wrong moment for it
      NotRecorded                 504  offline, and nothing was recorded for that
      LoginFirst                  530  log in first
      NotAllowed                  532  not allowed
      LoginRefused                535  LOGIN refused
      FarFault                         anything a far server is the cause of
        TooSlow                   420  took longer than the request may
        CannotConnect             425  no connection: refused, unreachable, no such host
        BrokenOff                 426  the connection broke, or the body was cut short
        AskedTooOften             429  asked too often; knows the seconds to wait
        FarBusy                   450  busy or failing; may know the seconds to wait
        CredentialsRefused        533  refuses the gateway's credentials
        NotThere                  550  nothing there
        WrongDocument             551  not the kind of document the source expects
        TooLarge                  552  larger, wider or deeper than a limit allows
          TooMuchWork             552  picking values out of it would take too much work
        NameNotAllowed            553  the far server does not take that name
        Untrusted                 554  its certificate is not to be trusted
        ChangedMeanwhile          555  changed meanwhile, or already there
        MayBeDone                 558  it may have been done: look before repeating

A sentence is what the client reads: plain ASCII, short (40 columns cut it), and never with a password,
key, query string, path on the gateway's own disk, or traceback in it. Replies follow the theory of
RFC 959 section 4.2 and RFC 5321 section 4.2.1.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import ClassVar


class HeadraceError(Exception):
    """The gateway failed. `sentence` is for the client; the cause chain is for the log.

    An adapter notes in `far` what it knows of the far server (scheme, host, port, status; never a query or a
    user), and in `steps` how long each part took, for WHY; `notes` are further pairs of a name and a text.
    """

    code: ClassVar[int] = 451
    sentence: str
    far: str = ""
    steps: tuple[tuple[str, float], ...] = ()
    notes: tuple[tuple[str, str], ...] = ()

    def __init__(self, sentence: str = "The gateway failed") -> None:
        super().__init__(sentence)
        self.sentence = sentence


class GatewayFull(HeadraceError):
    """No room for another client, or the gateway is going down."""

    code = 421


class NoRoom(HeadraceError):
    """The gateway has no room: its disk or a memory limit is used up."""

    code = 452


class NotARequest(HeadraceError):
    """The line is not a request: unknown word, too long, or bytes that the charset does not have."""

    code = 500


class WrongWords(HeadraceError):
    """A request with words it does not take."""

    code = 501


class PathFault(WrongWords):
    """A path that cannot be used. `position` counts characters from 0, into the path's text."""

    def __init__(self, sentence: str, position: int = 0) -> None:
        super().__init__(sentence)
        self.position = position


class NotPossible(HeadraceError):
    """A request that this target, or this version, cannot do."""

    code = 502


class WrongMoment(HeadraceError):
    """A request that makes no sense now, such as MORE without a page before it."""

    code = 503


class NotRecorded(HeadraceError):
    """Offline, and nothing was recorded for that."""

    code = 504


class LoginFirst(HeadraceError):
    """Only members may do that."""

    code = 530


class NotAllowed(HeadraceError):
    """Policy refuses it: the address, the host or the right."""

    code = 532


class LoginRefused(HeadraceError):
    """The member or the secret is wrong."""

    code = 535


class FarFault(HeadraceError):
    """Anything that a far server is the cause of."""

    code = 450


class TooSlow(FarFault):
    """The far server took longer than the request may take."""

    code = 420

    def __init__(self, sentence: str = "The far server took too long") -> None:
        super().__init__(sentence)


class CannotConnect(FarFault):
    """No connection: refused, unreachable, or no such host."""

    code = 425

    def __init__(self, sentence: str = "Cannot connect to the far server") -> None:
        super().__init__(sentence)


class BrokenOff(FarFault):
    """The connection broke before the whole answer was here."""

    code = 426

    def __init__(self, sentence: str = "The far server broke off") -> None:
        super().__init__(sentence)


class _Waiting(FarFault):
    """A fault that may know how many whole seconds to wait (RFC 9110 section 10.2.3)."""

    def __init__(self, sentence: str, seconds: int | None = None) -> None:
        super().__init__(sentence)
        self.seconds = seconds


class AskedTooOften(_Waiting):
    """The far server, or the gateway's own limit, was asked too often."""

    code = 429

    def __init__(self, sentence: str = "Asked too often; wait", seconds: int | None = None) -> None:
        super().__init__(sentence, seconds)


class FarBusy(_Waiting):
    """The far server is busy or failing (HTTP 5xx, FTP 4xx)."""

    code = 450

    def __init__(self, sentence: str = "The far server is failing", seconds: int | None = None) -> None:
        super().__init__(sentence, seconds)


class CredentialsRefused(FarFault):
    """The far server refuses the gateway's credentials."""

    code = 533

    def __init__(self, sentence: str = "The far server refuses our login") -> None:
        super().__init__(sentence)


class NotThere(FarFault):
    """Nothing of that name is there."""

    code = 550

    def __init__(self, sentence: str = "Not there") -> None:
        super().__init__(sentence)


class WrongDocument(FarFault):
    """The document is not of the kind that the source expects."""

    code = 551

    def __init__(self, sentence: str = "Not the kind of document expected") -> None:
        super().__init__(sentence)


class TooLarge(FarFault):
    """Larger, wider or deeper than a limit allows."""

    code = 552

    def __init__(self, sentence: str = "Too large") -> None:
        super().__init__(sentence)


class TooMuchWork(TooLarge):
    """Picking values out of the document would take too much work."""

    def __init__(self, sentence: str = "Too much work for one document") -> None:
        super().__init__(sentence)


class NameNotAllowed(FarFault):
    """The far server does not take that name."""

    code = 553

    def __init__(self, sentence: str = "That name is not allowed there") -> None:
        super().__init__(sentence)


class Untrusted(FarFault):
    """The far server's certificate is not to be trusted."""

    code = 554

    def __init__(self, sentence: str = "The certificate is not to be trusted") -> None:
        super().__init__(sentence)


class ChangedMeanwhile(FarFault):
    """It changed meanwhile, or is already there (HTTP 409, 412)."""

    code = 555

    def __init__(self, sentence: str = "Changed meanwhile, or already there") -> None:
        super().__init__(sentence)


class MayBeDone(FarFault):
    """A change was sent and its outcome is not known: look before repeating."""

    code = 558

    def __init__(self, sentence: str = "May have been done: look first") -> None:
        super().__init__(sentence)


@contextmanager
def happened_at(far: str) -> Iterator[None]:
    """Errors that leave here without a `far` get this one."""
    try:
        yield
    except HeadraceError as fault:
        fault.far = fault.far or far
        raise
