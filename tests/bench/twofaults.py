"""Several knotters that fail: minutes until every fault is found, against four other ways.

Run as `python -m tests.bench.twofaults [BALES]`; 200 bales of each kind take about half an hour.
Bales are drawn from the rule base itself, so the figures say how well the rules are used, not how
true they are. `two faults`: on two knotters of six a cause each. `one fault`: one cause behind two
to six of them, as far as it reaches. What is asked of the bale is answered for one of the failing
ties, drawn anew for each question. A failed proof costs `PROOF` minutes (judgement).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from diagnose.bale.answers import events_from
from diagnose.case import Case, Checked, Event, Machine, MadeSafe, Mended, Seen
from diagnose.knowledge import load_rules
from diagnose.session import Reasoner, Step, diagnose
from tests.bench.bales import Bale, by_chart
from tests.bench.planner import ratio_of_means

BALES, STEPS, PROOF, KNOTTERS = 200, 60, 10.0, 6
TOLD = 1e9
"""Times as likely as said: the planner told that there are two faults, or one."""


@dataclass
class World:
    """A bad bale: at each failing knotter a cause, and what looks and checks give."""

    reasoner: Reasoner
    causes: dict[int, int]
    """Failing knotter -> cause."""
    seed: int
    mended: set[int] = field(default_factory=set)
    """Knotters whose fault is set right."""

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng([self.seed, 1])
        self.looks: dict[tuple[int, str], str] = {}
        self.branch = {knotter: self._branch(cause) for knotter, cause in self.causes.items()}

    def _branch(self, cause: int) -> int:
        tables = self.reasoner.tables
        mine = np.flatnonzero(tables.branch_cause == cause)
        share = tables.branch_share[mine]
        return int(self.rng.choice(mine, p=share / share.sum()))

    @property
    def left(self) -> list[int]:
        return [k for k in self.causes if k not in self.mended]

    def answer(self, sign: str, knotter: int) -> str:
        tables = self.reasoner.tables
        if (knotter, sign) not in self.looks:
            row = tables.likelihood[sign][self.branch[knotter]]
            self.looks[knotter, sign] = str(self.rng.choice(tables.answers[sign], p=row))
        return self.looks[knotter, sign]

    def of_bale(self, sign: str) -> str:
        """What is told of the whole bale is about one of the failing ties."""
        if (0, sign) not in self.looks:
            self.looks[0, sign] = self.answer(sign, int(self.rng.choice(list(self.causes))))
        return self.looks[0, sign]

    def finds(self, check: str, knotters: Iterable[int]) -> str | None:
        """The cause that the check finds at one of these knotters."""
        tables = self.reasoner.tables
        k = tables.checks.index(check)
        for knotter in knotters:
            if self.rng.random() >= tables.overlooks[k, self.causes[knotter]]:
                return tables.causes[self.causes[knotter]]
        return None

    def set_right(self, cause: str, knotter: int | None) -> None:
        """A part that each knotter has, at that knotter; what hits several, for all of them."""
        c = self.reasoner.tables.causes.index(cause)
        at = [k for k in self.left if self.causes[k] == c]
        everywhere = knotter is None or self.reasoner.hits_several(cause)
        self.mended |= set(at if everywhere else [k for k in at if k == knotter])

    def fails_again(self) -> None:
        """Another bale: what hangs there is of a new tie."""
        of_tie = {n for n, s in self.reasoner.base.signs.items() if s.scope == "tie"}
        for knotter in self.left:
            self.branch[knotter] = self._branch(self.causes[knotter])
        self.looks = {key: a for key, a in self.looks.items() if key[1] not in of_tie}


def two_faults(reasoner: Reasoner, seed: int) -> World:
    rng = np.random.default_rng(seed)
    chances = _reach(reasoner, "one")
    first, second = rng.choice(len(chances), 2, replace=False, p=chances)
    one, other = rng.choice(np.arange(1, KNOTTERS + 1), 2, replace=False)
    return World(reasoner, {int(one): int(first), int(other): int(second)}, seed)


def one_fault(reasoner: Reasoner, seed: int) -> World:
    rng = np.random.default_rng(seed)
    everywhere = rng.random() < _reach(reasoner, "all").sum() / _reach(reasoner, "several").sum()
    chances = _reach(reasoner, "all" if everywhere else "some")
    cause = int(rng.choice(len(chances), p=chances / chances.sum()))
    many = KNOTTERS if everywhere else int(rng.integers(2, KNOTTERS))
    knotters = rng.choice(np.arange(1, KNOTTERS + 1), many, replace=False)
    return World(reasoner, {int(k): cause for k in sorted(knotters)}, seed)


def _reach(reasoner: Reasoner, how: str) -> np.ndarray:
    """(C,) chance of a cause that fails one, some, several or all knotters; `one` adds up to 1."""
    tables, which = reasoner.tables, reasoner.base.roles.which
    answers = {
        "one": (which.one, which.wandering), "some": (which.few, which.wandering),
        "all": (which.all,), "several": (which.few, which.wandering, which.all),
    }[how]  # fmt: skip
    likelihood = tables.answer_likelihood(which.sign, answers)
    chances = tables.prior * tables.sum_by_cause(tables.branch_share * likelihood)
    return chances / chances.sum() if how == "one" else chances


Result = tuple[float, float, bool]
"""Minutes, minutes with failed proofs, and whether every fault was found."""


def by_session(reasoner: Reasoner, world: World, only: list[int] | None = None) -> Result:
    """The question session, told of all failing knotters, or of `only` some as of one tie."""
    base, minutes, proofs = reasoner.base, 0.0, 0
    case = Case(id="drawn", machine=Machine(knotters=KNOTTERS), events=(MadeSafe(),))
    for _ in range(STEPS):
        step = diagnose(reasoner, case).step
        minutes += step.minutes + step.way
        if step.kind == "call":
            break
        if step.kind == "prove":
            failing = [k for k in world.left if only is None or k in only]
            if not failing:
                return minutes, minutes + PROOF * proofs, True
            proofs += 1
            world.fails_again()
            at = " ".join(map(str, failing)) if only is None else ""
            new = [*events_from(base, step, f"1 f {at}".strip()), MadeSafe()]
        else:
            new = _told(base, world, step, only)
        for event in new:
            case = case.with_event(event)
    minutes += base.base.call_minutes
    return minutes, minutes + PROOF * proofs, False


def _told(base, world: World, step: Step, only: list[int] | None) -> list[Event]:  # type: ignore[no-untyped-def]
    knotters = list(world.causes) if only is None else only
    if step.kind == "safe":
        return [MadeSafe()]
    if step.kind == "ask":
        if base.signs[step.id].scope == "bale":
            return [Seen(sign=step.id, answers=(world.of_bale(step.id),))]
        if only is not None:
            return [Seen(sign=step.id, answers=(world.answer(step.id, only[0]),))]
        at = [step.knotter] if step.knotter else knotters
        return [Seen(sign=step.id, answers=(world.answer(step.id, k),), knotter=k) for k in at]
    if step.kind == "check":
        at = [step.knotter] if step.knotter else knotters
        found = world.finds(step.id, [k for k in at if k in world.left])
        return [Checked(check=step.id, found=found, knotter=step.knotter)]
    world.set_right(step.id, step.knotter if only is None else only[0])
    return [Mended(cause=step.id, knotter=step.knotter)]


def anew(reasoner: Reasoner, world: World) -> Result:
    """One knotter at a time, a new case for each that is left; each left over is a failed proof."""
    minutes, proofs = 0.0, 0.0
    for turn in range(len(world.causes)):
        if not world.left:
            break
        proofs += PROOF * (turn > 0)
        once, with_proofs, found = by_session(reasoner, world, world.left[:1])
        minutes, proofs = minutes + once, proofs + with_proofs - once
        if not found:
            return minutes, minutes + proofs, False
    return minutes, minutes + proofs, not world.left


def charted(reasoner: Reasoner) -> Callable[[World], Result]:
    """A printed chart, row by row, for each knotter left."""
    chart = by_chart(reasoner, by_commonness=True)
    tables = reasoner.tables

    def search(world: World) -> Result:
        minutes, proofs, found = 0.0, 0, True
        for knotter in world.causes:
            if knotter not in world.left:
                continue
            proofs += minutes > 0
            cause = world.causes[knotter]
            finds = world.rng.random(len(tables.checks)) >= tables.overlooks[:, cause]
            looks = {sign: world.answer(sign, knotter) for sign in tables.answers}
            bale = Bale(cause, looks, frozenset(np.array(tables.checks)[finds].tolist()))
            once, hit = chart(bale)
            minutes, found = minutes + once, found and hit
            world.set_right(tables.causes[cause], knotter)
        return minutes, minutes + PROOF * proofs, found

    return search


def told(reasoner: Reasoner, times: float) -> Reasoner:
    """The same rules, told how many faults there are."""
    base = reasoner.base
    words = {**base.words, "as told": times}
    roles = base.roles.model_copy(update={"second_fault": "as told"})
    return Reasoner(replace(base, words=words, roles=roles))


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else BALES
    reasoner = Reasoner(load_rules())
    for kind, draw, knows in (
        ("two faults", two_faults, told(reasoner, TOLD)),
        ("one fault", one_fault, told(reasoner, 1 / TOLD)),
    ):
        ways: dict[str, Callable[[World], Result]] = {
            "ours": partial(by_session, reasoner),
            "told the structure": partial(by_session, knows),
            "one knotter at a time": partial(anew, reasoner),
            "printed chart": charted(reasoner),
        }
        ours = None
        for way, search in ways.items():
            results = [search(draw(reasoner, seed)) for seed in range(many)]
            minutes, proofs, found = (np.array(column) for column in zip(*results, strict=True))
            name = f"{kind}, {way}"
            print(f"{name}, bales: {many}")
            print(f"{name}, mean minutes: {minutes.mean():.1f}")
            print(f"{name}, mean minutes with {PROOF:g} a failed proof: {proofs.mean():.1f}")
            print(f"{name}, share with every fault found in {STEPS} steps: {found.mean():.3f}")
            if ours is None:
                ours = proofs
                continue
            ratio, error = ratio_of_means(proofs, ours)
            print(f"{name}, ratio to ours: {ratio:.2f}")
            print(f"{name}, ratio to ours, standard error: {error:.2f}", flush=True)


if __name__ == "__main__":
    main()
