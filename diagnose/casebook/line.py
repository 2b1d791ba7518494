"""One case as one line of JSON, the same for the same case on every machine.

A casebook stores these lines, an exchange file holds them one under the other, and the
fingerprints that make an import idempotent are taken from them.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from pydantic import ValidationError

from diagnose.case import Case
from diagnose.errors import InputError, Place

NAMES = ("technician", "customer")
"""Fields that tell who a person is; left out of an exchange file unless asked for."""


def to_line(case: Case) -> str:
    """The case as JSON on one line: keys sorted, fields that are empty left out."""
    return canonical(case.model_dump(mode="json", exclude_none=True))


def canonical(data: Any) -> str:
    """Plain data as the one JSON text that equal data always gives."""
    return json.dumps(
        data, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )


def from_line(text: str, place: Place | None = None) -> Case:
    """The case on a line. Raises InputError naming the field that is wrong."""
    try:
        return Case.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        what = f"{where}: {first['msg']}" if where else first["msg"]
        raise InputError(f"not a case: {what}", place) from None


def without_names(case: Case) -> Case:
    """The case without the names of people."""
    return case.model_copy(update=dict.fromkeys(NAMES))


def digest(case: Case) -> str:
    """SHA-256 of the case with its names, in hexadecimal."""
    return hashlib.sha256(to_line(case).encode()).hexdigest()


def content(case: Case) -> str:
    """SHA-256 of the case without names: the same whether names were sent along or not."""
    return digest(without_names(case))
