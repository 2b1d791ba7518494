"""How many weakened rules the proofs notice.

Forty rules, drawn with a fixed seed, are weakened one at a time: the strongest answer that is
meant to speak for the target gets the next weaker word, then the next, till a proof notices.

Until commit 0a01cec every rule and cause carried cases of its own, `fits` and `not`: 926 in all,
most of them the rule once more. With the same draw they noticed, at that commit, 10, 19 and 25 of
40 at one, two and three words weaker; that the strongest answer speaks for its target, 6, 11 and
15. Named bales have taken their place.

`--all` weakens every rule instead of forty and names those that no proof notices.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace

from diagnose.case import Case
from diagnose.inference.tables import Evidence
from diagnose.knowledge import load_rules
from diagnose.knowledge.model import Bale, Knowledge
from diagnose.rulebook.proofs import answer_odds, what_fails
from diagnose.session import Reasoner
from diagnose.session.judged import case_of, standing_of
from diagnose.session.understanding import understand

RULES, SEED, STEPS = 40, 20261127, 3


@dataclass(frozen=True)
class Told:
    """A named bale and what follows from it: no words of a `shows` rule change that."""

    cause: str
    bale: Bale
    case: Case
    evidence: Evidence


def main() -> None:
    base = load_rules()
    rules = sorted(base.shows)
    drawn = rules if "--all" in sys.argv else random.Random(SEED).sample(rules, RULES)
    told = _told(Reasoner(base))
    proofs: dict[str, Callable[[Reasoner, str], bool]] = {
        "the strongest answer": _answer_notices,
        "named bales": lambda weak, _rule: _bales_notice(weak, told),
    }
    unnoticed = set(drawn)
    for steps in range(1, STEPS + 1):
        noticed: dict[str, set[str]] = {proof: set() for proof in proofs}
        for rule in drawn:
            weak = Reasoner(_weakened(base, rule, steps))
            for proof, notices in proofs.items():
                noticed[proof] |= {rule} if notices(weak, rule) else set()
        together = set().union(*noticed.values())
        unnoticed -= together
        for proof, found in {**noticed, "the proofs together": together}.items():
            print(f"weakened by {steps} words, noticed by {proof}: {len(found)} of {len(drawn)}")
    print(f"never noticed: {', '.join(sorted(unnoticed)) or 'none'}")


def _told(reasoner: Reasoner) -> list[Told]:
    cases = [
        (cause, bale, case_of(reasoner.base, name, bale))
        for cause, body in reasoner.base.causes.items()
        for name, bale in body.bales.items()
    ]
    return [Told(*one, understand(reasoner, one[2]).evidence) for one in cases]


def _strongest(base: Knowledge, rule: str) -> str:
    body = base.shows[rule]
    meant = [answer for answer in body.answers if answer not in body.against]
    return max(meant, key=lambda answer: base.words[body.answers[answer]])


def _weakened(base: Knowledge, rule: str, steps: int) -> Knowledge:
    """The base with the strongest answer of one rule so many words weaker."""
    body, answer = base.shows[rule], _strongest(base, rule)
    words = sorted(base.words, key=lambda word: -base.words[word])
    place = min(words.index(body.answers[answer]) + steps, len(words) - 1)
    answers = body.answers | {answer: words[place]}
    shows = base.shows | {rule: body.model_copy(update={"answers": answers})}
    return replace(base, shows=shows)


def _bales_notice(reasoner: Reasoner, told: list[Told]) -> bool:
    return any(
        what_fails(
            reasoner.base,
            one.bale,
            standing_of(reasoner.tables.posterior(one.evidence), one.case, one.cause),
        )
        for one in told
    )


def _answer_notices(reasoner: Reasoner, rule: str) -> bool:
    odds = answer_odds(reasoner, rule)
    return odds[_strongest(reasoner.base, rule)] <= 1


if __name__ == "__main__":
    main()
