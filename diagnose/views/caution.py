"""Cautions, in full or by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from diagnose.knowledge.model import Knowledge
from diagnose.say import Block, Caution, Part, lines, said


class CautionPart(Part):
    """What can hurt someone, and what to do first."""

    id: str
    name: str
    danger: str
    first: str
    once: bool
    """Told once in full, and not named again."""


def caution_parts(base: Knowledge, names: Iterable[str]) -> tuple[CautionPart, ...]:
    """Raises KeyError for an unknown caution."""
    return tuple(_part(base, name) for name in names)


def _part(base: Knowledge, name: str) -> CautionPart:
    body = base.cautions[name]
    return CautionPart(
        id=name, name=body.name, danger=body.danger, first=body.first, once=body.once
    )


def caution_blocks(cautions: Iterable[CautionPart], told: Iterable[str] = ()) -> Iterator[Block]:
    """What to do first, in full where it was not told before; else its danger by name."""
    told, cautions = set(told), list(cautions)
    for one in cautions:
        if one.id not in told:
            yield Caution(said("bale.caution", danger=one.danger, first=one.first))
    before = [one.name for one in cautions if one.id in told and not one.once]
    if before:
        yield Caution(said("bale.as_before", names=", ".join(before)))


def caution_lines(base: Knowledge, names: Iterable[str], told: Iterable[str] = ()) -> list[str]:
    """What to do first, in full where it was not told before; else its danger by name."""
    return lines(caution_blocks(caution_parts(base, names), told))
