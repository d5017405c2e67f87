"""errno(3) -> the error that a client is told."""

import errno

import pytest

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
from adapters.local.faults import fault_of
from tests.adapters.contract import HUSH, tells_nothing_private


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("ENOENT", NotThere),
        ("ENOTDIR", NotThere),
        ("EACCES", NotAllowed),
        ("EPERM", NotAllowed),
        ("EROFS", NotAllowed),
        ("ELOOP", NotAllowed),
        ("EEXIST", ChangedMeanwhile),
        ("ENOTEMPTY", NotPossible),
        ("EISDIR", WrongDocument),
        ("EXDEV", NotPossible),
        ("ENAMETOOLONG", NameNotAllowed),
        ("EINVAL", NameNotAllowed),
        ("EILSEQ", NameNotAllowed),
        ("ENOSPC", NoRoom),
        ("EDQUOT", NoRoom),
        ("EFBIG", NoRoom),
        ("EMFILE", FarBusy),
        ("EIO", FarBusy),
        ("ESTALE", FarBusy),
    ],
)
def test_each_has_its_error(name: str, kind: type[HeadraceError]) -> None:
    fault = fault_of(OSError(getattr(errno, name), f"about {HUSH}", f"/srv/{HUSH}"))
    assert type(fault) is kind
    tells_nothing_private(fault)


def test_an_error_without_a_number_is_the_disk_failing() -> None:
    assert type(fault_of(OSError("something"))) is FarBusy
