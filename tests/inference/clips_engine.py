"""The same productions written out as CLIPS, and run there (package clipspy).

A slot that holds several possible answers is a multislot here; weights are worked out in CLIPS.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import clips

from diagnose.inference.productions import Pattern, Production, Slot, Spoken

SLOTS = {
    "given": ("sign", "answer"),
    "derived": ("sign", "answer"),
    "evidence": ("sign", "answer"),
    "conflict": ("rule", "sign"),
    "result": ("check", "cause"),
    "weight": ("rule", "decibans"),
    "supported": ("target",),
    "out": ("target", "sign"),
    "branch_out": ("cause", "mechanism"),
    "excluded": ("cause",),
    "cleared": ("cause",),
    "found": ("cause",),
    "suspect": ("cause",),
    "wanted": ("check",),
    "due": ("caution",),
    "moved": ("setting",),
    "again": ("item",),
}
MULTI = "answer"
Facts = dict[str, set[tuple[object, ...]]]


class Clips:
    """A CLIPS environment that holds the productions."""

    def __init__(self, productions: Iterable[Production]) -> None:
        self._environment = clips.Environment()
        for construct in [*_templates(), *_FUNCTIONS, *map(_rule, productions)]:
            self._environment.build(construct)

    def conclude(
        self,
        given: Mapping[str, Iterable[tuple[str, ...]]],
        cleared: Iterable[str] = (),
        found: Iterable[str] = (),
    ) -> Facts:
        """Every fact of each template once all has come to rest."""
        self._environment.reset()
        for sign, values in given.items():
            for answers in values:
                for template in ("given", "derived"):
                    self._assert(template, sign=sign, answer=answers)
        for cause in cleared:
            self._assert("cleared", cause=cause)
        for cause in found:
            self._assert("found", cause=cause)
        self._environment.run()
        self._settle()
        self._environment.run()
        return self._facts()

    def _assert(self, template: str, **slots: object) -> None:
        self._environment.find_template(template).assert_fact(**slots)

    def _settle(self) -> None:
        """Given answers count; a sign not given counts as one of the answers that follow."""
        facts = self._facts()
        signs = {sign for sign, _ in facts["given"] | facts["derived"]}
        for sign in signs:
            if sign == "code" or sign.startswith("grade."):
                continue
            told = [a for s, answers in facts["given"] if s == sign for a in answers]
            follow = [a for s, answers in facts["derived"] if s == sign for a in answers]
            self._assert("evidence", sign=sign, answer=tuple(sorted(set(told or follow))))

    def _facts(self) -> Facts:
        facts: Facts = {template: set() for template in SLOTS}
        for fact in self._environment.facts():
            if fact.template.name in SLOTS:
                facts[fact.template.name].add(tuple(fact[s] for s in SLOTS[fact.template.name]))
        return facts


_FUNCTIONS = (
    """(deffunction overlap (?one ?other)
         (bind ?found FALSE)
         (foreach ?a ?one (if (member$ ?a ?other) then (bind ?found TRUE)))
         ?found)""",
    """(deffunction share (?heard ?answers ?shares)
         (bind ?sum 0.0)
         (foreach ?a ?heard (bind ?sum (+ ?sum (nth$ (member$ ?a ?answers) ?shares))))
         ?sum)""",
)


def _templates() -> Iterator[str]:
    for name, slots in SLOTS.items():
        kinds = " ".join(f"({'multislot' if s == MULTI else 'slot'} {s})" for s in slots)
        yield f"(deftemplate {name} {kinds})"


def _rule(production: Production) -> str:
    when = [_pattern(p, f"w{i}") for i, p in enumerate(production.when)]
    unless = [f"(not {_pattern(p, f'u{i}')})" for i, p in enumerate(production.unless)]
    if production.spoken:
        when = [f'(evidence (sign "{production.spoken.sign}") (answer $?heard))']
        actions = list(_speak(production.spoken))
    else:
        actions = [
            f"(assert ({fact.template} {' '.join(_value(*slot) for slot in fact.slots)}))"
            for fact in production.then
        ]
    salience = f"(declare (salience {production.salience}))"
    left, right = " ".join(when + unless), " ".join(actions)
    return f"(defrule p{production.salience} {salience} {left} => {right})"


def _value(name: str, value: str) -> str:
    return f"({name} {_strings(value.split('|'))})"


def _strings(values: Iterable[str]) -> str:
    return " ".join(f'"{value}"' for value in values)


def _pattern(pattern: Pattern, prefix: str) -> str:
    conditions = " ".join(_slot(slot, f"{prefix}{i}") for i, slot in enumerate(pattern.slots))
    return f"({pattern.template} {conditions})"


def _slot(slot: Slot, variable: str) -> str:
    allowed = f"(create$ {_strings(sorted(slot.allowed))})"
    sort, heard = ("$?", f"?{variable}") if slot.name == MULTI else ("?", f"(create$ ?{variable})")
    test = f"(not (overlap {heard} {allowed}))" if slot.negated else f"(subsetp {heard} {allowed})"
    return f"({slot.name} {sort}{variable}&:{test})"


def _speak(spoken: Spoken) -> Iterator[str]:
    def table(pairs: tuple[tuple[str, float], ...]) -> str:
        shares = " ".join(repr(float(share)) for _, share in pairs)
        return f"(create$ {_strings(name for name, _ in pairs)}) (create$ {shares})"

    here, usually = table(spoken.shares), table(spoken.usual)
    yield f"(bind ?ratio (/ (share ?heard {here}) (share ?heard {usually})))"
    yield f'(assert (weight (rule "{spoken.rule}") (decibans (* 10 (log10 ?ratio)))))'
    yield f'(if (> ?ratio 1.0) then (assert (supported (target "{spoken.target}"))))'
    out = f'(out (target "{spoken.target}") (sign "{spoken.sign}"))'
    yield f"(if (subsetp ?heard (create$ {_strings(sorted(spoken.outs))})) then (assert {out}))"
