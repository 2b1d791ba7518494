"""Opens log files: globs, gzip and zstd by their first bytes, UTF-16, whole-line blocks.

Memory stays bounded whatever the file holds: a block is at most BLOCK bytes and its last
line, and a line longer than LONGEST_LINE is skipped and told, never collected.
"""

from __future__ import annotations

import codecs
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np

from diagnose.errors import InputError, Place

BLOCK = 16 << 20
LONGEST_LINE = 1 << 20
_GZIP, _ZSTD = b"\x1f\x8b", b"\x28\xb5\x2f\xfd"
_ZSTD_FEED = 4096
"""Compressed bytes given at once: a zstd block of 4 bytes can swell to 128 KiB."""


Progress = Callable[[int], None]
"""Told how many bytes more have been read from disk."""


@dataclass(frozen=True)
class Block:
    """Whole lines, the last one perhaps without its line end. Lines count from 1."""

    data: bytes
    first_line: int
    lines: int


@dataclass(frozen=True)
class Fault:
    """A stretch of a file that cannot be read, with the first bytes of it."""

    line: int
    reason: str
    raw: bytes = b""


def count_byte(data: bytes, byte: int) -> int:
    """How often a byte occurs. In pieces that stay in the cache: five times as fast as
    bytes.count where the byte is frequent, as line ends and separators are."""
    whole = np.frombuffer(data, np.uint8)
    return sum(
        int(np.count_nonzero(whole[i : i + 65536] == byte)) for i in range(0, len(whole), 65536)
    )


def expand(names: Iterable[str]) -> list[Path]:
    """Files and globs as paths, each once, in the order given; a glob's are sorted.

    Raises InputError when a name matches nothing.
    """
    paths: dict[Path, None] = {}
    for name in names:
        matches = [Path(name)] if Path(name).exists() else _matching(name)
        if not matches:
            raise InputError("no such file; check the name or the pattern", Place(name))
        for match in matches:
            if match.is_dir():
                raise InputError(f"is a folder; name its files, e.g. '{match}/*'", Place(match))
            paths[match] = None
    return list(paths)


def _matching(pattern: str) -> list[Path]:
    path = Path(pattern)
    try:
        return sorted(Path(path.anchor).glob(str(path.relative_to(path.anchor))))
    except ValueError:
        return []


def start_of(path: Path, size: int = 4096) -> bytes:
    """The first `size` bytes after decompression and decoding, to tell what a file is."""
    got = b""
    for piece in _as_utf8(_decompressed(path)):
        if isinstance(piece, Fault):
            break
        got += piece
        if len(got) >= size:
            break
    return got[:size]


def blocks(
    path: Path, size: int = BLOCK, progress: Progress | None = None
) -> Iterator[Block | Fault]:
    """The file as blocks of whole lines, and a Fault for each stretch that is not readable.

    `progress` is told the bytes read from disk.
    """
    line, tail, skipping = 1, b"", False
    for piece in _as_utf8(_decompressed(path, size, progress)):
        if isinstance(piece, Fault):
            if tail:
                yield Fault(line, f"line cut off: {piece.reason}", tail[:200])
            else:
                yield Fault(line, piece.reason, piece.raw)
            return
        if skipping:
            cut = piece.find(b"\n") + 1
            if not cut:
                continue
            piece, skipping, line = piece[cut:], False, line + 1
        end = piece.rfind(b"\n") + 1
        if end:
            data = b"".join((tail, memoryview(piece)[:end]))
            lines = count_byte(data, 10)
            yield Block(data, line, lines)
            line += lines
            tail = piece[end:]
        else:
            tail += piece
        if len(tail) > LONGEST_LINE:
            yield Fault(line, f"line longer than {LONGEST_LINE >> 20} MiB", tail[:200])
            tail, skipping = b"", True
    if tail:
        yield Block(tail, line, 1)


def _as_utf8(pieces: Iterator[bytes | Fault]) -> Iterator[bytes | Fault]:
    """UTF-8 without its mark; UTF-16 is told by its mark and recoded; the rest goes through."""
    first = next(pieces, b"")
    if isinstance(first, Fault):
        yield first
        return
    if first.startswith(codecs.BOM_UTF8):
        first = first[3:]
    if not first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        yield first
        yield from pieces
        return
    decoder = codecs.getincrementaldecoder("utf-16")(errors="replace")
    yield decoder.decode(first).encode("utf-8", "replace")
    for piece in pieces:
        yield piece if isinstance(piece, Fault) else decoder.decode(piece).encode("utf-8")


class _Told:
    """A file that tells how much was read of it."""

    def __init__(self, file: IO[bytes], progress: Progress | None) -> None:
        self._file, self._progress = file, progress

    def read(self, size: int) -> bytes:
        piece = self._file.read(size)
        if self._progress:
            self._progress(len(piece))
        return piece


def _decompressed(
    path: Path, size: int = BLOCK, progress: Progress | None = None
) -> Iterator[bytes | Fault]:
    try:
        with path.open("rb") as opened:
            file = _Told(opened, progress)
            magic = opened.read(4)
            opened.seek(0)
            if magic.startswith(_GZIP):
                yield from _gunzip(file, size)
            elif magic == _ZSTD:
                yield from _unzstd(file, size)
            else:
                while piece := file.read(size):
                    yield piece
    except OSError as error:
        yield Fault(0, f"cannot be read: {error.strerror or error}")


def _gunzip(file: _Told, size: int) -> Iterator[bytes | Fault]:
    """Members one after the other, as appending to a gzip file leaves them."""
    member = zlib.decompressobj(wbits=31)
    started = False
    while feed := file.read(1 << 20):
        while feed:
            try:
                out = member.decompress(feed, size)
            except zlib.error as error:
                yield Fault(0, f"compressed data is damaged: {error}")
                return
            started = True
            if out:
                yield out
            feed = member.unconsumed_tail
            if member.eof:
                feed = member.unused_data.lstrip(b"\0")
                member, started = zlib.decompressobj(wbits=31), False
    if started:
        yield Fault(0, "the gzip file ends too early; the rest is missing")


def _unzstd(file: _Told, size: int) -> Iterator[bytes | Fault]:
    import zstandard

    def new_frame() -> Any:
        return zstandard.ZstdDecompressor(max_window_size=1 << 27).decompressobj()

    frame, started, gathered = new_frame(), False, bytearray()
    while feed := file.read(_ZSTD_FEED):
        while feed:
            try:
                gathered += frame.decompress(feed)
            except zstandard.ZstdError as error:
                yield bytes(gathered)
                yield Fault(0, f"compressed data is damaged: {error}")
                return
            started, feed = True, b""
            if frame.eof:
                feed = frame.unused_data
                frame, started = new_frame(), False
        if len(gathered) >= size:
            yield bytes(gathered)
            gathered.clear()
    if gathered:
        yield bytes(gathered)
    if started:
        yield Fault(0, "the zstd file ends too early; the rest is missing")
