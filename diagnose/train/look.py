"""The look: what hangs from the bale and how its ends are; which mechanism was it?"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from random import Random

from diagnose.inference.tables import Evidence, Tables
from diagnose.say.text import table, wrapped
from diagnose.train.course import Course
from diagnose.train.deal import Deal, answer_of, deals_with
from diagnose.train.play import shown_sign
from diagnose.train.wording import sentence
from diagnose.views.setting import share_text

DEALS = 40
"""So many cases are tried for one whose signs speak for its own mechanism."""


WORTH_A_WORD = 0.05
"""A mechanism of less chance than this is not named beside the others."""


@dataclass(frozen=True)
class Look:
    """One bale to look at."""

    case: Deal
    answers: dict[str, str]
    """What is shown, by sign; what hangs from the bale first."""
    chances: dict[str, float]
    """Mechanism -> its chance given what is shown, likeliest first."""

    @property
    def mechanism(self) -> str:
        return self.case.faults[0].mechanism


def look_at(tables: Tables, course: Course, case: Deal) -> Look:
    """The look of a case."""
    signs = [shown_sign(tables.base), *course.look]
    answers = {sign: answer_of(tables, case, 0, sign) for sign in signs}
    known = tables.posterior(Evidence(answers={sign: (a,) for sign, a in answers.items()}))
    chances = sorted(known.by_mechanism.items(), key=lambda pair: -pair[1])
    return Look(case, answers, dict(chances))


def deal_look(tables: Tables, course: Course, mechanism: str, random: Random) -> Look:
    """A look at this mechanism whose signs speak for it as well as any of many cases."""
    cases = islice(deals_with(tables, random, mechanism=mechanism), DEALS)
    looks = []
    for case in cases:
        look = look_at(tables, course, case)
        if next(iter(look.chances)) == mechanism:
            return look
        looks.append(look)
    return max(looks, key=lambda look: look.chances[mechanism])


def question_lines(tables: Tables, look: Look) -> list[str]:
    """What is seen, as a picture and in words."""
    base = tables.base
    sign, answer = next(iter(look.answers.items()))
    lines = list(base.signs[sign].drawn.get(answer, ()))
    for sign, answer in look.answers.items():
        lines += wrapped(f"{base.signs[sign].ask} {sentence(base.signs[sign].answers[answer])}")
    return lines


def choice_lines(tables: Tables) -> list[str]:
    """The mechanisms to choose from, each with its number."""
    choices = mechanism_labels(tables).values()
    return table((f"{i:>2}", name) for i, name in enumerate(choices, 1))


def mechanism_labels(tables: Tables) -> dict[str, str]:
    """The mechanisms to choose from, by id."""
    return {name: body.name for name, body in tables.base.mechanisms.items()}


def answer_lines(tables: Tables, look: Look, chosen: str) -> list[str]:
    """Right or not, what it was, and the rule among what was shown that tells it best."""
    base, true = tables.base, look.mechanism
    body = base.mechanisms[true]
    head = "Right" if chosen == true else "No"
    lines = wrapped(f"{head}: {body.name}. {body.story}")
    rules = [(sign, f"{true}/{sign}") for sign in look.answers if f"{true}/{sign}" in base.shows]
    telling = max(rules, key=lambda pair: _times(tables, look, pair[0]), default=None)
    if telling:
        lines += wrapped(f"{base.shows[telling[1]].why} ({telling[1]})", indent=2)
    alike = [
        f"{share_text(chance)} {base.mechanisms[name].name}"
        for name, chance in look.chances.items()
        if chance >= WORTH_A_WORD
    ]
    return lines + wrapped(f"Bales that look like this: {', '.join(alike)}.", indent=2)


def _times(tables: Tables, look: Look, sign: str) -> float:
    """How much likelier the answer is under the mechanism than over all causes."""
    chance = tables.answer_likelihood(sign, (look.answers[sign],))
    weights = tables.prior[tables.branch_cause] * tables.branch_share
    own = tables.branch_mechanism == tables.mechanisms.index(look.mechanism)
    return float((chance[own] @ weights[own] / weights[own].sum()) / (chance @ weights))
