"""The tables of a casebook, and the steps that brought them to where they are.

The same for SQLite and PostgreSQL. A step, once released, is never changed: a new wish is a
new step at the end, and `VERSION` follows.
"""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, MetaData, String, Table, Text

metadata = MetaData()

schema_version = Table("schema_version", metadata, Column("version", Integer, nullable=False))

copies = Table(
    "copies",
    metadata,
    Column("digest", String(64), primary_key=True),
    Column("content", String(64), nullable=False),
    Column("case_id", Text, nullable=False),
    Column("added", String(32), nullable=False),
    Column("line", Text, nullable=False),
    Index("copies_by_case", "case_id"),
)
"""Every copy of a case as it was received: one line of JSON (see line.py)."""

set_aside = Table(
    "set_aside",
    metadata,
    Column("content", String(64), primary_key=True),
    Column("case_id", Text, nullable=False),
    Column("at", String(32), nullable=False),
)
"""Copies that lost a conflict. They stay in `copies`."""

rule_bases = Table(
    "rule_bases",
    metadata,
    Column("digest", String(64), primary_key=True),
    Column("rules", Text, nullable=False),
)
"""Rule bases that a replay ran with, item by item, to tell later what changed."""

replays = Table(
    "replays",
    metadata,
    Column("digest", String(64), primary_key=True),
    Column("at", String(32), nullable=False),
    Column("chances", Text, nullable=False),
)
"""The latest replay with each rule base: the chance and rank of every case's cause."""

STEPS: tuple[tuple[Table, ...], ...] = ((copies,), (set_aside,), (rule_bases, replays))
"""Tables each schema version added, from version 1 on."""
VERSION = len(STEPS)
