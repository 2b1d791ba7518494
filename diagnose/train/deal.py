"""Bad bales to practise on, drawn from the model or taken from solved cases.

A case is its number: the same number gives the same fault, answers and readings to everybody,
in whatever order they ask, as long as the rule base is the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from random import Random

import numpy as np

from diagnose.case import Case, Checked, Seen
from diagnose.errors import InputError
from diagnose.inference.tables import Evidence, Floats, Tables
from diagnose.knowledge.model import Setting
from diagnose.machine.grading import grade

TEMPER = 0.5
"""Causes are dealt as often as their chance to this power, so that rare ones come too. Judgement:
1 would be as in the field, 0 all alike."""
NUMBERS = 100_000
"""Case numbers run from 1 to this."""
TRIES = 20_000
SOLVED = "case:"
"""Begins the code of a solved case; its id in the casebook follows."""


@dataclass(frozen=True)
class Fault:
    """What is really wrong, hidden from the learner."""

    cause: str
    mechanism: str


@dataclass(frozen=True)
class Deal:
    """One bad bale. A second fault shows only when the first is mended."""

    code: str
    """`4711`, `4711/2` with two faults, or `case:ID` for a solved case."""
    faults: tuple[Fault, ...]
    recorded: Mapping[str, str] = field(default_factory=dict)
    """Answers as a solved case has them; the others are drawn from the model."""
    overlooked: frozenset[str] = frozenset()
    """Checks that found nothing in a solved case, though its cause was theirs to find."""


def dealing_weights(tables: Tables, temper: float = TEMPER) -> Floats:
    """How often each cause is dealt, (causes,); `something else` never: it has no story."""
    weights: Floats = tables.prior**temper
    weights[tables.causes.index(tables.base.roles.something_else)] = 0.0
    shares: Floats = weights / weights.sum()
    return shares


def deal(tables: Tables, code: str, temper: float = TEMPER) -> Deal:
    """The case with this number, `4711` or `4711/2`. Raises InputError for any other text."""
    text, _, count = code.strip().partition("/")
    if not (text.isascii() and text.isdigit()) or count not in ("", "1", "2"):
        raise InputError(
            f"'{code}' is no case number; type 1 to {NUMBERS}, with /2 after it for two faults"
        )
    number = int(text)
    if not 1 <= number <= NUMBERS:
        raise InputError(f"there is no case {number}; they run from 1 to {NUMBERS}")
    weights = dealing_weights(tables, temper)
    faults = [_fault(tables, weights, number, 0)]
    if count == "2":
        weights[tables.causes.index(faults[0].cause)] = 0.0
        faults.append(_fault(tables, weights, number, 1))
    return Deal(f"{number}/2" if count == "2" else str(number), tuple(faults))


def _fault(tables: Tables, weights: Floats, number: int, stage: int) -> Fault:
    c = _pick(weights, _chance(str(number), stage, "cause"))
    branches = np.flatnonzero(tables.branch_cause == c)
    b = branches[_pick(tables.branch_share[branches], _chance(str(number), stage, "mechanism"))]
    return Fault(tables.causes[c], tables.mechanisms[tables.branch_mechanism[b]])


def deals_with(
    tables: Tables,
    random: Random,
    *,
    cause: str | None = None,
    mechanism: str | None = None,
    faults: int = 1,
) -> Iterator[Deal]:
    """Cases whose first fault is the one wanted, in random order, until many were tried."""
    weights = dealing_weights(tables)
    for _ in range(TRIES):
        number = random.randint(1, NUMBERS)
        fault = _fault(tables, weights, number, 0)
        if cause in (None, fault.cause) and mechanism in (None, fault.mechanism):
            yield deal(tables, f"{number}/{faults}")


def deal_of_case(tables: Tables, case: Case, cause: str) -> Deal:
    """A solved case with its cause hidden.

    Its mechanism is the likeliest one given the cause and what was seen. Answers that this rule
    base does not know are left out. Raises InputError for a cause it does not know.
    """
    if cause not in tables.causes or cause == tables.base.roles.something_else:
        raise InputError(f"case '{case.id}' ended with '{cause}', which these rules do not tell of")
    seen = {
        event.sign: event.answers[0]
        for event in case.events
        if isinstance(event, Seen)
        and len(event.answers) == 1
        and event.answers[0] in tables.answers.get(event.sign, ())
    }
    found_nothing = frozenset(
        event.check
        for event in case.events
        if isinstance(event, Checked) and event.found is None and event.check in tables.checks
    )
    known = tables.posterior(Evidence(answers={sign: (answer,) for sign, answer in seen.items()}))
    branches = np.flatnonzero(tables.branch_cause == tables.causes.index(cause))
    likeliest = branches[known.branches[branches].argmax()]
    mechanism = tables.mechanisms[tables.branch_mechanism[likeliest]]
    return Deal(f"{SOLVED}{case.id}", (Fault(cause, mechanism),), seen, found_nothing)


def branch_of(tables: Tables, fault: Fault) -> int:
    """Index of the branch a fault stands for."""
    c, m = tables.causes.index(fault.cause), tables.mechanisms.index(fault.mechanism)
    return int(np.flatnonzero((tables.branch_cause == c) & (tables.branch_mechanism == m))[0])


def answer_of(tables: Tables, case: Deal, stage: int, sign: str) -> str:
    """How a sign reads in this case while its fault number `stage` (from 0) is the one acting."""
    if stage == 0 and sign in case.recorded:
        return case.recorded[sign]
    row = tables.likelihood[sign][branch_of(tables, case.faults[stage])]
    return tables.answers[sign][
        _pick(row, _chance(case.code, stage, f"sign {list(tables.answers).index(sign)}"))
    ]


def result_of(tables: Tables, case: Deal, stage: int, check: str, look: int) -> str | None:
    """What the check finds at its `look`-th time (from 0): the hidden cause, or nothing.

    A check overlooks a fault with its stated chance, each time anew.
    """
    cause = case.faults[stage].cause
    if stage == 0 and look == 0 and check in case.overlooked:
        return None
    overlooks = tables.overlooks[tables.checks.index(check), tables.causes.index(cause)]
    return cause if _chance(case.code, stage, _look(tables, check, look)) >= overlooks else None


def reading_of(
    tables: Tables, case: Deal, stage: int, check: str, look: int
) -> tuple[str, float] | None:
    """What a measuring check reads: setting and value in its unit; None where nothing is measured.

    Out of its band, clear of the gauge's uncertainty, when the check finds what that means.
    """
    name = tables.base.checks[check].setting
    if name is None:
        return None
    setting = tables.base.settings[name]
    found = result_of(tables, case, stage, check, look)
    done = _look(tables, check, look)
    chance = _chance(case.code, stage, f"{done}/reading")
    meant = (("low", setting.too_low), ("high", setting.too_high))
    sides = [side for side, cause in meant if found and cause == found]
    if not sides:
        return name, reading_within(setting, chance)
    side = sides[int(_chance(case.code, stage, f"{done}/side") * len(sides))]
    return name, reading_beyond(setting, side, chance)


def _look(tables: Tables, check: str, look: int) -> str:
    """A look as what is drawn for it: by its check's place in the rules, never by its name."""
    return f"check {tables.checks.index(check)}#{look}"


