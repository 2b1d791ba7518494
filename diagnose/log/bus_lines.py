"""Screens the lines of text bus logs before python-can reads them.

Its readers stop at the first line they do not know, read an odd number of hex digits as
something else, and lose the first frame of an ASC log whose head is not as they expect.
A screen gives back the line to read, or says in words why it is not read; words that
begin with `ignored: ` mean a line that holds no frame and is none the worse for it.
"""

from __future__ import annotations

import re
from pathlib import Path

IGNORED = "ignored: "
HEAD = re.compile(
    rb";.*|date\s.*|base\s+(?:hex|dec).*|(?:no\s+)?internal\s+events.*|begin\s+triggerblock.*", re.I
)
_CANDUMP = re.compile(
    rb"\(\d+\.\d+\)\s+\S+\s+(?:[0-9A-F]{3}|[0-9A-F]{8})"
    rb"#(?:(?:[0-9A-F]{2}){0,8}|R\d?|#[0-9A-F](?:[0-9A-F]{2}){0,64})(?:\s+[RT])?",
    re.I,
)
_CONSOLE = re.compile(
    rb"\((\d+\.\d+)\)\s+(\S+)\s+(?:[TR]X\s+\S+\s+)?([0-9A-F]{3}|[0-9A-F]{8})"
    rb"\s+\[(\d+)\]((?:\s+[0-9A-F]{2})*)(?:\s+'.*')?",
    re.I,
)
_UNSTAMPED = re.compile(rb"\S+\s+[0-9A-F]{3,8}\s+\[\d+\]", re.I)
_ODD = re.compile(rb"#(?:[0-9A-F]{2})*[0-9A-F](?:\s+[RT])?$", re.I)
_ASC = re.compile(rb"\d+\.\d+\s+\d+\s+[0-9A-F]+x?\s+(?:Rx|Tx)\s+(d|r)\b(.*)", re.I)
_ASC_OTHER = re.compile(
    rb"//|end\s+triggerblock|\d+\.\d+\s+(?:Start|CANFD|\d+\s+(?:ErrorFrame|Statistic)|J1939TP|Log)",
    re.I,
)
_TRC = re.compile(rb"\d+\)?\s+\d+\.\d+\s+(?:\S+\s+){2,}\S.*")


def kind_of(start: bytes, path: Path) -> str | None:
    """Which bus log a file is by its first bytes and, failing that, its name; None: none."""
    if start.startswith(b"LOGG"):
        return "blf"
    first = next((line.strip() for line in start.splitlines() if line.strip()), b"")
    if first.startswith(b";") and re.search(rb"\$FILEVERSION|Start time", start):
        return "trc"
    if re.match(rb"date\s.*\d|base\s+(?:hex|dec)", first, re.I):
        return "asc"
    if _CANDUMP.fullmatch(first) or _CONSOLE.fullmatch(first) or b"DROPCOUNT" in first:
        return "candump"
    stem = path.name.lower().removesuffix(".gz").removesuffix(".zst")
    return {"asc": "asc", "trc": "trc", "candump": "candump", "log": "candump"}.get(
        stem.rpartition(".")[2]
    )


def screen(kind: str, line: bytes) -> bytes | str:
    """The line to read (stripped), or the reason why it is not read."""
    if not line:
        return IGNORED + "blank line"
    return {"candump": _candump, "asc": _asc, "trc": _trc}[kind](line)


def _candump(line: bytes) -> bytes | str:
    if _CANDUMP.fullmatch(line):
        return line
    if line.startswith((b"#", b";")):
        return IGNORED + "comment"
    if b"DROPCOUNT" in line:
        return IGNORED + "recorder's own count of dropped frames"
    console = _CONSOLE.fullmatch(line)
    if console:
        stamp, channel, identifier, length, data = console.groups()
        digits = b"".join(data.split())
        if len(digits) == 2 * int(length):
            return b"(%s) %s %s#%s" % (stamp, channel, identifier, digits)
        return f"{len(digits) // 2} data bytes where {int(length)} are announced"
    if _UNSTAMPED.match(line):
        return "no time stamp; record with candump -L"
    if _ODD.search(line):
        return "odd number of hex digits"
    return "not a line of candump"


def _asc(line: bytes) -> bytes | str:
    frame = _ASC.fullmatch(line)
    if frame and frame[1].lower() == b"d":
        length, *data = frame[2].split() or [b"0"]
        try:
            announced = min(8, int(length, 16))
            found = sum(0 <= int(byte, 16) <= 0x255 for byte in data[:announced])
        except ValueError:
            return "data bytes that are no numbers"
        if found < announced:
            return f"{found} data bytes where {announced} are announced"
        return line
    if frame:
        return line
    if _ASC_OTHER.match(line):
        return IGNORED + "a remark or an event, no data frame"
    return "not a line of an ASC log"


def _trc(line: bytes) -> bytes | str:
    return line if _TRC.fullmatch(line) else "not a line of a TRC log"
