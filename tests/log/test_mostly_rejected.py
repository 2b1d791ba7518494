"""A log of which most lines were not read is never called sound, and a bad head ends."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.log.test_command import HEAD, run


def season(path: Path, good: int, bad: int) -> Path:
    """Sound bales of one machine; the times of the last `bad` lines are epoch milliseconds."""
    times = [f"2026-07-01T{8 + i // 60:02}:{i % 60:02}:00" for i in range(good)]
    times += [str(1_782_892_800_000 + 60_000 * i) for i in range(bad)]
    rows = (f"{time},Baler X,{1000 + i},,bale,\n" for i, time in enumerate(times))
    path.write_text(HEAD + "".join(rows))
    return path


def test_most_lines_rejected_is_said_first_and_judges_nothing(tmp_path: Path) -> None:
    file = str(season(tmp_path / "ms.csv", good=40, bad=60))
    result = run(file, "--html", str(tmp_path / "page.html"))
    assert result.return_value == 3
    first = " ".join(result.output.split("\n\n")[0].split())
    assert first.startswith("NOT JUDGED: 60 of 100 lines of ")
    assert "ms.csv could not be read" in first
    assert "the first is line 42: time '1782892800000' is a bare number" in first
    page = (tmp_path / "page.html").read_text()
    for text in (" ".join(result.output.split()), page):
        assert "Baler X: NOT JUDGED; most lines of its file could not be read" in text
        assert "othing wrong" not in text
    assert page.index("NOT JUDGED: 60 of 100") < page.index("<h2>Machines")
    data = json.loads(run(file, "--json").output)
    assert data["not_judged"] == ["Baler X"]
    assert "60 of 100 lines" in data["not_read"][0]


@pytest.mark.parametrize("time", ["1782892800000", "1782892920000", "20260701080000", "178289280"])
def test_a_bare_number_is_never_taken_for_a_date_of_another_century(
    tmp_path: Path, time: str
) -> None:
    (tmp_path / "n.csv").write_text(HEAD + f"{time},Baler X,1000,,bale,\n")
    result = run(str(tmp_path / "n.csv"))
    assert result.return_value == 2
    assert f"time '{time}' is a bare number" in " ".join(result.output.split())


def test_all_lines_rejected_is_nothing_read(tmp_path: Path) -> None:
    result = run(str(season(tmp_path / "ms.csv", good=0, bad=20)))
    assert result.return_value == 2
    assert result.output.startswith("NOT JUDGED: 20 of 20 lines")
    assert "othing wrong" not in result.output


def test_few_lines_rejected_still_judge_the_machine(tmp_path: Path) -> None:
    result = run(str(season(tmp_path / "ms.csv", good=90, bad=10)))
    assert result.return_value == 3
    assert "Baler X: nothing wrong" in result.output
    assert "NOT JUDGED" not in result.output


def test_a_sound_file_beside_it_is_judged_by_itself(tmp_path: Path) -> None:
    bad = season(tmp_path / "bad.csv", good=4, bad=60)
    good = season(tmp_path / "good.csv", good=100, bad=0)
    good.write_text(good.read_text().replace("Baler X", "Baler Y"))
    result = run(str(bad), str(good))
    assert result.return_value == 3
    assert "Baler X: NOT JUDGED" in result.output
    assert "Baler Y: nothing wrong" in result.output


@pytest.mark.parametrize("separator", [" ", ",", ";", "\t"])
def test_a_heading_of_date_time_code_ends_with_what_to_do(tmp_path: Path, separator: str) -> None:
    rows = ["date time code", *(f"2026-07-01 08:{i:02}:00 K3_MISS" for i in range(60))]
    file = tmp_path / "driver.txt"
    file.write_text("\n".join(row.replace(" ", separator) for row in rows) + "\n")
    result = run(str(file))
    assert result.return_value == 2
    assert result.output.startswith("NOT JUDGED:")
    assert f"{file}:" in result.output.replace("\n    ", "")


def test_a_bus_log_whose_head_cannot_be_read_ends_with_its_line(tmp_path: Path) -> None:
    file = tmp_path / "bus.asc"
    file.write_text("date 99 99 99\nbase hex timestamps absolute\n"
                    "0.1 1 18FECA00x Rx d 8 40 FF 5B 00 03 01 FF FF\n")  # fmt: skip
    result = run(str(file), "--machine", "Baler X")
    assert result.return_value in (2, 3)
    assert "Nothing wrong" not in result.output
