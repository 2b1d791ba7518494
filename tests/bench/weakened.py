"""Which proofs notice a weakened rule: its own cases, or that its strongest answer speaks for it.

Forty rules, drawn with a fixed seed, are weakened one at a time: the strongest answer that is
meant to speak for the target gets the next weaker word, then the next, till one side notices.
"""

from __future__ import annotations

import random
from dataclasses import replace

from diagnose.belief import Evidence
from diagnose.knowledge import load_rules
from diagnose.knowledge.model import Knowledge
from diagnose.proofs import answer_odds, gains
from diagnose.session import Reasoner

RULES, SEED, STEPS = 40, 20261127, 3


def main() -> None:
    base = load_rules()
    drawn = random.Random(SEED).sample(sorted(base.shows), RULES)
    for steps in range(1, STEPS + 1):
        by_cases = by_proof = 0
        for rule in drawn:
            weak = Reasoner(_weakened(base, rule, steps))
            by_cases += _cases_notice(weak, rule)
            by_proof += _proof_notices(weak, rule)
        print(f"weakened by {steps} words, noticed by the rule's own cases: {by_cases} of {RULES}")
        print(f"weakened by {steps} words, noticed by the new proof: {by_proof} of {RULES}")


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


def _cases_notice(reasoner: Reasoner, rule: str) -> bool:
    nothing = reasoner.tables.posterior(Evidence())
    prior = nothing.by_cause | nothing.by_mechanism
    body, target = reasoner.base.shows[rule], rule.partition("/")[0]
    sides = ((body.fits, True), (body.not_, False))
    return any(
        gains(reasoner, target, case, prior)[0] is not expected
        for cases, expected in sides
        for case in cases
    )


def _proof_notices(reasoner: Reasoner, rule: str) -> bool:
    odds = answer_odds(reasoner, rule)
    return odds[_strongest(reasoner.base, rule)] <= 1


if __name__ == "__main__":
    main()
