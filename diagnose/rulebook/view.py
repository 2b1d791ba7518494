"""What the rule base's keepers are told, as data for other programs, with a schema."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field

from diagnose.knowledge.model import Knowledge
from diagnose.rulebook.moved import Moved
from diagnose.rulebook.pages import item_data, listing, moved_data, report_data
from diagnose.rulebook.proofs import Report
from diagnose.say.view import Part, View


class RowPart(Part):
    """One item of the rule base."""

    kind: str
    id: str
    text: str
    basis: str


class ListingView(View):
    """Items of the rule base, by kind."""

    items: tuple[RowPart, ...]


class ItemView(View):
    """One item: its kind and id, the file and line where it stands, and the fields of its kind."""

    model_config = ConfigDict(frozen=True, extra="allow")
    kind: str
    id: str
    file: str | None = None
    line: int | None = None


class StoodPart(Part):
    """Its place, and how many times as likely as the likeliest other cause."""

    rank: int
    odds: float


class MovedPart(Part):
    """A named bale or a solved case that a change has moved; without `is`, gone."""

    bale: str | None = None
    case: str | None = None
    cause: str
    was: StoodPart
    is_: StoodPart | None = Field(default=None, alias="is")


class CheckView(View):
    """What was proved of the rule base, and what a change has moved."""

    bales: int
    faults: tuple[str, ...]
    look_alikes: tuple[tuple[str, ...], ...]
    inseparable: tuple[tuple[str, ...], ...]
    moved: tuple[MovedPart, ...] | None = None
    replay: dict[str, Any] | None = None
    """As `diagnose cases replay` tells it."""


def listing_view(base: Knowledge, words: tuple[str, ...]) -> ListingView:
    """Every item that holds all of `words`."""
    return ListingView.model_validate({"items": listing(base, words)})


def item_view(base: Knowledge, name: str) -> ItemView:
    """Raises InputError for an unknown id, naming the nearest."""
    return ItemView.model_validate(item_data(base, name))


def check_view(
    report: Report, moved: tuple[Moved, ...] | None = None, replay: dict[str, Any] | None = None
) -> CheckView:
    """A report of proofs."""
    told = {"moved": None if moved is None else moved_data(moved), "replay": replay}
    return CheckView.model_validate({**report_data(report), **told})
