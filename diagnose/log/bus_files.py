"""Reads raw bus logs (candump, ASC, TRC, BLF) into frames, through python-can."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from diagnose.errors import DiagnoseError
from diagnose.log.bus_lines import HEAD, IGNORED, screen
from diagnose.log.source import Fault, blocks
from diagnose.log.transport import Frame

_ASC_HEAD = ("base hex  timestamps absolute\n", "internal events logged\n")
_NOT_READ = (ValueError, IndexError, KeyError, TypeError, OverflowError, NotImplementedError)


class BusReaderMissingError(DiagnoseError):
    """python-can is not installed."""


def frames(path: Path, kind: str) -> Iterator[Frame | Fault]:
    """Every frame of a bus log, and a Fault for each line that gives none.

    A line that holds no frame (comment, head, drop count) is a Fault whose reason begins
    with `ignored: `. Raises BusReaderMissingError without python-can.
    """
    try:
        import can
    except ImportError:
        raise BusReaderMissingError(
            f"{path}: a bus log needs python-can; pip install python-can"
        ) from None
    yield from _blf(path, can) if kind == "blf" else _text(path, kind, can)


def _blf(path: Path, can: Any) -> Iterator[Frame | Fault]:
    number = 0
    try:
        with can.BLFReader(str(path)) as reader:
            for message in reader:
                number += 1
                yield _frame(message, number)
    except (can.io.blf.BLFParseError, struct.error, zlib.error, ValueError, OSError) as error:
        yield Fault(number + 1, f"not readable as BLF from here on: {error or 'damaged'}")


def _text(path: Path, kind: str, can: Any) -> Iterator[Frame | Fault]:
    types = {"candump": can.CanutilsLogReader, "asc": can.ASCReader, "trc": can.TRCReader}
    options = {"relative_timestamp": False} if kind == "asc" else {}
    lines = _Screened(path, kind)
    reader = iter(types[kind](lines, **options))
    while True:
        try:
            message = next(reader, None)
        except _NOT_READ as error:
            # The reader is finished by its own error; a fresh one goes on after the line.
            if not lines.sent:  # the head itself; a fresh reader would stop at it for ever
                yield from lines.taken(None)
                yield Fault(lines.line + 1, f"the head of the log cannot be read: {error}", b"")
                return
            number, raw = lines.sent.pop()
            yield from lines.taken(None)
            yield Fault(number, f"not a readable frame: {error}", raw)
            lines.repeat_head()
            reader = iter(types[kind](lines, **options))
            continue
        yield from lines.taken(message)
        if message is None:
            return
        yield _frame(message, lines.line)


def _frame(message: Any, line: int) -> Frame:
    return Frame(
        message.timestamp,
        message.arbitration_id,
        bytes(message.data),
        line,
        extended=message.is_extended_id,
        plain=not (message.is_error_frame or message.is_remote_frame),
    )


class _Screened(io.TextIOBase):
    """Looks to python-can like an open text file, and holds only lines it reads rightly.

    The readers take one line for one frame, so that the last line sent is the frame's.
    """

    def __init__(self, path: Path, kind: str) -> None:
        self.path, self.kind, self.line = path, kind, 0
        self.sent: list[tuple[int, bytes]] = []
        self._faults: list[Fault] = []
        self._head: list[str] = []
        self._again: list[str] = []
        self._lines = self._good()

    def __iter__(self) -> Iterator[str]:  # type: ignore[override]
        while True:
            while self._again:
                yield self._again.pop(0)
            line = next(self._lines, None)
            if line is None:
                return
            yield line

    def repeat_head(self) -> None:
        """Put the head before the lines still to come, for a fresh reader."""
        self._again = list(self._head)

    def taken(self, message: object) -> Iterator[Fault]:
        """Faults since the last frame; a line sent that gave no frame is one of them."""
        if message is not None and self.sent:
            self.line = self.sent.pop()[0]
        yield from self._faults
        yield from (Fault(n, IGNORED + "no data frame", raw) for n, raw in self.sent)
        self._faults, self.sent = [], []

    def _good(self) -> Iterator[str]:
        in_head = True
        for block in blocks(self.path):
            if isinstance(block, Fault):
                self._faults.append(block)
                continue
            for number, raw in enumerate(block.data.splitlines(), block.first_line):
                line = raw.strip()
                if HEAD.fullmatch(line) and self.kind != "candump":
                    self._faults.append(Fault(number, IGNORED + "head of the log"))
                    # A later trigger block restarts an ASC log's clock and must be seen.
                    if in_head or line[:1].lower() == b"b":
                        self._head.append(line.decode("ascii", "replace") + "\n")
                        yield self._head[-1]
                    continue
                kept = screen(self.kind, line)
                if isinstance(kept, str):
                    self._faults.append(Fault(number, kept, raw))
                    continue
                if in_head and self.kind == "asc":
                    yield from self._complete_asc_head()
                in_head = False
                self.sent.append((number, raw))
                yield kept.decode("ascii", "replace") + "\n"

    def _complete_asc_head(self) -> Iterator[str]:
        """The reader eats one line after a head that does not end as it expects."""
        heads = "".join(self._head).lower()
        for line, word in zip(_ASC_HEAD, ("base", "internal events"), strict=True):
            if word not in heads:
                self._head.append(line)
                yield line
