"""Writing a file whole or not at all, and only then saying that it is saved."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from pathlib import Path

from diagnose.errors import StoreError

UNWRITABLE = "backslashreplace"
"""A file's name may hold bytes that are no text: they are written as an escape."""


def write_whole(
    path: Path, text: str, make_folder: bool = False, instead: str = "name another place"
) -> None:
    """Write a text file so that a power cut leaves the old file or the new one, never a part.

    When this returns, the file and its name in the folder are on disk. A new file can be read by
    its owner alone. What is no file (a terminal, a pipe) is written to as it is. Raises StoreError,
    which says what to do `instead`; what stood there stays.
    """
    temporary = ""
    try:
        path = path.resolve()
        if make_folder:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if path.exists() and not path.is_file():
            path.write_text(text, encoding="utf-8", errors=UNWRITABLE)
            return
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:100]}.")
        with os.fdopen(handle, "w", encoding="utf-8", errors=UNWRITABLE, newline="") as stream:
            if path.exists():
                os.fchmod(stream.fileno(), stat.S_IMODE(path.stat().st_mode))
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).replace(path)
        temporary = ""
        _sync_folder(path.parent)
    except OSError as error:
        full = "free some space, or " if error.errno in (errno.ENOSPC, errno.EDQUOT) else ""
        raise StoreError(f"{path}: cannot be written ({error.strerror}); {full}{instead}") from None
    finally:
        if temporary:
            Path(temporary).unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """The name of a file is on disk when its folder is; not every system can be asked."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
