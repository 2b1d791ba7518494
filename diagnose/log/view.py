"""A batch as data for other programs, with a schema."""

from __future__ import annotations

from diagnose.knowledge.model import Knowledge
from diagnose.log.as_data import batch_data
from diagnose.log.batch import Batch
from diagnose.say.view import Part, View


class RatePart(Part):
    """A rate with its exact 95 % interval."""

    events: int
    trials: int
    share: float
    low: float
    high: float


class WhichPart(Part):
    """Which knotters, and how likely an even fall would look so."""

    answer: str | None
    p_even: float
    p_knotters: tuple[float, ...]


class CoursePart(Part):
    """Since when and how often."""

    since: tuple[str, ...]
    often: tuple[str, ...]
    p_change: float
    began_bale: int
    began: str | None
    ended_bale: int | None
    before: RatePart
    now: RatePart


class MechanismPart(Part):
    id: str
    chance: float


class SuspectPart(Part):
    id: str
    standing: str
    chance: float
    mechanism: str
    because: tuple[str, ...]
    against: tuple[str, ...]


class CheckPart(Part):
    """The next check, in minutes."""

    id: str
    do: str
    minutes: float
    way: float
    setup: str
    tool: str
    people: int
    tolerance: str
    basis: str
    cautions: tuple[str, ...]


class WorkPart(Part):
    """One thing wrong at one machine."""

    machine: str
    knotters: tuple[int, ...]
    codes: dict[str, int]
    p: float
    which: WhichPart
    course: CoursePart | None
    ties_a_day: float
    mechanism: MechanismPart
    suspects: tuple[SuspectPart, ...]
    next_check: CheckPart | None
    ask: str | None
    seen: str


class CodeRatePart(RatePart):
    code: str
    knotter: int | None


class MachinePart(Part):
    machine: str
    knotters: int
    bales: int
    days: int
    events: int
    troubles: int
    rates: tuple[CodeRatePart, ...]
    notes: tuple[str, ...]


class LinesPart(Part):
    """What became of every line read."""

    read: int
    used: int
    ignored: dict[str, int]
    rejected: int


class RejectPart(Part):
    file: str
    line: int
    reason: str
    raw: str


class UnmappedPart(Part):
    """A code that nobody mapped."""

    code: str
    count: int
    means: str
    bytes: str
    note: str


class LogView(View):
    """A whole batch: the work list, the machines, and the books."""

    nulls = True
    rules: str
    files: tuple[str, ...]
    exit_code: int
    not_read: tuple[str, ...]
    not_judged: tuple[str, ...]
    work: tuple[WorkPart, ...]
    mended: tuple[WorkPart, ...]
    machines: tuple[MachinePart, ...]
    patterns_reasoned: int
    lines: LinesPart
    rejects: tuple[RejectPart, ...]
    unmapped: tuple[UnmappedPart, ...]
    notes: tuple[str, ...]


def log_view(batch: Batch, base: Knowledge) -> LogView:
    """A batch as it is told to other programs."""
    return LogView.model_validate(batch_data(batch, base))
