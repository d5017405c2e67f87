"""OSError -> the error that a client is told; no path is ever in a sentence."""

import errno
from typing import Final

from adapters.errors import (
    ChangedMeanwhile,
    FarBusy,
    HeadraceError,
    NameNotAllowed,
    NoRoom,
    NotAllowed,
    NotPossible,
    NotThere,
    WrongDocument,
)
from adapters.files import A_FOLDER, ALREADY_THERE, NOT_EMPTY

_FAULTS: Final[dict[int, tuple[type[HeadraceError], str]]] = {
    errno.ENOENT: (NotThere, "Not there"),
    errno.ENOTDIR: (NotThere, "Not there"),
    errno.EACCES: (NotAllowed, "The gateway has no right to that"),
    errno.EPERM: (NotAllowed, "The gateway has no right to that"),
    errno.EROFS: (NotAllowed, "That disk cannot be written"),
    errno.ELOOP: (NotAllowed, "A link that is not followed"),
    errno.ENXIO: (NotAllowed, "That is no document"),
    errno.ENODEV: (NotAllowed, "That is no document"),
    errno.EEXIST: (ChangedMeanwhile, ALREADY_THERE),
    errno.ENOTEMPTY: (NotPossible, NOT_EMPTY),
    errno.EISDIR: (WrongDocument, A_FOLDER),
    errno.EXDEV: (NotPossible, "Those are not on one disk"),
    errno.ENAMETOOLONG: (NameNotAllowed, "The name is too long"),
    errno.EINVAL: (NameNotAllowed, "That name is not allowed there"),
    errno.EILSEQ: (NameNotAllowed, "That name is not allowed there"),
    errno.ENOSPC: (NoRoom, "The disk is full"),
    errno.EDQUOT: (NoRoom, "The disk is full"),
    errno.EFBIG: (NoRoom, "Larger than a file there may be"),
    errno.EMFILE: (FarBusy, "Too many files are open"),
    errno.ENFILE: (FarBusy, "Too many files are open"),
}
"""By errno(3); what is not listed is FarBusy."""


def fault_of(error: OSError) -> HeadraceError:
    """To be raised from `error`."""
    kind, sentence = _FAULTS.get(error.errno or 0, (FarBusy, "The disk is failing"))
    return kind(sentence)
