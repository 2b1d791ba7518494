"""The small settings and the machine of the sheets' tests."""

from tests.sheet.conftest import knowledge, machine

__all__ = ["knowledge", "machine"]
