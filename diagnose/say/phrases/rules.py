"""Sentences of one use; see the package."""

from __future__ import annotations

PHRASES: dict[str, str | tuple[str, str]] = {}
