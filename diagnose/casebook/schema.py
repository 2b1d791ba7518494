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

STEPS: tuple[tuple[Table, ...], ...] = ((copies,), (set_aside,))
"""Tables each schema version added, from version 1 on."""
VERSION = len(STEPS)
