"""Threads and springs: what a turn of an adjuster moves, and what a spring pulls."""
