"""The rule base as a flat list of productions: plain data, read by the engine and by its tests.

Working memory holds facts of these templates, each a name with string slots:

    given(sign, answer)        told by the technician, a reading's grade or a logged code
    derived(sign, answer)      follows from what is given
    conflict(rule, sign)       a derived answer contradicts a given one, which stands
    result(check, cause)       a reading's grade settles a check; cause `-` means it clears
    evidence(sign, answer)     what counts for a sign once the derived answers are settled
    weight(rule, ...)          only in the trace: a Shows rule spoke for or against its target
    supported(target), out(target, sign), branch_out(cause, mechanism), excluded(cause),
    suspect(cause), wanted(check), due(caution), found(cause), moved(setting), again(item)

Several possible answers are one slot value, joined by `|`. Conditions that must not hold
(`unless`) match given facts only, and each production has a salience of its own: equal
saliences together with negation leave stale activations in the engine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count

from diagnose.inference.likelihood import answer_shares, usual_shares
from diagnose.knowledge.model import Knowledge, Known

OUT_WORDS = ("never", "almost never")
"""An answer that a rule calls this rules its target out (in the engine's all-or-none sense)."""


@dataclass(frozen=True)
class Slot:
    """A condition on one slot: every answer joined in its value is among `allowed`,

    or, when `negated`, none is.
    """

    name: str
    allowed: frozenset[str]
    negated: bool = False

    def accepts(self, value: str) -> bool:
        answers = set(value.split("|"))
        return not answers & self.allowed if self.negated else answers <= self.allowed


@dataclass(frozen=True)
class Pattern:
    """Matches a fact of the template whose slots satisfy all conditions."""

    template: str
    slots: tuple[Slot, ...] = ()


@dataclass(frozen=True)
class FactSpec:
    """A fact to declare."""

    template: str
    slots: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Spoken:
    """What a Shows rule says once its sign is known, by answer: decibans and exclusion."""

    rule: str
    target: str
    sign: str
    shares: tuple[tuple[str, float], ...]
    usual: tuple[tuple[str, float], ...]
    outs: frozenset[str]

    def weight(self, answer: str) -> float:
        """Weight of evidence in decibans against a target that no rule speaks of.

        10 log10 of (share of the answer here / its usual share, where no rule speaks);
        several answers joined by `|` count as their sum.
        """
        given = answer.split("|")
        share = sum(value for name, value in self.shares if name in given)
        usual = sum(value for name, value in self.usual if name in given)
        return 10 * math.log10(share / usual)

    def rules_out(self, answer: str) -> bool:
        return set(answer.split("|")) <= self.outs


@dataclass(frozen=True)
class Production:
    """When all patterns (at least one) match and no `unless` pattern does, declare the facts."""

    id: str
    stage: str
    salience: int
    when: tuple[Pattern, ...]
    unless: tuple[Pattern, ...] = ()
    then: tuple[FactSpec, ...] = ()
    spoken: Spoken | None = None


def compile_productions(base: Knowledge) -> tuple[Production, ...]:
    """All productions, the first to fire first; saliences fall by one from rule to rule."""
    drafts = [
        *_meanings(base),
        *_grades(base),
        *_spoken(base),
        *_exclusions(base),
        *_suspects(base),
        *_wanted(base),
        *_afterwards(base),
    ]
    return tuple(
        Production(salience=salience, **draft)  # type: ignore[arg-type]
        for salience, draft in zip(count(len(drafts), -1), drafts, strict=False)
    )


Draft = dict[str, object]


def _slot(name: str, allowed: str | Iterable[str], negated: bool = False) -> Slot:
    values = [allowed] if isinstance(allowed, str) else allowed
    return Slot(name, frozenset(values), negated)


def _pattern(template: str, **slots: str | Iterable[str]) -> Pattern:
    return Pattern(template, tuple(_slot(name, value) for name, value in slots.items()))


def _fact(template: str, **slots: str) -> FactSpec:
    return FactSpec(template, tuple(slots.items()))


def _conditions(evidence: Known, template: str) -> tuple[Pattern, ...]:
    return tuple(_pattern(template, sign=sign, answer=given) for sign, given in evidence.items())


def _meanings(base: Knowledge) -> Iterator[Draft]:
    """Signs that follow from signs. `derived` also holds a copy of all that is given."""
    for name, rule in base.means.items():
        when = _conditions(rule.if_, "derived")
        unless = _conditions(rule.unless, "given")
        for sign, answer in rule.then.items():
            yield {
                "id": name,
                "stage": "meaning",
                "when": when,
                "unless": (*unless, _pattern("given", sign=sign)),
                "then": (_fact("derived", sign=sign, answer=answer),),
            }
            against = Pattern("given", (_slot("sign", sign), _slot("answer", answer, True)))
            yield {
                "id": name,
                "stage": "conflict",
                "when": (*when, against),
                "unless": unless,
                "then": (_fact("conflict", rule=name, sign=sign),),
            }


def _grades(base: Knowledge) -> Iterator[Draft]:
    checks = {check.setting: name for name, check in base.checks.items() if check.setting}
    for name, setting in base.settings.items():
        outcome = {"low": setting.too_low, "in": "-", "high": setting.too_high}
        for grade, cause in outcome.items():
            if cause is not None:
                yield {
                    "id": f"grade.{name}.{grade}",
                    "stage": "grade",
                    "when": (_pattern("given", sign=f"grade.{name}", answer=grade),),
                    "then": (_fact("result", check=checks[name], cause=cause),),
                }


def _spoken(base: Knowledge) -> Iterator[Draft]:
    for name, rule in base.shows.items():
        target, _, sign = name.partition("/")
        shares = answer_shares(base, sign, rule)
        usual = tuple(usual_shares(base, sign).items())
        outs = frozenset(a for a, word in rule.answers.items() if word in OUT_WORDS)
        yield {
            "id": name,
            "stage": "shows",
            "when": (_pattern("evidence", sign=sign),),
            "spoken": Spoken(name, target, sign, tuple(shares.items()), usual, outs),
        }


def own_signs(base: Knowledge) -> dict[str, frozenset[str]]:
    """For each cause the signs for which its own rule goes before its mechanisms'."""
    signs: dict[str, set[str]] = {cause: set() for cause in base.causes}
    for name in base.shows:
        target, _, sign = name.partition("/")
        if target in signs:
            signs[target].add(sign)
    return {cause: frozenset(own) for cause, own in signs.items()}


def _exclusions(base: Knowledge) -> Iterator[Draft]:
    """A cause is excluded when it, or each of its mechanisms, is ruled out, or it is cleared."""
    own = own_signs(base)
    for cause, body in base.causes.items():
        for mechanism in body.leads:
            slots = (_slot("target", mechanism), _slot("sign", own[cause], negated=True))
            yield {
                "id": f"{cause}<{mechanism}",
                "stage": "branch",
                "when": (Pattern("out", slots),),
                "then": (_fact("branch_out", cause=cause, mechanism=mechanism),),
            }
        gone = _fact("excluded", cause=cause)
        yield {
            "id": f"{cause}:all_branches_out",
            "stage": "excluded",
            "when": tuple(_pattern("branch_out", cause=cause, mechanism=m) for m in body.leads),
            "then": (gone,),
        }
        yield {
            "id": f"{cause}:ruled_out",
            "stage": "excluded",
            "when": (_pattern("out", target=cause),),
            "then": (gone,),
        }
        yield {
            "id": f"{cause}:cleared",
            "stage": "excluded",
            "when": (_pattern("cleared", cause=cause),),
            "then": (gone,),
        }


def _suspects(base: Knowledge) -> Iterator[Draft]:
    for cause, body in base.causes.items():
        yield {
            "id": f"{cause}:suspect",
            "stage": "suspect",
            "when": (_pattern("supported", target=(cause, *body.leads)),),
            "then": (_fact("suspect", cause=cause),),
        }


def _wanted(base: Knowledge) -> Iterator[Draft]:
    due: dict[str, list[str]] = {}
    for name, check in base.checks.items():
        yield {
            "id": f"{name}:wanted",
            "stage": "wanted",
            "when": (_pattern("suspect", cause=check.confirms),),
            "then": (_fact("wanted", check=name),),
        }
        for caution in (*base.setups[check.setup].cautions, *check.cautions):
            due.setdefault(caution, []).append(name)
    for caution, checks in due.items():
        yield {
            "id": f"{caution}:due",
            "stage": "due",
            "when": (_pattern("wanted", check=checks),),
            "then": (_fact("due", caution=caution),),
        }


def _afterwards(base: Knowledge) -> Iterator[Draft]:
    """A mended cause moves its setting; a moved setting and the cause ask for measuring again."""
    for cause, body in base.causes.items():
        settings = base.links.settings_of[cause]
        facts = [_fact("moved", setting=name) for name in settings]
        facts += [_fact("again", item=item) for item in (*settings, *body.again)]
        yield {
            "id": f"{cause}:afterwards",
            "stage": "afterwards",
            "when": (_pattern("found", cause=cause),),
            "then": tuple(dict.fromkeys(facts)),
        }
    for name, setting in base.settings.items():
        if setting.moves:
            yield {
                "id": f"{name}:moves",
                "stage": "afterwards",
                "when": (_pattern("moved", setting=name),),
                "then": tuple(_fact("again", item=item) for item in setting.moves),
            }
