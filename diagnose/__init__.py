"""Diagnosis of tying faults on the knotters of large square balers."""

__version__ = "1.1.0"
