"""Saved means saved: the file first, then its name in the folder, and only then the word."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from diagnose.errors import StoreError
from diagnose.files import write_whole


def test_file_and_folder_are_on_disk_in_that_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    sync, replace = os.fsync, Path.replace

    def fsync(handle: int) -> None:
        done.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        sync(handle)

    def moved(self: Path, target: Path) -> Path:
        done.append("name")
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "replace", moved)
    write_whole(tmp_path / "a.txt", "all of it")
    assert done == ["file", "name", "folder"]
    assert (tmp_path / "a.txt").read_text() == "all of it"


def test_a_full_disk_leaves_the_old_file_whole_and_no_other_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.txt"
    write_whole(path, "old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match=r"a.txt: cannot be written \(No space left.*free some"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_a_new_file_is_its_owners_alone_and_an_old_one_keeps_its_rights(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_whole(path, "new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o664)
    write_whole(path, "again")
    assert stat.S_IMODE(path.stat().st_mode) == 0o664


def test_a_link_stays_a_link_and_a_device_a_device(tmp_path: Path) -> None:
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    real.write_text("old")
    link.symlink_to(real)
    write_whole(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    write_whole(Path(os.devnull), "nothing")
    assert Path(os.devnull).is_char_device()
    with pytest.raises(StoreError, match="No space left"):
        write_whole(Path("/dev/full"), "x" * 100)


def test_a_mistyped_folder_is_told_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"\(No such file or directory\); name another place$"):
        write_whole(tmp_path / "nosuch" / "a.txt", "x")
    assert not (tmp_path / "nosuch").exists()


def test_bytes_that_are_no_text_are_written_as_an_escape(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.csv", os.fsdecode(b"bad\xff.csv,7"))
    assert (tmp_path / "a.csv").read_text(encoding="utf-8") == "bad\\udcff.csv,7"


def test_whatever_stops_the_writing_no_part_of_a_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a.txt", "x")
    assert not list(tmp_path.iterdir())
