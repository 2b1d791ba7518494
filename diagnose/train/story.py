"""The full story of a case, told at its end: what it was, what told it, what to set."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge.model import Knowledge
from diagnose.say.text import minutes_text, wrapped
from diagnose.train.deal import Deal, Fault, answer_of, branch_of
from diagnose.train.play import shown_sign
from diagnose.train.wording import first_sentence
from diagnose.views.setting import tolerance_lines

NO_TOOL = "none"
"""What the rule base says of a check that takes bare hands or eyes."""
LABEL = 13
"""Columns of the words before each part of the story."""


@dataclass(frozen=True)
class Telling:
    """The rule that would have told: its id, the answer in this case, how much likelier by it."""

    rule: str
    sign: str
    answer: str
    times: float


def telling_rule(tables: Tables, case: Deal, stage: int) -> Telling | None:
    """The rule whose sign, as it reads in this case, speaks most for the fault.

    Against what hangs from the bale alone; None when no rule of this fault is heard in it.
    """
    fault = case.faults[stage]
    shown = shown_sign(tables.base)
    seen = Evidence(answers={shown: (answer_of(tables, case, stage, shown),)})
    branches = tables.posterior(seen).branches
    own = branch_of(tables, fault)
    best: Telling | None = None
    for sign in tables.answers:
        rules = [f"{fault.cause}/{sign}", f"{fault.mechanism}/{sign}"]
        rule = next((name for name in rules if name in tables.base.shows), None)
        if rule is None or sign == shown:
            continue
        answer = answer_of(tables, case, stage, sign)
        chance = tables.answer_likelihood(sign, (answer,))
        others = np.delete(branches, own)
        times = float(chance[own] / (np.delete(chance, own) @ others / others.sum()))
        if times > 1 and (best is None or times > best.times):
            best = Telling(rule, sign, answer, times)
    return best


def story_lines(tables: Tables, case: Deal, stage: int, inches: bool = False) -> list[str]:
    """Mechanism, the rule that would have told, tolerance, what to set, what to measure again."""
    base, fault = tables.base, case.faults[stage]
    cause, mechanism = base.causes[fault.cause], base.mechanisms[fault.mechanism]
    lines = _part("It was", f"{_capital(cause.name)}. {cause.why}")
    lines += _part("What it did", f"{_capital(mechanism.name)}. {mechanism.story}")
    lines += _told(base, telling_rule(tables, case, stage))
    lines += _part("Found by", _found_by(tables, fault))
    settings = [base.settings[name] for name in base.links.settings_of[fault.cause]]
    for setting in settings:
        lines += ["Tolerance", *tolerance_lines(setting, inches)]
    lines += _part("To set", cause.mend)
    again = [*cause.again, *(name for setting in settings for name in setting.moves)]
    names = [_short_name(base, item) for item in dict.fromkeys(again)]
    return lines + (_part("Afterwards", f"again: {'; '.join(names)}.") if names else [])


def _short_name(base: Knowledge, item: str) -> str:
    """A setting's name, or the first sentence of a check."""
    if item in base.settings:
        return base.settings[item].name
    return first_sentence(base.checks[item].do).rstrip(".").lower()


def _told(base: Knowledge, telling: Telling | None) -> list[str]:
    if telling is None:
        return _part("Told by", "no sign of this bale speaks for it; only a check could tell.")
    sign = base.signs[telling.sign]
    text = f"{sign.ask} {_capital(sign.answers[telling.answer])}. {base.shows[telling.rule].why}"
    times = f"{telling.times:.0f}" if telling.times >= 2 else f"{telling.times:.1f}"
    return _part("Told by", f"{text} It makes this {times} times likelier ({telling.rule}).")


def _found_by(tables: Tables, fault: Fault) -> str:
    """The check that finds the cause soonest: least minutes from the bale for each find."""
    c = tables.causes.index(fault.cause)
    start = tables.setups.index(tables.base.start_setup)

    def minutes_a_find(check: str) -> float:
        there = tables.setups.index(tables.base.checks[check].setup)
        finds = 1 - tables.overlooks[tables.checks.index(check), c]
        minutes = float(tables.moves[start, there]) + tables.minutes[check]
        return minutes / finds if finds > 0 else math.inf

    best = min(tables.checks, key=minutes_a_find)
    body = tables.base.checks[best]
    place = tables.base.setups[body.setup].name
    means = [_capital(place), minutes_text(tables.minutes[best])]
    return f"{body.do} {', '.join(means + [body.tool] * (body.tool != NO_TOOL))}."


def _part(label: str, text: str) -> list[str]:
    return wrapped(text, indent=LABEL + 2, first=f"{label:<{LABEL}}  ")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
