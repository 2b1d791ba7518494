"""Which rule changes since the last replay made which case better or worse.

Each rule that was added, removed or rewritten is taken back alone in the present rule base,
and every case is judged again: the difference is what that change did.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel

from diagnose.casebook.line import canonical
from diagnose.casebook.replay import Replay, Solved, judge
from diagnose.casebook.store import Chances, Items
from diagnose.errors import InputError
from diagnose.knowledge.load import ITEM_KINDS
from diagnose.knowledge.model import Knowledge
from diagnose.session.reasoner import Reasoner

NOTABLE = 0.05
"""Change of a case's log score that is worth a line."""
PROOFS = {"bales", "fits", "not"}
"""Fields that only prove an item, the last two in rules up to 2026.2: they judge no case."""
MOST_CHANGES = 60
"""With more changed rules than this they are not tried one by one."""


@dataclass(frozen=True)
class Effect:
    """One case then and now: chance and rank of its confirmed cause."""

    case_id: str
    cause: str
    before: tuple[float, int]
    now: tuple[float, int]
    by: tuple[tuple[str, float], ...] = ()
    """(changed rule, what it alone did to the log score), strongest first."""

    @property
    def gain(self) -> float:
        """ln of the chance now over the chance then: above 0 is better."""
        return math.log(self.now[0] / self.before[0])


@dataclass(frozen=True)
class Changes:
    """What changed in the rules, and what it did to the cases."""

    since: str
    rules: tuple[tuple[str, str], ...]
    """(`kind:id`, `added`, `removed` or `rewritten`)."""
    effects: tuple[Effect, ...]
    """Notable ones, worst first."""


def items_of(base: Knowledge) -> Items:
    """The rule base item by item, as JSON texts that can be compared and read again."""
    items = {
        f"{kind}:{name}": canonical(item.model_dump(mode="json", by_alias=True, exclude=PROOFS))
        for kind in ITEM_KINDS
        for name, item in getattr(base, kind).items()
    }
    return items | {f"words:{word}": canonical(value) for word, value in base.words.items()}


def _said(item: str) -> str:
    """An item as an earlier replay kept it, without what only proved it."""
    value = json.loads(item)
    if isinstance(value, dict):
        value = {field: said for field, said in value.items() if field not in PROOFS}
    return canonical(value)


def changed_rules(before: Items, now: Items) -> dict[str, str]:
    """`kind:id` -> how it changed."""
    kinds = dict.fromkeys(now.keys() - before.keys(), "added")
    kinds |= dict.fromkeys(before.keys() - now.keys(), "removed")
    kinds |= {key: "rewritten" for key in now.keys() & before.keys() if now[key] != before[key]}
    return dict(sorted(kinds.items()))


def compare(
    base: Knowledge,
    replayed: Replay,
    since: str,
    items_before: Items,
    chances_before: Chances,
) -> Changes:
    """The present replay against the last one with other rules."""
    items_before = {key: _said(item) for key, item in items_before.items()}
    changed = changed_rules(items_before, items_of(base))
    effects = [
        Effect(one.case.id, one.cause, chances_before[one.case.id], (one.chance, one.rank))
        for one in replayed.judged
        if one.case.id in chances_before
    ]
    notable = [effect for effect in effects if abs(effect.gain) >= NOTABLE]
    if len(changed) <= MOST_CHANGES:
        cases = {one.case.id: Solved(one.case, one.cause) for one in replayed.judged}
        notable = _attribute(base, items_before, list(changed), notable, cases)
    return Changes(since, tuple(changed.items()), tuple(sorted(notable, key=lambda e: e.gain)))


def _attribute(
    base: Knowledge,
    items_before: Items,
    changed: Sequence[str],
    effects: Sequence[Effect],
    cases: Mapping[str, Solved],
) -> list[Effect]:
    done: dict[str, list[tuple[str, float]]] = {effect.case_id: [] for effect in effects}
    for key in changed if effects else ():
        without = Reasoner(taken_back(base, key, items_before.get(key)))
        for effect in effects:
            try:
                chance = judge(without, cases[effect.case_id]).chance
            except (InputError, KeyError, ValueError):
                continue  # the rules do not hang together without this one: no effect of its own
            gain = math.log(effect.now[0] / chance)
            if abs(gain) >= NOTABLE:
                done[effect.case_id].append((key, gain))
    return [
        replace(effect, by=tuple(sorted(done[effect.case_id], key=lambda by: -abs(by[1]))))
        for effect in effects
    ]


def taken_back(base: Knowledge, key: str, item_before: str | None) -> Knowledge:
    """The rule base with one item as it was before; None: it was not there."""
    kind, _, name = key.partition(":")
    items: dict[str, Any] = dict(getattr(base, kind))
    if item_before is None:
        del items[name]
    else:
        items[name] = _read(kind, item_before)
    changed: dict[str, Any] = {kind: items}
    return replace(base, **changed)


def _read(kind: str, item: str) -> BaseModel | float:
    if kind == "words":
        return float(json.loads(item))
    return ITEM_KINDS[kind].model_validate_json(item)
