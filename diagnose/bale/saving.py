"""Keeping a case on disk after every answer, whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import platformdirs

from diagnose.bale.casefile import case_document, read_case
from diagnose.case import Case
from diagnose.errors import InputError
from diagnose.files import write_whole


def cases_folder() -> Path:
    """Where cases are kept that were not given a place of their own."""
    return platformdirs.user_data_path("tying-fault-diagnosis") / "open_bales"


def save_case(case: Case, path: Path) -> None:
    """Write a case so that a power cut leaves the old file or the new one, never a part.

    Raises StoreError when the place cannot be written; what stood there stays.
    """
    text = json.dumps(case_document(case), ensure_ascii=False, indent=1) + "\n"
    instead = "give another place with --save FILE"
    write_whole(path, text, make_folder=path.parent == cases_folder(), instead=instead)


def newest_open_case(folder: Path) -> tuple[Path, int]:
    """The saved case last worked on, and how many others are there.

    Raises InputError when there is none.
    """
    paths = sorted(folder.glob("*.json"), key=lambda p: p.stat().st_mtime, reverse=True)
    for i, path in enumerate(paths):
        if read_case(path).confirmed is None:
            return path, len(paths) - i - 1
    raise InputError(f"no unfinished bale is saved in {folder}; begin one with: diagnose bale")
