"""Writing the record of a bad bale."""

from __future__ import annotations

from pathlib import Path

from diagnose.errors import InputError
from diagnose.files import write_whole
from diagnose.knowledge.model import Knowledge
from diagnose.say import text
from diagnose.say.page import page
from diagnose.say.text import WIDTH, in_columns
from diagnose.session import Diagnosis
from diagnose.views.record import record_view


def write_record(base: Knowledge, diagnosis: Diagnosis, path: Path) -> None:
    """Write the record; the ending chooses: `.html` a page, `.txt` text. Raises InputError."""
    record = record_view(base, diagnosis)
    match path.suffix.lower():
        case ".html" | ".htm":
            write_whole(path, page(record.title, record.page()))
        case ".txt":
            with in_columns(WIDTH):
                write_whole(path, "\n".join(text(record)) + "\n")
        case _:
            raise InputError(f"a record is a .html or a .txt file, not '{path.name}'")
