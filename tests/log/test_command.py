"""`diagnose log` as its user meets it: the demo, exit codes, books, reports, a cluster."""

from __future__ import annotations

import csv
import gzip
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.cli.log import log
from tests.log.make_demo import FOLDER, demo

SEASON = [str(FOLDER / "*.csv.gz"), "--codes", str(FOLDER / "codes.yaml")]
HEAD = "time,machine,bale,knotter,code,value\n"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(log, list(arguments), standalone_mode=False)


def table(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def data(*arguments: str) -> dict:  # type: ignore[type-arg]
    result = run(*arguments, "--json")
    return json.loads(result.output) | {"code": result.return_value}


def test_the_demo_is_what_its_generator_makes() -> None:
    for name, text in demo().items():
        assert gzip.decompress((FOLDER / name).read_bytes()).decode() == text, name


def test_the_demos_season_is_read_rightly() -> None:
    found = data(*SEASON)
    assert found["code"] == 1
    needle, trip = found["work"]
    assert (needle["machine"], needle["knotters"]) == ("Baler C", [4])
    assert needle["course"]["began"].startswith("2026-07-21")
    assert needle["course"]["since"] == ["after_service"]
    assert "needle_travel_short" in [suspect["id"] for suspect in needle["suspects"]]
    assert all(suspect["id"].startswith("needle") for suspect in needle["suspects"][:3])
    assert needle["mechanism"]["id"] == "not_laid"
    assert trip["machine"] == "Baler B"
    assert trip["suspects"][0]["id"] == "trip_rod_worn"
    assert trip["course"]["since"] == ["growing"]
    assert [m["troubles"] for m in found["machines"]] == [0, 1, 1]
    assert [entry["code"] for entry in found["unmapped"]] == ["X-204"]


def test_the_demos_bus_log_is_read_and_its_unknown_code_is_not_guessed() -> None:
    name = str(FOLDER / "baler_c_bus_2026-07-22.log.gz")
    found = data(name, "--codes", str(FOLDER / "codes.yaml"), "--machine", "Baler C")
    [work] = found["work"]
    assert work["knotters"] == [4]
    [unknown] = found["unmapped"]
    assert unknown["code"] == "128/521900/14"
    assert "FMI 14 special instructions" in unknown["means"]
    assert len(bytes.fromhex(unknown["bytes"])) == 4
    lines = found["lines"]
    assert lines["read"] == gzip.decompress(Path(name).read_bytes()).count(b"\n")
    assert lines["read"] == lines["used"] + sum(lines["ignored"].values()) + lines["rejected"]


def season(tmp_path: Path, extra: str = "", bales: int = 600) -> Path:
    path = tmp_path / "a.csv"
    lines = [
        f"2026-07-01T{8 + i // 60:02}:{i % 60:02}:00,Baler A,{i},,bale,\n" for i in range(bales)
    ]
    path.write_text(HEAD + "".join(lines) + extra)
    return path


def test_the_exit_code_tells_how_it_ended(tmp_path: Path) -> None:
    sound = season(tmp_path)
    assert run(str(sound)).return_value == 0
    bad = tmp_path / "bad.csv"
    bad.write_text(sound.read_text() + "broken\n")
    assert run(str(bad)).return_value == 3
    hopeless = tmp_path / "hopeless.csv"
    hopeless.write_text("what,is\nthis,then\n")
    assert run(str(hopeless)).return_value == 2
    assert run(*SEASON).return_value == 1


def test_a_missing_file_is_said_in_one_line_with_exit_code_2(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "diagnose", "log", str(tmp_path / "no.csv")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr.startswith("diagnose: ")
    assert "no such file" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_text_fits_80_columns_says_safety_first_and_balances_its_books() -> None:
    text = run(*SEASON).output
    assert all(len(line) < 80 for line in text.splitlines())
    assert text.startswith("SAFE FIRST. Stop the engine")
    assert "watch the knotters" not in text
    [books] = re.findall(r"Lines: (.*)", text)
    read, used, ignored, rejected = (int(n.replace(",", "")) for n in re.findall(r"[\d,]+", books))
    assert read == used + ignored + rejected


def test_rejects_go_to_a_file_with_their_place(tmp_path: Path) -> None:
    path = season(tmp_path, "2026-07-02T08:00:00,Baler A,700,9,tie_missed,\n")
    out = tmp_path / "rejects.csv"
    assert run(str(path), "--rejects", str(out)).return_value == 3
    [row] = table(out)
    assert (row["line"], row["reason"]) == ("602", "knotter 9 on a machine of 6 knotters")
    assert run(str(path), "--knotters", "9").return_value == 0


def test_csv_tables_hold_work_rates_and_unmapped_codes(tmp_path: Path) -> None:
    run(*SEASON, "--csv", str(tmp_path / "out"))
    work = table(tmp_path / "out" / "work.csv")
    assert [row["machine"] for row in work] == ["Baler C", "Baler B"]
    assert float(work[0]["rate_low"]) < float(work[0]["rate"]) < float(work[0]["rate_high"])
    assert {row["code"] for row in table(tmp_path / "out" / "rates.csv")} >= {
        "tie_missed", "knotter_no_cycle"}  # fmt: skip
    assert len(table(tmp_path / "out" / "unmapped.csv")) == 1


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [v or "" for k, v in attrs if k in ("src", "href", "action")]


def test_the_page_is_one_file_that_asks_the_network_for_nothing(tmp_path: Path) -> None:
    out = tmp_path / "work.html"
    run(*SEASON, "--html", str(out))
    text = out.read_text()
    page = _Page()
    page.feed(text)
    assert page.tags.count("svg") == 6
    assert not page.links
    assert "script" not in page.tags
    assert "url(" not in text
    assert "http" not in text


def test_a_machine_name_cannot_break_the_page(tmp_path: Path) -> None:
    path = season(tmp_path)
    path.write_text(path.read_text().replace("Baler A", "<b>A & B</b>"))
    out = tmp_path / "work.html"
    run(str(path), "--html", str(out))
    assert "&lt;b&gt;A &amp; B&lt;/b&gt;" in out.read_text()


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "diagnose", "log", str(season(tmp_path)),
               "--html", str(tmp_path / "none" / "x.html")]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "cannot be written" in done.stderr


@pytest.fixture
def workers(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and two worker processes on loopback."""
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    where = tmp_path / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": environment}
    host = ["--host", "127.0.0.1", "--no-dashboard"]
    scheduler = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", *host, "--port", "0",
         "--scheduler-file", str(where)], **quiet)  # type: ignore[call-overload]  # fmt: skip
    try:
        deadline = time.monotonic() + 60
        while not (where.exists() and where.read_text().strip()):
            assert time.monotonic() < deadline
            time.sleep(0.1)
        address = json.loads(where.read_text())["address"]
        started = [
            subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_worker", address, *host,
                 "--no-nanny", "--nthreads", "1", "--local-directory", str(tmp_path)],
                **quiet)  # type: ignore[call-overload]
            for _ in range(2)
        ]  # fmt: skip
        try:
            yield address, started
        finally:
            for worker in started:
                worker.kill()
                worker.wait()
    finally:
        scheduler.kill()
        scheduler.wait()


KILLS = """
import os, signal, sys
from diagnose.log.batch import machine_findings
from diagnose.log.cluster import cluster
from tests.log.tables import PLAIN
from tests.log.simulate import PLANTS, season
import numpy as np

plants = list(PLANTS.values())
jobs = []
for i in range(40):
    fault, *_ = plants[i % len(plants)](np.random.default_rng(i))
    events = season(i, [fault], name=f"Baler {i:02}").drop("machine")
    jobs.append((f"Baler {i:02}", events, PLAIN, 6))
with cluster(sys.argv[1]) as spread:
    results = iter(spread(jobs))
    there = [next(results)]
    os.kill(int(sys.argv[2]), signal.SIGKILL)
    there += results
np.set_printoptions(threshold=10**9)
same = [repr(a) == repr(machine_findings(job)) for a, job in zip(there, jobs)]
print(len(same), all(same))
"""


def test_a_cluster_gives_the_same_bytes_and_so_it_does_when_a_worker_is_killed(
    workers: tuple[str, list[subprocess.Popen[bytes]]],
) -> None:
    address, (first, _) = workers
    here = run(*SEASON, "--json").output
    command = [sys.executable, "-m", "diagnose", "log", *SEASON, "--json", "--cluster", address]
    there = subprocess.run(command, capture_output=True, text=True, check=False)
    assert there.stdout == here, there.stderr
    command = [sys.executable, "-c", KILLS, address, str(first.pid)]
    root = Path(__file__).parents[2]
    killed = subprocess.run(command, capture_output=True, text=True, check=False, cwd=root)
    assert killed.stdout.split() == ["40", "True"], killed.stderr
    assert first.wait(10) == -signal.SIGKILL


def test_nobody_at_the_clusters_address_is_told(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "diagnose", "log", str(season(tmp_path)),
               "--cluster", "tcp://127.0.0.1:9"]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 2
    assert "no scheduler there" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_machine_whose_codes_nobody_mapped_is_never_called_sound(tmp_path: Path) -> None:
    log = tmp_path / "mine.csv"
    lines = [f"2026-07-01T10:{i:02}:00,Mine,{i + 1},,{'K-MISS' if i % 5 else 'BALE'},"
             for i in range(40)]  # fmt: skip
    log.write_text("time,machine,bale,knotter,code,value\n" + "\n".join(lines) + "\n")
    result = run(str(log))
    assert result.return_value == 2
    assert "nothing wrong" not in result.output.lower()
    assert "NOT JUDGED; 40 entries of codes that nobody mapped" in " ".join(result.output.split())


def test_misses_of_bales_before_are_put_to_their_bales_and_none_is_lost(tmp_path: Path) -> None:
    log = tmp_path / "late.csv"
    log.write_text(HEAD + "2026-07-01T08:00:00,Mine,1012,3,tie_missed,\n"
                   "2026-07-01T08:01:00,Mine,1000,3,tie_missed,\n"
                   "2026-07-01T08:02:00,Mine,1001,3,tie_missed,\n"
                   "2026-07-01T08:03:00,Mine,1009,,bale,\n")  # fmt: skip
    told = " ".join(run(str(log)).output.split())
    assert "13 bales on 1 day, 3 of 78 ties missed" in told
    assert "began bale 1,0" not in told or "bale 1,000" in told


def test_a_database_given_as_a_log_is_told_and_not_read(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    path.write_bytes(b"SQLite format 3\x00\x10\r\x01,\r\x02\x00\n\xff\x00")
    result = run(str(path))
    assert result.return_value == 2
    assert "is this a log?" in " ".join(result.output.split())
