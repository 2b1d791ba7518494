"""Sentences that several uses say."""

from __future__ import annotations

PHRASES: dict[str, str | tuple[str, str]] = {
    "count.bale": ("{n:,} bale", "{n:,} bales"),
    "count.day": ("{n:,} day", "{n:,} days"),
    "count.entry": ("{n:,} entry", "{n:,} entries"),
    "count.case": ("{n:,} case", "{n:,} cases"),
    "count.clean_bale": ("{n:,} clean bale", "{n:,} clean bales"),
    "count.confirmed_case": ("{n:,} confirmed case", "{n:,} confirmed cases"),
    "count.conflict": ("{n:,} conflict", "{n:,} conflicts"),
    "count.line": ("{n:,} line", "{n:,} lines"),
    "count.row": ("{n:,} row", "{n:,} rows"),
    "count.rule": ("{n:,} rule", "{n:,} rules"),
    "count.solved_case": ("{n:,} solved case", "{n:,} solved cases"),
}
