"""Every line of an event file is used, ignored with a reason or rejected with its place."""

from __future__ import annotations

import gzip
import json
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.log import event_blocks
from diagnose.log.batch import machine_findings
from diagnose.log.event_blocks import parse_csv, parse_json
from diagnose.log.fleet import Fleet
from diagnose.log.read import Wanted, read_events
from diagnose.log.rows import COLUMNS, Layout, Row, csv_row, json_row
from diagnose.log.tally import Tally, write_rejects
from tests.log.tables import PLAIN
from tests.log.tables import table as table_of

HEAD = "time,machine,bale,knotter,code,value\n"
GOOD = "2026-07-21T14:03:00,Baler C,13,4,tie_missed,\n"


def read(path: Path, **known: object) -> tuple[list[tuple[object, ...]], Tally]:
    tally = Tally()
    tables = list(read_events([path], Wanted(**{"table": PLAIN, **known}), tally))  # type: ignore[arg-type]
    return [row for table in tables for row in table.rows()], tally


def test_a_good_line_becomes_an_event(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(HEAD + GOOD)
    rows, tally = read(path)
    assert rows == [(datetime(2026, 7, 21, 14, 3), "Baler C", 13, 4, "tie_missed", None)]
    assert (tally.read, tally.used, tally.rejected) == (1, 1, 0)


BAD = {
    "2026-07-21T25:03:00,Baler C,13,4,tie_missed,": "time '2026-07-21T25:03:00' is not",
    ",Baler C,13,4,tie_missed,": "no time",
    "2026-07-21T14:03:00,,13,4,tie_missed,": "no machine name",
    "2026-07-21T14:03:00,Baler C,minus,4,tie_missed,": "bale count 'minus'",
    "2026-07-21T14:03:00,Baler C,-3,4,tie_missed,": "bale count '-3'",
    "2026-07-21T14:03:00,Baler C,99999999999,4,tie_missed,": "bale count '99999999999'",
    "2026-07-21T14:03:00,Baler C,13,0,tie_missed,": "knotter '0'",
    "2026-07-21T14:03:00,Baler C,13,x,tie_missed,": "knotter 'x'",
    "2026-07-21T14:03:00,Baler C,13,9,tie_missed,": "knotter 9 on a machine of 6 knotters",
    "2026-07-21T14:03:00,Baler C,13,4,,": "no code",
    "2026-07-21T14:03:00,Baler C,13,4,tie_missed,much": "value 'much'",
    "2026-07-21T14:03:00,Baler C,13,4": "4 fields where the heading names 6",
    "2026-07-21T14:03:00,Baler C,13,4,tie_missed,,7": "7 fields where the heading names 6",
    '2026-07-21T14:03:00,"Baler C,13,4,tie_missed,': "quotes that do not close",
    "2026-07-21T14:03:00,Baler\x07C,13,4,tie_missed,": "not printable",
}


@pytest.mark.parametrize("line", BAD)
def test_a_bad_line_is_kept_with_its_number_and_reason_and_the_rest_is_read(
    tmp_path: Path, line: str
) -> None:
    path = tmp_path / "a.csv"
    path.write_text(HEAD + GOOD * 7 + line + "\n" + GOOD * 5)
    rows, tally = read(path)
    assert len(rows) == 12
    [reject] = tally.rejects
    assert reject.line == 9
    assert reject.reason.startswith(BAD[line]) or BAD[line] in reject.reason
    assert reject.raw == line
    assert (tally.read, tally.used, tally.rejected) == (13, 12, 1)


def test_the_same_bad_values_are_rejected_in_json_lines(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    good = {"time": "2026-07-21 14:03:00", "machine": "Baler C", "bale": 13, "code": "bale"}
    bad = [good | change for change in ({"knotter": 9}, {"bale": 2.5}, {"time": 7}, {"code": None})]
    lines = [*map(json.dumps, [good, *bad, good | {"bale": "14", "knotter": "3"}]), '{"time', "[1]"]
    path.write_text("\n".join(lines) + "\n\n")
    rows, tally = read(path)
    assert [row[2:4] for row in rows] == [(13, None), (14, 3)]
    assert [reject.line for reject in tally.rejects] == [2, 3, 4, 5, 7, 8]
    assert dict(tally.ignored) == {"blank line": 1}
    assert tally.read == 9


def test_parquet_rows_are_held_to_the_same_rules(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    pl.DataFrame(
        {
            "time": [datetime(2026, 7, 21, 14, 3), None, datetime(2026, 7, 21, 15)],
            "machine": ["Baler C"] * 3,
            "bale": [13, 14, 15],
            "knotter": [4, 4, 9],
            "code": ["tie_missed", "bale", "tie_missed"],
        }
    ).write_parquet(path)
    rows, tally = read(path)
    assert len(rows) == 1
    assert [reject.line for reject in tally.rejects] == [2, 3]


def test_other_headings_separators_and_times_are_understood(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(
        "Alarm;Timestamp;Bale_count;remark\n"
        "E1;2026-07-21 14:03:00;13;hello\n"
        "E1;2026-07-21T14:03:00.250;14;\n"
        "E1;2026-07-21T16:03:00+02:00;15;x\n"
        "E1;2026-07-21T14:03:00Z;16;x\n"
        "E1;2026-07-21;17;x\n"
    )
    rows, tally = read(path, columns={"code": "alarm"}, machine="Baler B")
    assert tally.rejected == 0
    assert [row[0] for row in rows] == [
        datetime(2026, 7, 21, 14, 3),
        datetime(2026, 7, 21, 14, 3, 0, 250_000),
        *[datetime(2026, 7, 21, 14, 3)] * 2,
        datetime(2026, 7, 21),
    ]
    assert {row[1] for row in rows} == {"Baler B"}


def test_a_file_without_the_needed_columns_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    bad, good = tmp_path / "bad.csv", tmp_path / "good.csv"
    bad.write_text("when,what\n1,2\n")
    good.write_text(HEAD + GOOD)
    tally = Tally()
    tables = list(read_events([bad, good], Wanted(PLAIN), tally))
    assert sum(table.height for table in tables) == 1
    assert tally.unreadable == [str(bad)]
    assert "no column 'time'" in tally.rejects[0].reason


def test_mixed_encodings_name_the_same_machine(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    line = GOOD.replace("Baler C", "Bäler Ö")
    path.write_bytes(HEAD.encode() + line.encode() * 3 + line.encode("cp1252") * 2)
    rows, tally = read(path)
    assert {row[1] for row in rows} == {"Bäler Ö"}
    assert (tally.read, tally.used) == (5, 5)


def test_a_heading_repeated_and_blank_lines_are_ignored_with_their_reason(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(HEAD + GOOD + "\n" + HEAD + GOOD)
    rows, tally = read(path)
    assert len(rows) == 2
    assert dict(tally.ignored) == {"blank line": 1, "heading repeated": 1}
    assert tally.read == tally.used + 2


def test_a_cut_off_gzip_is_rejected_at_its_end_and_its_whole_lines_used(tmp_path: Path) -> None:
    path = tmp_path / "a.csv.gz"
    lines = [GOOD.replace(",13,", f",{i},") for i in range(5000)]
    packed = gzip.compress((HEAD + "".join(lines)).encode())
    path.write_bytes(packed[: len(packed) // 2])
    rows, tally = read(path)
    assert 0 < len(rows) < 5000
    assert len(rows) == tally.used
    [reject] = tally.rejects
    assert "ends too early" in reject.reason
    assert reject.line == len(rows) + 2


def test_a_machine_of_four_knotters_is_known_from_the_code_table(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(HEAD + GOOD + GOOD.replace(",4,", ",5,"))
    table = table_of(machines={"Baler C": {"knotters": 4}})
    rows, tally = read(path, table=table, knotters=6)
    assert len(rows) == 1
    assert tally.rejects[0].reason == "knotter 5 on a machine of 4 knotters"


def test_files_delivered_twice_count_once(tmp_path: Path) -> None:
    paths = [tmp_path / "a.csv", tmp_path / "b.csv"]
    lines = [GOOD.replace("14:03:00", f"14:03:{i:02}") for i in range(50)]
    paths[0].write_text(HEAD + "".join(lines))
    paths[1].write_text(HEAD + "".join(lines[20:]) + GOOD.replace("14:03:00", "15:00:00"))
    tally, fleet = Tally(), Fleet()
    for table in read_events(paths, Wanted(PLAIN), tally):
        fleet.add(table)
    [(name, events)] = fleet.machines()
    log = machine_findings((name, events, PLAIN, 6)).log
    assert tally.read == 81
    assert log.ignored == {"delivered twice": 30}
    assert log.events == 51


CELLS = st.one_of(
    st.sampled_from(["", " ", "4", "9", "-1", "13", "1e3", "2.0", '"', "Baler C", "tie_missed",
                     "2026-07-21T14:03:00", "2026-07-21", "ä", "\x00", "nan"]),
    st.text(st.characters(exclude_characters="\r\n", exclude_categories=["Cs"]), max_size=6),
)  # fmt: skip


@given(st.lists(st.lists(CELLS, min_size=5, max_size=7), min_size=1, max_size=30))
@settings(max_examples=150, deadline=None)
def test_blocks_and_single_lines_accept_the_same_and_lose_no_line(table: list[list[str]]) -> None:
    layout = Layout(COLUMNS, dict(zip(COLUMNS, COLUMNS, strict=True)), knotters=6)
    lines = [",".join(cells).encode() for cells in table]
    lines += [GOOD.strip().encode()] * 40
    data = b"\n".join(lines) + b"\n"
    whole = parse_csv(data, 2, layout)
    single = [csv_row(line, layout) for line in lines]
    assert whole.lines == len(lines)
    got = [row for events in whole.events for row in events.select("bale", "knotter").rows()]
    wanted = [row for row in single if isinstance(row, Row)]
    assert got == [(row.bale, row.knotter) for row in wanted]
    assert len(whole.rejects) + len(whole.ignored) == len(lines) - len(wanted)
    assert [n for n, _, _ in whole.rejects] == [
        n for n, row in enumerate(single, 2) if not isinstance(row, Row) and row.rejected
    ]


@given(st.lists(st.dictionaries(st.sampled_from(COLUMNS), st.one_of(
    CELLS, st.integers(-5, 20), st.floats(allow_nan=False), st.none(), st.booleans(),
    st.lists(st.integers(), max_size=1)), max_size=6), min_size=1, max_size=20))  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_json_blocks_lose_no_line_either(records: list[dict[str, object]]) -> None:
    layout = Layout((), dict(zip(COLUMNS, COLUMNS, strict=True)), knotters=6)
    lines = [json.dumps(record).encode() for record in records]
    whole = parse_json(b"\n".join(lines) + b"\n", 1, layout)
    kept = sum(events.height for events in whole.events)
    assert kept + len(whole.rejects) + len(whole.ignored) == whole.lines == len(lines)
    strict = sum(isinstance(json_row(line, layout), Row) for line in lines)
    assert kept >= strict


def test_a_json_block_that_polars_reads_as_text_is_read_line_by_line() -> None:
    layout = Layout((), dict(zip(COLUMNS, COLUMNS, strict=True)), knotters=6)
    parsed = parse_json(b'{"knotter": 7}\n', 1, layout)
    assert (parsed.lines, len(parsed.rejects)) == (1, 1)


def test_the_careful_way_is_taken_only_where_needed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = []

    def counted(raw: bytes, layout: Layout) -> object:
        calls.append(raw)
        return csv_row(raw, layout)

    monkeypatch.setattr(event_blocks, "csv_row", counted)
    path = tmp_path / "a.csv"
    path.write_text(HEAD + GOOD * 20_000 + "broken\n" + GOOD * 20_000)
    _, tally = read(path)
    assert tally.rejects[0].line == 20_002
    assert len(calls) < 200


def test_rejects_are_written_with_file_line_reason_and_text(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(HEAD + "broken\n")
    _, tally = read(path)
    out = tmp_path / "rejects.csv"
    write_rejects(out, tally.rejects)
    head, row = out.read_text().splitlines()
    assert head == "file,line,reason,text"
    assert row == f"{path},2,1 fields where the heading names 6,broken"
