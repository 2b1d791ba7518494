"""The code table: what a logged code, or a trouble code on the bus, means to the rule base.

Neutral codes stand in the rules. A user's own table (YAML) maps codes to them or straight to an
answer of a sign; what nobody mapped is listed and never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError, model_validator

from diagnose.errors import InputError, InputFaultsError, nearest
from diagnose.knowledge.item import Item
from diagnose.knowledge.load import faults_of
from diagnose.knowledge.model import Code, Knowledge
from diagnose.knowledge.roles import Roles
from diagnose.knowledge.yaml_file import Document, read_yaml
from diagnose.log import fmi

IGNORED_BY_TABLE = "left out by the code table"


class Meaning(Item):
    """What a logged code means: exactly one of a neutral code, an answer, or nothing."""

    code: str | None = None
    sign: str | None = None
    answer: str | None = None
    ignore: str | None = None
    """Why it is left out, in the user's words."""
    knotter: int | None = Field(default=None, ge=1, le=12)

    @model_validator(mode="after")
    def _one_meaning(self) -> Meaning:
        if (self.sign is None) != (self.answer is None):
            raise ValueError("sign and answer go together")
        if sum(part is not None for part in (self.code, self.sign, self.ignore)) != 1:
            raise ValueError("write one of code, sign with answer, or ignore")
        return self

    @property
    def id(self) -> str | None:
        """Neutral code, or `sign=answer`; None for a code that is left out."""
        return f"{self.sign}={self.answer}" if self.sign else self.code


class BusCode(Meaning):
    """A trouble code on the bus; no source or FMI given means any."""

    spn: int = Field(ge=0, le=524287)
    source: int | None = Field(default=None, ge=0, le=253)
    fmi: int | None = Field(default=None, ge=0, le=31)


class Counter(Item):
    """Where a bale count is sent: unsigned, little-endian, bytes counted from 1."""

    pgn: int = Field(ge=0, le=0x3FFFF)
    source: int | None = Field(default=None, ge=0, le=253)
    first_byte: int = Field(ge=1, le=64)
    bytes: int = Field(ge=1, le=4)


class Bus(Item):
    """How to read a bus log."""

    counter: Counter | None = None
    old_method: dict[int, Literal[1, 2, 3]] = Field(default_factory=dict)
    """Source address -> conversion method of its codes that are not in the current layout."""
    codes: list[BusCode] = Field(default_factory=list)


class LoggedMachine(Item):
    knotters: int = Field(ge=1, le=12)


def _code_only(value: Any) -> Any:
    return {"code": value} if isinstance(value, str) else value


class OwnTable(Item):
    """A user's code table, as it is written."""

    format: Literal[1] = 1
    name: str = ""
    codes: dict[str | int, Annotated[Meaning, BeforeValidator(_code_only)]] = Field(
        default_factory=dict
    )
    bus: Bus = Bus()
    machines: dict[str, LoggedMachine] = Field(default_factory=dict)
    normal: dict[str, Annotated[float, Field(ge=0)]] = Field(default_factory=dict)
    """Neutral code -> events in a thousand ties (bales) that are everyday here."""


@dataclass(frozen=True)
class CodeTable:
    """What codes mean: a user's own table over the neutral codes of the rules."""

    codes: Mapping[str, Code]
    roles: Roles
    often_limits: Mapping[str, tuple[float, float]]
    own: OwnTable = field(default_factory=OwnTable)

    @classmethod
    def of(cls, base: Knowledge, own: OwnTable | None = None) -> CodeTable:
        return cls(base.codes, base.roles, base.base.often_limits, own or OwnTable())

    def meaning(self, logged: str) -> Meaning | None:
        """What a code of a table of events means; None: nobody mapped it."""
        own = self.own.codes.get(logged)
        if own is None and logged.isdigit():
            own = self.own.codes.get(int(logged))
        if own is None and "/" in logged:
            parts = logged.split("/")
            if len(parts) == 3 and all(part.isdigit() for part in parts):
                return self.bus_meaning(*(int(part) for part in parts))
        if own is None and logged in self.codes:
            return Meaning(code=logged)
        return own

    def bus_meaning(self, source: int, spn: int, failure: int) -> Meaning | None:
        """What a trouble code means; the entry that names most goes first.

        An FMI that speaks of the sensor or its wiring leads to the sensor, whatever the SPN
        watches, unless the table has an entry for exactly this FMI.
        """
        fitting = [
            entry
            for entry in self.own.bus.codes
            if entry.spn == spn and entry.source in (None, source) and entry.fmi in (None, failure)
        ]
        if not fitting:
            return None
        best = max(fitting, key=lambda e: (e.fmi is not None, e.source is not None))
        if best.fmi is None and failure in fmi.SENSOR and best.ignore is None:
            return Meaning(code=self.roles.own_circuit, knotter=best.knotter)
        return best

    def normal_rate(self, code: str) -> float:
        """Everyday share of ties or bales with this code; 1 in 1000 for answers of a sign."""
        known = self.codes.get(code)
        return self.own.normal.get(code, known.normal if known else 1.0) / 1000

    def kind_of(self, meaning: str) -> str:
        """Kind of a neutral code; an answer of a sign (`sign=answer`) counts for its bale."""
        known = self.codes.get(meaning)
        return known.kind if known else "bale"


def read_code_table(path: Path, base: Knowledge) -> CodeTable:
    """Read a user's code table. Raises InputError with every fault and its line."""
    document = read_yaml(path)
    try:
        table = OwnTable.model_validate(document.data or {})
    except ValidationError as error:
        faults = faults_of(error, document, (), OwnTable)
        raise InputFaultsError([*document.faults, *faults]) from None
    faults_ = [*document.faults, *_unknown_ids(table, base, document)]
    if faults_:
        raise InputFaultsError(faults_)
    return CodeTable.of(base, table)


def _unknown_ids(table: OwnTable, base: Knowledge, document: Document) -> list[InputError]:
    known = base.codes
    faults = []
    entries = [(("codes", name), entry) for name, entry in table.codes.items()]
    entries += [(("bus", "codes", i), entry) for i, entry in enumerate(table.bus.codes)]  # type: ignore[misc]
    for at, entry in entries:
        if entry.code is not None and entry.code not in known:
            what = f"there is no neutral code '{entry.code}'{nearest(entry.code, known)}"
        elif entry.sign is not None and entry.sign not in base.signs:
            what = f"there is no sign '{entry.sign}'{nearest(entry.sign, base.signs)}"
        elif entry.sign and entry.answer not in base.signs[entry.sign].answers:
            answers = base.signs[entry.sign].answers
            near = nearest(str(entry.answer), answers)
            what = f"'{entry.sign}' has no answer '{entry.answer}'{near}"
        else:
            continue
        faults.append(InputError(what, document.place(at)))
    for name in table.normal:
        if name not in known:
            what = f"there is no neutral code '{name}'{nearest(name, known)}"
            faults.append(InputError(what, document.place(("normal", name))))
    return faults
