"""What everything in the rule base has in common: frozen data, ids, words, and a basis."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
Word = str


class Item(BaseModel):
    """Common to everything in the rule base: frozen, and no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Basis(Item):
    """Where a figure or a rule comes from.

    In YAML one word: `common practice`, `judgement`, or the id of a published source.
    `manual` is only for a machine file, with the owner's own reference.
    """

    kind: Literal["published", "common practice", "judgement", "manual"]
    source: str | None = None

    def __str__(self) -> str:
        return {
            "published": f"published: {self.source}",
            "common practice": "common practice, no source",
            "judgement": "judgement",
            "manual": f"machine's manual: {self.source}",
        }[self.kind]


def _basis(value: Any) -> Any:
    if isinstance(value, str):
        if value in ("common practice", "judgement"):
            return {"kind": value}
        return {"kind": "published", "source": value}
    return value


BasisField = Annotated[Basis, BeforeValidator(_basis)]
