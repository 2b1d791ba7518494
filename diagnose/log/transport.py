"""Puts multi-packet messages together: SAE J1939-21 transport protocol, BAM and RTS/CTS.

TP.CM (PGN 60416) announces a message, TP.DT (PGN 60160) carries seven bytes a packet.
A log may have lost packets: what never comes whole is given back as lost, not decoded.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

_CONNECTION, _DATA = 0xEC00, 0xEB00
_RTS, _CTS, _END, _BAM, _ABORT = 0x10, 0x11, 0x13, 0x20, 0xFF
TIMEOUT = 1.25
"""Seconds without a packet after which a message is given up: T2 and T3 of J1939-21."""


@dataclass(frozen=True)
class Frame:
    """One CAN frame of a log, with the line (or record) it stands on."""

    time: float
    """Seconds since 1970-01-01 UTC, or since the log began where it has no date."""
    id: int
    data: bytes
    line: int
    extended: bool = True
    plain: bool = True
    """False for a remote or an error frame."""

    @property
    def source(self) -> int:
        return self.id & 0xFF

    @property
    def pgn(self) -> int:
        """Parameter group number; the destination byte of a PDU1 frame is not part of it."""
        group = self.id >> 8 & 0x3FFFF
        return group if group & 0xFF00 >= 0xF000 else group & 0x3FF00

    @property
    def destination(self) -> int:
        return self.id >> 8 & 0xFF if self.id >> 16 & 0xFF < 0xF0 else 0xFF


@dataclass(frozen=True)
class Message:
    """A whole message: one frame, or a transport session put together."""

    pgn: int
    source: int
    data: bytes
    time: float
    frames: int
    line: int


@dataclass(frozen=True)
class Lost:
    """Frames of a multi-packet message that never came whole."""

    frames: int
    line: int


@dataclass
class _Session:
    pgn: int
    size: int
    packets: int
    line: int
    last: float
    frames: int = 1
    parts: dict[int, bytes] = field(default_factory=dict)


def assemble(frames: Iterator[Frame]) -> Iterator[Message | Lost]:
    """Messages in the order in which they became whole; every frame is in exactly one."""
    open_sessions: dict[tuple[int, int], _Session] = {}
    for frame in frames:
        if frame.pgn == _CONNECTION and len(frame.data) == 8:
            yield from _control(frame, open_sessions)
        elif frame.pgn == _DATA and len(frame.data) >= 2:
            yield from _packet(frame, open_sessions)
        else:
            yield Message(frame.pgn, frame.source, frame.data, frame.time, 1, frame.line)
    for session in open_sessions.values():
        yield Lost(session.frames, session.line)


def _control(
    frame: Frame, open_sessions: dict[tuple[int, int], _Session]
) -> Iterator[Message | Lost]:
    data, key = frame.data, (frame.source, frame.destination)
    pgn = int.from_bytes(data[5:8], "little")
    if data[0] in (_BAM, _RTS):
        size, packets = int.from_bytes(data[1:3], "little"), data[3]
        if key in open_sessions:
            yield _lost(open_sessions.pop(key))
        if 9 <= size <= 1785 and packets == -(-size // 7):
            open_sessions[key] = _Session(pgn, size, packets, frame.line, frame.time)
        else:
            yield Lost(1, frame.line)
        return
    if data[0] == _ABORT:
        for ends in (key, key[::-1]):
            session = open_sessions.get(ends)
            if session and session.pgn == pgn:
                yield _lost(open_sessions.pop(ends))
    yield Message(_CONNECTION, frame.source, data, frame.time, 1, frame.line)


def _packet(
    frame: Frame, open_sessions: dict[tuple[int, int], _Session]
) -> Iterator[Message | Lost]:
    key = (frame.source, frame.destination)
    session = open_sessions.get(key)
    if session and frame.time - session.last > TIMEOUT:
        yield _lost(open_sessions.pop(key))
        session = None
    number = frame.data[0]
    if session is None or not 1 <= number <= session.packets:
        yield Lost(1, frame.line)
        return
    session.parts[number] = frame.data[1:8].ljust(7, b"\xff")
    session.frames += 1
    session.last = frame.time
    if len(session.parts) == session.packets:
        del open_sessions[key]
        data = b"".join(session.parts[i] for i in range(1, session.packets + 1))
        yield Message(
            session.pgn,
            frame.source,
            data[: session.size],
            frame.time,
            session.frames,
            session.line,
        )


def _lost(session: _Session) -> Lost:
    return Lost(session.frames, session.line)
