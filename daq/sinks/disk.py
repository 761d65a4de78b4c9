"""What a disk refuses, in words a person can act on."""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Iterator
from pathlib import Path

from daq.errors import StorageError

FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}
FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}


def storage_error(path: Path, doing: str, error: OSError) -> StorageError:
    """`doing` completes "Cannot ..."; the cause is told from the number of the error."""
    evidence = f"{error.strerror or error} ({path})"
    if error.errno in FULL:
        todo = "Free some space. Nothing needs a restart: writing goes on as soon as there is room."
        return StorageError(f"Cannot {doing}: the disk is full.", todo, evidence)
    if error.errno in FORBIDDEN:
        todo = "Give the user that runs boretight the right to write there, or choose another folder."
        return StorageError(f"Cannot {doing}: writing there is not allowed.", todo, evidence)
    return StorageError(f"Cannot {doing}: the disk refuses.", "Check the disk and its mount.", evidence)


@contextlib.contextmanager
def storage_errors(path: Path, doing: str) -> Iterator[None]:
    """Any OSError inside becomes a StorageError."""
    try:
        yield
    except OSError as error:
        raise storage_error(path, doing, error) from error
