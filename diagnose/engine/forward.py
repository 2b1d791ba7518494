"""The experta engine, built once from the productions and reset for each case.

The only module that imports experta.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from diagnose.engine.productions import FactSpec, Pattern, Production

STEP_LIMIT = 20_000


def _import_experta() -> Any:
    """Import experta on Pythons later than it was written for.

    Its pinned frozendict names `collections.Mapping`, gone since Python 3.10: the alias is lent
    while frozendict is imported and taken away again. Importing experta also sets up the root
    logger, whose handlers are put back.
    """
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    lent = not hasattr(collections, "Mapping")
    if lent:
        collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
    try:
        import frozendict  # noqa: F401
    finally:
        if lent:
            del collections.Mapping  # type: ignore[attr-defined]
    import experta

    root.handlers[:] = handlers
    root.setLevel(level)
    return experta


_experta = _import_experta()
TEMPLATES = (
    *("given", "derived", "conflict", "result", "evidence", "cleared", "supported", "out"),
    *("branch_out", "excluded", "suspect", "wanted", "due", "found", "moved", "again"),
)
_TEMPLATES: dict[str, Any] = {
    name: type(name.title().replace("_", ""), (_experta.Fact,), {}) for name in TEMPLATES
}


class _Matcher(_experta.matchers.ReteMatcher):  # type: ignore[name-defined, misc]
    """The same Rete, passing over the rules that nothing has changed for.

    experta's own asks every rule for its changes after every firing: rules times firings,
    nine tenths of the whole run with a rule base of some hundred rules.
    """

    def changes(
        self, adding: Iterable[Any] | None = None, deleting: Iterable[Any] | None = None
    ) -> tuple[list[Any], list[Any]]:
        for fact in deleting or ():
            self.root_node.remove(fact)
        for fact in adding or ():
            self.root_node.add(fact)
        added: list[Any] = []
        removed: list[Any] = []
        for node in self._get_conflict_set_nodes():
            if node.added or node.removed:
                more, fewer = node.get_activations()
                added.extend(more)
                removed.extend(fewer)
        return added, removed


@dataclass(frozen=True)
class Fired:
    """One firing: the production, and what it declared."""

    id: str
    stage: str
    facts: tuple[FactSpec, ...]


@dataclass(frozen=True)
class Weight:
    """A Shows rule that spoke: `decibans` above zero for its target, below against it."""

    rule: str
    target: str
    sign: str
    answer: str
    decibans: float


@dataclass
class Conclusions:
    """What follows, in the order it was concluded."""

    fired: list[Fired] = field(default_factory=list)
    weights: list[Weight] = field(default_factory=list)
    evidence: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """Sign -> possible answers: those given, and those that follow."""

    def facts(self, template: str) -> list[tuple[str, ...]]:
        """Slot values of every fact of a template, without repeats, in order."""
        values = (
            tuple(value for _, value in fact.slots)
            for firing in self.fired
            for fact in firing.facts
            if fact.template == template
        )
        return list(dict.fromkeys(values))

    def names(self, template: str) -> list[str]:
        return [values[0] for values in self.facts(template)]


class Engine:
    """Runs the productions over what is known. Building costs about 0.1 s; running, far less."""

    def __init__(self, productions: Iterable[Production]) -> None:
        rules = {f"p{production.salience}": self._compile(production) for production in productions}
        engine_class = type(
            "Productions", (_experta.KnowledgeEngine,), rules | {"__matcher__": _Matcher}
        )
        self._engine = engine_class()
        self._engine.owner = self
        self._conclusions = Conclusions()

    def conclude(
        self,
        given: Mapping[str, Iterable[Iterable[str]]],
        cleared: Iterable[str] = (),
        found: Iterable[str] = (),
    ) -> Conclusions:
        """All that follows from what is given.

        given: sign (or `code`, or `grade.SETTING`) -> facts, each a tuple of possible answers.
        """
        self._conclusions = Conclusions()
        engine = self._engine
        engine.reset()
        for sign, values in given.items():
            for answers in values:
                slots = {"sign": sign, "answer": "|".join(answers)}
                engine.declare(_TEMPLATES["given"](**slots), _TEMPLATES["derived"](**slots))
        for cause in cleared:
            engine.declare(_TEMPLATES["cleared"](cause=cause))
        for cause in found:
            engine.declare(_TEMPLATES["found"](cause=cause))
        self._run()
        self._conclusions.evidence = self._settle(given)
        for sign, answers in self._conclusions.evidence.items():
            engine.declare(_TEMPLATES["evidence"](sign=sign, answer="|".join(answers)))
        self._run()
        return self._conclusions

    def _settle(self, given: Mapping[str, Iterable[Iterable[str]]]) -> dict[str, tuple[str, ...]]:
        """A given answer stands; several derived ones mean: one of these."""
        settled = {
            sign: tuple(dict.fromkeys(answer for answers in values for answer in answers))
            for sign, values in given.items()
            if sign != "code" and not sign.startswith("grade.")
        }
        derived: dict[str, list[str]] = {}
        for sign, answer in self._conclusions.facts("derived"):
            if sign not in settled:
                derived.setdefault(sign, []).append(answer)
        return settled | {sign: tuple(answers) for sign, answers in derived.items()}

    def _run(self) -> None:
        for _ in range(STEP_LIMIT):
            before = len(self._conclusions.fired)
            self._engine.run(steps=1)
            if len(self._conclusions.fired) == before:
                return
        raise RuntimeError(f"the rules have not come to rest after {STEP_LIMIT} firings")

    def _compile(self, production: Production) -> Any:
        conditions = [
            self._condition(pattern, i if production.spoken else None)
            for i, pattern in enumerate(production.when)
        ]
        conditions += [_experta.NOT(self._condition(pattern)) for pattern in production.unless]

        def fire(engine: Any, heard: str = "") -> None:
            engine.owner._fire(production, heard)

        return _experta.Rule(*conditions, salience=production.salience)(fire)

    @staticmethod
    def _condition(pattern: Pattern, bind: int | None = None) -> Any:
        slots: dict[str, Any] = {}
        for slot in pattern.slots:
            if len(slot.allowed) == 1 and not slot.negated:
                slots[slot.name] = next(iter(slot.allowed))
            elif slot.allowed:
                slots[slot.name] = _experta.P(slot.accepts)
        if bind is not None:
            slots["answer"] = _experta.MATCH.heard
        return _TEMPLATES[pattern.template](**slots)

    def _fire(self, production: Production, heard: str) -> None:
        facts = production.then
        if production.spoken:
            facts = self._speak(production.spoken, heard)
        self._conclusions.fired.append(Fired(production.id, production.stage, facts))
        for fact in facts:
            self._engine.declare(_TEMPLATES[fact.template](**dict(fact.slots)))

    def _speak(self, spoken: Any, answer: str) -> tuple[FactSpec, ...]:
        decibans = spoken.weight(answer)
        self._conclusions.weights.append(
            Weight(spoken.rule, spoken.target, spoken.sign, answer, decibans)
        )
        facts = []
        if decibans > 0:
            facts.append(FactSpec("supported", (("target", spoken.target),)))
        if spoken.rules_out(answer):
            facts.append(FactSpec("out", (("target", spoken.target), ("sign", spoken.sign))))
        return tuple(facts)
