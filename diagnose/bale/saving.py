"""Keeping a case on disk after every answer, whole or not at all."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path

import platformdirs

from diagnose.bale.casefile import case_document, read_case
from diagnose.case import Case
from diagnose.errors import InputError, StoreError


def cases_folder() -> Path:
    """Where cases are kept that were not given a place of their own."""
    return platformdirs.user_data_path("tying-fault-diagnosis") / "open_bales"


def save_case(case: Case, path: Path) -> None:
    """Write a case so that a power cut leaves the old file or the new one, never a part.

    Raises StoreError when the place cannot be written; what stood there stays.
    """
    write_whole(path, json.dumps(case_document(case), ensure_ascii=False, indent=1) + "\n")


def write_whole(path: Path, text: str) -> None:
    """Write a text file whole or not at all. Raises StoreError."""
    temporary = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).replace(path)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise StoreError(
            f"{path}: cannot be written ({error.strerror}); free some space or give another "
            "place with --save FILE"
        ) from None


def newest_open_case(folder: Path) -> tuple[Path, int]:
    """The saved case last worked on, and how many others are there.

    Raises InputError when there is none.
    """
    paths = sorted(folder.glob("*.json"), key=lambda p: p.stat().st_mtime, reverse=True)
    for i, path in enumerate(paths):
        if read_case(path).confirmed is None:
            return path, len(paths) - i - 1
    raise InputError(f"no unfinished bale is saved in {folder}; begin one with: diagnose bale")
