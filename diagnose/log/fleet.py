"""Events sorted by machine as they come in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl

RUNS_PER_MACHINE = 4
"""Up to so many runs of one machine a table is cut in slices instead of being regrouped."""


class Fleet:
    """Holds each machine's events in the order delivered: about 20 bytes an event."""

    def __init__(self) -> None:
        self._parts: dict[str, list[pl.DataFrame]] = {}

    def add(self, events: pl.DataFrame) -> None:
        """Take in a table of events (EVENTS)."""
        if not events.height:
            return
        names = events["machine"]
        rest = events.drop("machine")
        physical = names.to_physical().to_numpy()
        edges = np.flatnonzero(np.diff(physical)) + 1
        if len(edges) < RUNS_PER_MACHINE * len(np.unique(physical[np.append(0, edges)])):
            starts = [0, *edges.tolist()]
            ends = [*starts[1:], events.height]
            labels = names.gather(starts).cast(pl.String).to_list()
            for label, start, end in zip(labels, starts, ends, strict=True):
                self._parts.setdefault(label, []).append(rest.slice(start, end - start))
            return
        for part in events.partition_by("machine", maintain_order=True):
            label = part["machine"].cast(pl.String)[0]
            self._parts.setdefault(label, []).append(part.drop("machine"))

    def __len__(self) -> int:
        return len(self._parts)

    def machines(self) -> Iterator[tuple[str, pl.DataFrame]]:
        """Each machine with all its events, by name; what is given is let go of here."""
        for name in sorted(self._parts):
            yield name, pl.concat(self._parts.pop(name))
