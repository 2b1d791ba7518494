"""What the engine has concluded, and from which rules."""

from __future__ import annotations

from dataclasses import dataclass, field

from diagnose.inference.productions import FactSpec


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
