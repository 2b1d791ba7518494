"""The experta engine, built once from the productions and reset for each case.

The only module that imports experta.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
from collections.abc import Iterable, Iterator, Mapping
from functools import partial
from typing import Any

from diagnose.inference.conclusions import Conclusions, Fired, Weight
from diagnose.inference.productions import FactSpec, Pattern, Production

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
_rete = _experta.matchers.rete
TEMPLATES = (
    *("given", "derived", "conflict", "result", "evidence", "cleared", "supported", "out"),
    *("branch_out", "excluded", "suspect", "wanted", "due", "found", "moved", "again"),
)
_TEMPLATES: dict[str, Any] = {
    name: type(name.title().replace("_", ""), (_experta.Fact,), {}) for name in TEMPLATES
}


class _Matcher(_experta.matchers.ReteMatcher):  # type: ignore[name-defined, misc]
    """The same Rete network, walked less often.

    After each firing experta asks every rule for its changes, and tests every new fact against
    every condition: with some thousand rules, nine tenths of the run. Here only the rules that
    a token has reached are asked, and the conditions that a fact meets by itself are remembered,
    as the same facts come again from case to case. Facts are only added: `Engine` resets.
    A production is a plain conjunction already, so experta's rewriting of rules to disjunctive
    normal form, half of the building, is left out too.
    """

    def __init__(self, engine: Any) -> None:
        super().__init__(engine)
        self._reached: dict[Any, None] = {}
        self._met: dict[Any, list[tuple[Any, dict[str, Any]]]] = {}
        self._nodes: dict[Any, None] = {}
        self._watch(self.root_node)

    @staticmethod
    def prepare_ruleset(engine: Any) -> set[Any]:
        return {rule.new_conditions(*rule) for rule in engine.get_rules()}

    def reset(self) -> None:
        """Forget each node's tokens once; experta's own walk meets shared nodes many times."""
        for node in self._nodes:
            node._reset()

    def changes(
        self, adding: Iterable[Any] | None = None, deleting: Iterable[Any] | None = None
    ) -> tuple[list[Any], list[Any]]:
        if deleting:
            raise NotImplementedError("facts are never taken back")
        for fact in adding or ():
            for pass_on, bound in self._conditions_met(fact):
                context = {name: fact if value is None else value for name, value in bound.items()}
                pass_on(_rete.token.Token.valid(fact, context))
        added: list[Any] = []
        removed: list[Any] = []
        for node in self._reached:
            more, fewer = node.get_activations()
            added.extend(more)
            removed.extend(fewer)
        self._reached.clear()
        return added, removed

    def _conditions_met(self, fact: Any) -> list[tuple[Any, dict[str, Any]]]:
        slots = frozenset((name, v) for name, v in fact.items() if not fact.is_special(name))
        key = (type(fact), slots)
        if key not in self._met:
            self._met[key] = list(self._passed(self.root_node, fact, {}))
        return self._met[key]

    def _passed(self, node: Any, fact: Any, bound: dict[str, Any]) -> Iterator[Any]:
        """Where the fact leaves the tests of single facts, and what it binds (None: itself)."""
        for child in node.children:
            if not isinstance(child.node, _rete.nodes.FeatureTesterNode):
                yield child.callback, bound
            elif match := child.node.matcher(fact):
                binds = {} if match is True else match
                more = {name: None if value is fact else value for name, value in binds.items()}
                yield from self._passed(child.node, fact, bound | more)

    def _watch(self, node: Any) -> None:
        """Note each node, and from now on each rule that a token reaches."""
        if node in self._nodes:
            return
        self._nodes[node] = None
        for i, child in enumerate(node.children):
            if isinstance(child.node, _rete.nodes.ConflictSetNode):
                callback = partial(self._reach, child.node, child.callback)
                node.children[i] = child._replace(callback=callback)
            self._watch(child.node)

    def _reach(self, node: Any, activate: Any, token: Any) -> None:
        self._reached[node] = None
        activate(token)


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
        before = len(self._conclusions.fired)
        self._engine.run(steps=STEP_LIMIT)
        if len(self._conclusions.fired) - before >= STEP_LIMIT:
            raise RuntimeError(f"the rules have not come to rest after {STEP_LIMIT} firings")

    def _compile(self, production: Production) -> Any:
        conditions = [
            self._condition(pattern, heard=production.spoken is not None)
            for pattern in production.when
        ]
        conditions += [_experta.NOT(self._condition(pattern)) for pattern in production.unless]

        def fire(engine: Any, heard: str = "") -> None:
            engine.owner._fire(production, heard)

        return _experta.Rule(*conditions, salience=production.salience)(fire)

    @staticmethod
    def _condition(pattern: Pattern, heard: bool = False) -> Any:
        slots: dict[str, Any] = {}
        for slot in pattern.slots:
            if len(slot.allowed) == 1 and not slot.negated:
                slots[slot.name] = next(iter(slot.allowed))
            elif slot.allowed:
                slots[slot.name] = _experta.P(slot.accepts)
        if heard:
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
