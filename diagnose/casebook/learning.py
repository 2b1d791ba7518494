"""What confirmed cases teach: how common each cause is, and how long each step takes.

Commonness. The words of the rule base are prior counts of a Dirichlet distribution. Their
shares come from the words; their sum says how many cases they are worth, and follows from one
judgement: a word is right within a factor of two (`WORD_FACTOR`). For k causes alike, a
Dirichlet with counts a each spreads a share by about 1/sqrt(a) of itself, a log-normal factor
f by sqrt(exp(ln(f)^2) - 1); equal for a = 1 / (exp(ln(f)^2) - 1). Confirmed cases are then
added to the counts (Gelman et al., Bayesian Data Analysis, 3.4; from memory).

Machine type. Cases of the same type count 1, those of other types `OTHER_TYPE`: between
pooling everything (1) and nothing (0). This is a power prior (Ibrahim and Chen, Statistical
Science 15, 2000; from memory). Where the machine's type is unknown, every case counts 1.

Minutes. The median of the minutes really taken, among which the judged minutes stand
`JUDGED_STEPS` times, so that one odd day moves nothing. The clock's minutes hold the way to the
step as well; they are divided between way and step as the rule base judges the two.

Bias to know of. The tool chooses the checks, so what it suspects is looked for first and
found more often than what it does not; a cause that is overlooked, mended by chance or
missing from the rule base is never confirmed. Learning then strengthens what was believed.
Cases found in another order, and `--no-learning`, show how much.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median

from diagnose.case import Case
from diagnose.casebook.steps import steps_done
from diagnose.inference.graph import setup_minutes
from diagnose.inference.likelihood import prior_weights
from diagnose.knowledge.model import Knowledge
from diagnose.session.reasoner import Reasoner

WORD_FACTOR = 2.0
"""One standard deviation of a commonness word, as a factor. Judgement."""
OTHER_TYPE = 0.5
"""Weight of a case on a machine of another type. Judgement."""
JUDGED_STEPS = 3
"""How often the judged minutes stand among those really taken. Judgement."""


@dataclass(frozen=True)
class Learned:
    """Counts of causes and minutes of steps, and on how many cases they rest."""

    counts: Mapping[str, float]
    """Dirichlet counts by cause: words and confirmed cases together."""
    minutes: Mapping[str, float]
    """Minutes of those checks and signs for which some were really taken."""
    cases: int = 0
    same_type: int = 0
    machine_type: str | None = None
    unknown: tuple[str, ...] = ()
    """Confirmed causes that this rule base does not have; they count for nothing."""

    @property
    def prior(self) -> dict[str, float]:
        """Mean of the Dirichlet distribution: chance of each cause, adding up to 1."""
        total = sum(self.counts.values())
        return {cause: count / total for cause, count in self.counts.items()}

    @property
    def basis(self) -> str:
        """On how many confirmed cases this rests, in one half-sentence."""
        if not self.cases:
            return "rests on the rule base alone, no confirmed case"
        text = f"rests on {self.cases} confirmed case{'s' if self.cases > 1 else ''}"
        return f"{text}, {self.same_type} on {self.machine_type}" if self.machine_type else text


def learn(
    base: Knowledge, confirmed: Iterable[tuple[Case, str]], machine_type: str | None = None
) -> Learned:
    """What the cases with their confirmed causes teach for a machine of this type."""
    pairs = [(case, cause) for case, cause in confirmed]
    known = [(case, cause) for case, cause in pairs if cause in base.causes]
    seen: Counter[str] = Counter()
    for case, cause in known:
        other = machine_type is not None and case.machine.type != machine_type
        seen[cause] += OTHER_TYPE if other else 1  # type: ignore[assignment]
    return Learned(
        counts=dirichlet_update(prior_counts(base), seen),
        minutes=learnt_minutes(base, (case for case, _ in known)),
        cases=len(known),
        same_type=sum(case.machine.type == machine_type for case, _ in known),
        machine_type=machine_type,
        unknown=tuple(sorted({cause for _, cause in pairs if cause not in base.causes})),
    )


def taught(
    reasoner: Reasoner, confirmed: Iterable[tuple[Case, str]], machine_type: str | None = None
) -> Reasoner:
    """The same rules, with commonness and minutes moved by the cases."""
    learned = learn(reasoner.base, confirmed, machine_type)
    return reasoner.taught(learned.prior, learned.minutes, learned.cases)


def prior_counts(base: Knowledge) -> dict[str, float]:
    """The commonness words as Dirichlet counts; their sum is the cases they are worth."""
    worth = len(base.causes) / (math.exp(math.log(WORD_FACTOR) ** 2) - 1)
    return {cause: worth * share for cause, share in prior_weights(base).items()}


def dirichlet_update(prior: Mapping[str, float], seen: Mapping[str, float]) -> dict[str, float]:
    """Counts after seeing cases: the prior counts and the cases, added."""
    return {cause: count + seen.get(cause, 0) for cause, count in prior.items()}


def learnt_minutes(base: Knowledge, cases: Iterable[Case]) -> dict[str, float]:
    """Minutes of each check and sign for which the cases hold minutes really taken."""
    judged: dict[str, float] = {}
    taken: dict[str, list[float]] = defaultdict(list)
    ways = setup_minutes(base)
    for case in cases:
        for done in steps_done(base, ways, case.events):
            if done.taken is not None:
                judged[done.step] = done.judged
                taken[done.step].append(done.taken * done.judged / (done.judged + done.way))
    return {step: median([judged[step]] * JUDGED_STEPS + times) for step, times in taken.items()}
