"""What the casebook says as data for other programs, with a schema."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.casebook.learning import Learned
from diagnose.casebook.regression import Regression
from diagnose.casebook.replay_report import regression_data
from diagnose.casebook.report import entry_data
from diagnose.casebook.versions import Entry
from diagnose.knowledge.model import Knowledge
from diagnose.say.view import Part, View


class MachinePart(Part):
    name: str | None = None
    type: str | None = None
    knotters: int | None = None


class CopyPart(Part):
    """One copy of a case, by the fingerprint of its content."""

    content: str
    case: dict[str, Any]
    """As a file holds it: see the schema of a case."""


class EntryPart(Part):
    """One case; several copies where they contradict each other."""

    id: str
    opened: str | None
    machine: MachinePart
    confirmed: str | None
    conflict: bool
    technicians: tuple[str, ...]
    customers: tuple[str, ...]
    copies: tuple[CopyPart, ...]


class CasesView(View):
    """Cases of a casebook, oldest first."""

    nulls = True
    cases: tuple[EntryPart, ...]


class CaseView(View, EntryPart):
    """One case in full."""

    nulls = True


class LearnedView(View):
    """What confirmed cases have taught: counts, chances, minutes."""

    nulls = True
    counts: dict[str, float]
    prior: dict[str, float]
    minutes: dict[str, float]
    cases: int
    same_type: int
    machine_type: str | None
    unknown: tuple[str, ...]


class BinPart(Part):
    """Chances in [low, high): how many, their mean, and how often it was so."""

    low: float
    high: float
    n: int
    mean_chance: float
    came_true: int
    share: float
    interval: tuple[float, float]


class ScoresPart(Part):
    """How good the chances were; only `n` where there were none."""

    n: int
    first: int | None = None
    among_first_three: int | None = None
    brier: float | None = None
    log_score: float | None = None
    calibration_error: float | None = None
    reliability: tuple[BinPart, ...] | None = None


class MinutesPart(Part):
    planned: float
    recorded: float
    chart: float
    taken: float | None = None
    called: float


class JudgedPart(Part):
    id: str
    cause: str
    rank: int
    chance: float
    minutes: MinutesPart | None = None


class LeftOutPart(Part):
    id: str
    why: str


class EffectPart(Part):
    """One case then and now: chance and place of its confirmed cause."""

    case_id: str
    cause: str
    before: tuple[float, int]
    now: tuple[float, int]
    by: dict[str, float]
    gain: float


class ChangesPart(Part):
    since: str
    rules: dict[str, str]
    effects: tuple[EffectPart, ...]


class ReplayView(View):
    """Every solved case through the present rules."""

    rules: str
    digest: str
    rules_alone: ScoresPart
    with_learning: ScoresPart | None = None
    left_out: tuple[LeftOutPart, ...]
    cases: tuple[JudgedPart, ...]
    changes: ChangesPart | None = None


def cases_view(entries: Sequence[Entry]) -> CasesView:
    """What a list or a search found."""
    return CasesView.model_validate({"cases": [entry_data(entry) for entry in entries]})


def case_view(entry: Entry) -> CaseView:
    """One case, every copy that stands."""
    return CaseView.model_validate(entry_data(entry))


def learned_view(learned: Learned) -> LearnedView:
    """What was learnt."""
    return LearnedView(
        counts=dict(learned.counts),
        prior=learned.prior,
        minutes=dict(learned.minutes),
        cases=learned.cases,
        same_type=learned.same_type,
        machine_type=learned.machine_type,
        unknown=learned.unknown,
    )


def replay_view(base: Knowledge, found: Regression) -> ReplayView:
    """What a replay found."""
    return ReplayView.model_validate(regression_data(base, found))
