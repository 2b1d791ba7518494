"""The few ids of the rule base that the program has to know, each by the part it plays.

They stand under `roles:` in the rule files, so that a keeper of the rules may rename anything.
Each field says which kind of item its id must be; `answers` are those of the group's own sign.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, NamedTuple

from diagnose.knowledge.item import Id, Item, Word


class Of(NamedTuple):
    """The kind of item that a role's id must be."""

    kind: str


Answer = Annotated[Id, Of("answers")]
Sign = Annotated[Id, Of("signs")]


class Which(Item):
    """Which knotters fail."""

    sign: Sign
    one: Answer
    few: Answer
    all: Answer
    wandering: Answer


class Often(Item):
    """How often it fails."""

    sign: Sign
    once: Answer
    untold: Answer
    """What is taken where nobody said."""


class Since(Item):
    """Since when it fails."""

    sign: Sign
    sudden: Answer
    growing: Answer
    after_stop: Answer
    always: Answer


class Roles(Item):
    """Every role, by name."""

    something_else: Annotated[Id, Of("causes")]
    """The cause that stands for all that nobody wrote down."""
    make_safe: Annotated[Id, Of("cautions")]
    """Comes before everything else at the machine."""
    restart: Annotated[Id, Of("cautions")]
    """Of an act for which the machine runs, and of baling on."""
    failed_tie: Sign
    """The look that every search begins with, and that names the row of a printed chart."""
    which: Which
    often: Often
    since: Since
    missed: Annotated[Id, Of("codes")]
    """The code whose events a log counts as missed ties."""
    own_circuit: Annotated[Id, Of("codes")]
    """The code that a controller's word about its own sensor or wiring is brought to."""
    worth_mending: Annotated[str, Of("standings")]
    """A reading out of its band is mended at once from this standing on. Judgement."""
    false_find: Annotated[Word, Of("words")]
    """How often a check finds a fault that is not the one behind this tie. Judgement."""
    second_fault: Annotated[Word, Of("words")]
    """How often another fault sits in the machine at the same time. Judgement."""
    beyond_said: Annotated[Word, Of("words")]
    """How often a cause reaches more knotters than its rules say. Judgement."""
    surely_cleared: Annotated[Word, Of("words")]
    """A check that overlooks a cause no oftener than this has cleared it. Judgement."""
    least: Annotated[Word, Of("words")]
    """The share that every answer has at least, so that none is ever impossible."""


class Played(NamedTuple):
    """One id in a role: where it stands under `roles:`, its kind, and its group's sign."""

    path: tuple[str, ...]
    kind: str
    id: str
    sign: str


def played(roles: Item, path: tuple[str, ...] = ()) -> Iterator[Played]:
    """Every id in a role, groups opened."""
    for name, field in type(roles).model_fields.items():
        value: Any = getattr(roles, name)
        if isinstance(value, Item):
            yield from played(value, (*path, name))
        else:
            kind = next(part.kind for part in field.metadata if isinstance(part, Of))
            yield Played((*path, name), kind, value, getattr(roles, "sign", ""))