def reading_within(setting: Setting, chance: float) -> float:
    """A reading surely in its band; the band's middle where the gauge is too coarse for others."""
    low, high = setting.band
    value = _read_to(setting, low + (0.25 + 0.5 * chance) * (high - low))
    return value if grade(setting, value, setting.unit) == "in" else (low + high) / 2


def reading_beyond(setting: Setting, side: str, chance: float) -> float:
    """A reading surely out of its band, by up to one and a quarter of the band's width."""
    low, high = setting.band
    past = max((high - low) * (0.25 + chance), 1.5 * setting.gauge)
    return _read_to(setting, low - past if side == "low" else high + past)


def _read_to(setting: Setting, value: float) -> float:
    """As the gauge shows it: to a half where it is coarse, else to a tenth."""
    step = 0.5 if setting.gauge >= 0.5 else 0.1
    return round(round(value / step) * step, 1)


def _chance(code: str, stage: int, what: str) -> float:
    """A number in [0, 1) that depends on nothing but the case, the fault and what it is for.

    `what` names places in the rules, so that other ids deal the same bales.
    """
    return Random(f"{code.removesuffix('/2')}/{stage}/{what}").random()


def _pick(weights: Floats, chance: float) -> int:
    """Index drawn with these weights (n,), which may add up to any total."""
    edges = weights.cumsum()
    return int(min(np.searchsorted(edges, chance * edges[-1], side="right"), len(weights) - 1))
