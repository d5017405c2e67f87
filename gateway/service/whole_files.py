"""bytes -> a file that is there whole, or as it was: what reads it meanwhile sees the old one or the new."""

import os
import tempfile
from contextlib import suppress
from pathlib import Path


def put_in_place(path: Path, data: bytes, mode: int, *, like: Path | None = None) -> None:
    """Write the file by way of a name beside it, and keep it safe from a power cut. OSError.

    `mode` is its permissions. `like`: it is to have that file's or folder's owner, where that may be given.
    """
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    draft = Path(name)
    try:
        with os.fdopen(descriptor, "wb") as file:
            if like is not None:
                with suppress(OSError, AttributeError):  # not on every system
                    owner = like.stat()
                    os.fchown(file.fileno(), owner.st_uid, owner.st_gid)
            draft.chmod(mode)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise
