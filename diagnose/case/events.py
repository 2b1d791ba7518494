"""A case: one bad bale as an immutable list of events. Every use reads and writes this.

The same events come from a question session, a case file, a measuring sheet, a log or a
casebook. Nothing derived is stored: standing, next step and proof are recomputed.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PositiveInt

CASE_FORMAT: Literal[1] = 1


Line = Annotated[str, Field(pattern=r"^[^\x00]*$")]
"""Text that a database can hold as it is: a server's text has no NUL."""


class Event(BaseModel):
    """Something that happened in a case. `minutes` is the time really taken, where known."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
    at: datetime | None = None
    minutes: float | None = Field(default=None, ge=0)


class MadeSafe(Event):
    """Precautions were taken; without names, the one that comes before all others: made safe."""

    kind: Literal["safe"] = "safe"
    precautions: tuple[str, ...] | None = None


class Seen(Event):
    """A sign was answered. Several answers mean: one of these. No knotter: all that failed."""

    kind: Literal["seen"] = "seen"
    sign: str
    answers: tuple[str, ...] = Field(min_length=1)
    knotter: PositiveInt | None = None


class NotKnown(Event):
    """Asked, and answered with "don't know". No evidence; not asked again."""

    kind: Literal["not_known"] = "not_known"
    sign: str
    knotter: PositiveInt | None = None


class NotNow(Event):
    """A question or check that cannot be done now. No evidence; offered again later."""

    kind: Literal["not_now"] = "not_now"
    step: str
    knotter: PositiveInt | None = None


class Reading(Event):
    """One measured value of one setting, in the unit it was given in."""

    kind: Literal["reading"] = "reading"
    setting: str
    value: float
    unit: str
    knotter: PositiveInt | None = None
    uncertainty: float | None = Field(default=None, gt=0)


class Logged(Event):
    """A fault code that a controller or an operator logged."""

    kind: Literal["logged"] = "logged"
    code: str
    count: PositiveInt = 1
    knotter: PositiveInt | None = None


class Checked(Event):
    """A check was done: it found a cause, or cleared those it can confirm (`found` None)."""

    kind: Literal["checked"] = "checked"
    check: str
    found: str | None = None
    knotter: PositiveInt | None = None


class Mended(Event):
    """A cause was set right; what was changed from what to what, where known."""

    kind: Literal["mended"] = "mended"
    cause: str
    knotter: PositiveInt | None = None
    """No knotter: of the whole machine, or of all that failed."""
    setting: str | None = None
    before: float | None = None
    after: float | None = None
    unit: str | None = None
    aside: Literal[True] | None = None
    """Set though the failed tie does not fit it: recorded, and the search goes on."""


class Proved(Event):
    """Trials counted after mending: all clean, or it failed again."""

    kind: Literal["proved"] = "proved"
    cause: str
    clean_ties: int = Field(ge=0)
    """Clean trials in a row, as the cause's `trial` counts them; ties before that was asked."""
    failed: bool
    knotter: PositiveInt | None = None
    """Where; of a cause set right at one knotter, that one."""


class Counted(Event):
    """Clean trials of a cause set right, while a tie failed elsewhere: they count on."""

    kind: Literal["counted"] = "counted"
    cause: str
    clean_ties: int = Field(ge=0)
    knotter: PositiveInt | None = None


class Failed(Event):
    """A tie failed at a knotter where nothing was set right yet."""

    kind: Literal["failed"] = "failed"
    knotter: PositiveInt


class Noted(Event):
    """A free remark."""

    kind: Literal["noted"] = "noted"
    text: str


AnyEvent = Annotated[
    MadeSafe
    | Seen
    | NotKnown
    | NotNow
    | Reading
    | Logged
    | Checked
    | Mended
    | Proved
    | Counted
    | Failed
    | Noted,
    Field(discriminator="kind"),
]


class Machine(BaseModel):
    """What a case says of its machine; the machine file says more."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    name: Line | None = None
    type: Line | None = None
    knotters: int | None = Field(default=None, ge=1, le=12)


class Case(BaseModel):
    """One bad bale: its machine, and everything that happened, in order."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    format: Literal[1] = CASE_FORMAT
    id: Line
    rules: str | None = None
    """Version of the rule base it was recorded with."""
    machine: Machine = Machine()
    opened: datetime | None = None
    technician: str | None = None
    customer: str | None = None
    events: tuple[AnyEvent, ...] = ()

    def with_event(self, event: Event) -> Case:
        """The same case with one more event; the case itself does not change."""
        return self.model_copy(update={"events": (*self.events, event)})

    @property
    def confirmed(self) -> str | None:
        """The cause that was mended and then proved cured, if there is one."""
        cured = [e.cause for e in self.events if isinstance(e, Proved) and not e.failed]
        return cured[-1] if cured else None
