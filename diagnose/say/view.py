"""A view: everything that one thing shown says, as data; its blocks say how it is shown.

A field holds a value, its unit or an id, or words of the rules; never a sentence put together.
So `--json`, a page and the lines at a terminal say the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict

from diagnose.say.blocks import Block, lines


class Part(BaseModel):
    """A part of a view."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="constants")


class View(Part):
    """What one command shows. Its data name their `format`, in which no field ever changes its
    meaning."""

    format: int = 1
    nulls: ClassVar[bool] = False
    """Whether its data say null where null was given; else what does not apply is left out."""

    def blocks(self) -> Iterator[Block]:
        """How it is shown, top to bottom."""
        raise NotImplementedError


def text(view: View) -> list[str]:
    """A view in lines that fit."""
    return lines(view.blocks())


def data(view: View) -> dict[str, Any]:
    """A view as plain data, ready for JSON."""
    without: dict[str, Any] = {"exclude_unset" if view.nulls else "exclude_none": True}
    told: dict[str, Any] = view.model_dump(mode="json", by_alias=True, **without)
    return {"format": view.format, **told}


def schema(view: type[View]) -> dict[str, Any]:
    """JSON Schema (2020-12) of a view's data."""
    made = view.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}
