"""Files as they come: compressed, cut off, in odd encodings, with lines without end."""

from __future__ import annotations

import gzip
import resource
from pathlib import Path

import pytest
import zstandard

from diagnose.errors import InputError
from diagnose.log.source import LONGEST_LINE, Block, Fault, blocks, count_byte, expand

TEXT = b"".join(b"line %d\n" % i for i in range(100_000))


def read(path: Path, size: int = 4096) -> tuple[bytes, list[Fault]]:
    items = list(blocks(path, size))
    line = 1
    for item in items:
        if isinstance(item, Block):
            assert item.first_line == line
            line += item.lines
        else:
            line = item.line + 1
    data = b"".join(item.data for item in items if isinstance(item, Block))
    return data, [item for item in items if isinstance(item, Fault)]


@pytest.mark.parametrize("kind", ["plain", "gzip", "two gzip members", "zstd", "two zstd frames"])
def test_a_file_is_read_the_same_whatever_it_is_packed_in(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.csv"
    pack = zstandard.ZstdCompressor().compress
    half = len(TEXT) // 2
    path.write_bytes(
        {
            "plain": lambda: TEXT,
            "gzip": lambda: gzip.compress(TEXT),
            "two gzip members": lambda: gzip.compress(TEXT[:half]) + gzip.compress(TEXT[half:]),
            "zstd": lambda: pack(TEXT),
            "two zstd frames": lambda: pack(TEXT[:half]) + pack(TEXT[half:]),
        }[kind]()
    )
    assert read(path) == (TEXT, [])


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.ZstdCompressor().compress])
def test_a_file_cut_off_gives_what_is_whole_and_says_where_it_ends(
    tmp_path: Path, pack: object
) -> None:
    path = tmp_path / "a.csv.gz"
    packed = pack(TEXT)  # type: ignore[operator]
    path.write_bytes(packed[: len(packed) * 2 // 3])
    data, faults = read(path)
    assert TEXT.startswith(data)
    assert data.endswith(b"\n")
    [fault] = faults
    assert "ends too early" in fault.reason
    assert fault.line == data.count(b"\n") + 1


def test_damaged_compressed_data_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.csv.gz"
    packed = bytearray(gzip.compress(TEXT))
    packed[len(packed) // 2 : len(packed) // 2 + 40] = b"\x00" * 40
    path.write_bytes(packed)
    _, faults = read(path)
    assert len(faults) == 1


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be"])
def test_marked_encodings_come_out_as_utf8(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "a.csv"
    text = "Bäler Ä\n" * 3000
    mark = "\ufeff" if encoding == "utf-16-be" else ""
    path.write_bytes((mark + text).encode(encoding))
    assert read(path, 1001) == (text.encode(), [])


def test_a_line_without_end_is_skipped_and_told_and_the_rest_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"one\n" + b"x" * (3 * LONGEST_LINE) + b"\ntwo\n")
    data, [fault] = read(path, 1 << 16)
    assert data == b"one\ntwo\n"
    assert fault.line == 2
    assert "longer than 1 MiB" in fault.reason
    assert len(fault.raw) <= 200


def test_a_line_of_two_gigabytes_needs_little_memory(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    with path.open("wb") as file:
        file.write(b"one\n")
        file.seek(2 << 30)  # a hole: two gigabytes of NUL without using the disk
        file.write(b"\ntwo\n")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    items = list(blocks(path))
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert [item.data for item in items if isinstance(item, Block)] == [b"one\n", b"two\n"]
    assert grown < 200_000  # kilobytes


def test_patterns_are_looked_up_sorted_and_each_file_comes_once(tmp_path: Path) -> None:
    for name in ("b.csv", "a.csv"):
        (tmp_path / name).write_text("x")
    found = expand([str(tmp_path / "b.csv"), str(tmp_path / "*.csv")])
    assert [path.name for path in found] == ["b.csv", "a.csv"]


def test_a_name_without_a_file_and_a_folder_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        expand([str(tmp_path / "nothing*.csv")])
    with pytest.raises(InputError, match="is a folder"):
        expand([str(tmp_path)])


def test_bytes_are_counted_over_the_edges_of_pieces() -> None:
    data = b"a,b\n" * 50_000
    assert count_byte(data, 44) == 50_000
