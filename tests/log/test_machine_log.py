"""Clocks that jump, counters that reset, entries in the wrong order: bales counted all the same."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.log.codes import CodeTable
from diagnose.log.event_blocks import EVENTS, events_of
from diagnose.log.fleet import Fleet
from diagnose.log.machine_log import MachineLog, machine_log
from diagnose.log.ordering import put_in_order
from diagnose.log.rows import Row
from tests.log.tables import PLAIN
from tests.log.tables import table as table_of

START = datetime(2026, 7, 1, 8)


def bales(first: int, last: int, start: datetime = START) -> list[Row]:
    return [
        Row(start + timedelta(minutes=i), "Baler A", count, None, "bale", None)
        for i, count in enumerate(range(first, last + 1))
    ]


def log_of(rows: list[Row], table: CodeTable | None = None) -> MachineLog:
    events = events_of(rows).drop("machine")
    return machine_log("Baler A", events, table or PLAIN, 6)


def accounted(log: MachineLog, rows: list[Row]) -> bool:
    return log.events + sum(log.ignored.values()) == len(rows)


def test_bales_are_counted_from_the_counter() -> None:
    rows = bales(101, 300)
    assert log_of(rows).bales == 200
    assert log_of(rows[::3]).bales == 199  # only every third logged: the counter tells


def test_shuffled_events_are_sorted_by_time() -> None:
    rows = bales(1, 500)
    order = np.random.default_rng(1).permutation(len(rows))
    log = log_of([rows[i] for i in order])
    assert log.bales == 500
    assert "events out of order, sorted" in log.notes[0]
    assert accounted(log, rows)


def test_a_counter_reset_goes_on_counting() -> None:
    rows = bales(900, 1099) + bales(0, 299, START + timedelta(days=1))
    log = log_of(rows)
    assert log.bales == 500
    assert any("reset" in note for note in log.notes)
    assert log.bale_count(0) == 900
    assert log.bale_count(log.bales - 1) == 299


def test_a_clock_set_back_does_not_count_as_new_bales() -> None:
    rows = bales(1, 200) + bales(201, 300, START + timedelta(hours=1)) + bales(
        301, 400, START + timedelta(hours=9))  # fmt: skip
    log = log_of(rows)
    assert log.bales == 400
    assert any("clock" in note for note in log.notes)
    assert accounted(log, rows)


def test_one_count_out_of_line_is_left_out_with_its_reason() -> None:
    rows = bales(1, 300)
    rows[150] = rows[150]._replace(bale=999_999_999)
    log = log_of(rows)
    assert log.bales == 300
    assert log.ignored == {"bale count out of line with its neighbours": 1}
    assert accounted(log, rows)


def test_bales_missing_from_a_whole_log_are_not_taken_as_sound() -> None:
    rows = bales(1, 300) + bales(900, 1200, START + timedelta(days=2))
    log = log_of(rows)
    assert log.bales == 601
    assert "599 bales not in the log and not counted" in log.notes


def test_an_event_without_count_takes_the_count_before_it() -> None:
    rows = bales(1, 100)
    rows.insert(
        50, Row(rows[49].time + timedelta(seconds=5), "Baler A", None, 3, "tie_missed", None)
    )
    log = log_of(rows)
    assert log.bale_count(int(log.position[0])) == 50
    assert log.knotter.tolist() == [3]


def test_without_any_count_events_are_kept_and_no_rate_is_claimed() -> None:
    rows = [
        Row(START + timedelta(minutes=i), "Baler A", None, 4, "tie_missed", None) for i in range(9)
    ]
    log = log_of(rows)
    assert log.bales == 0
    assert len(log.position) == 9
    assert "no bale counts, so no rates" in log.notes


def test_stops_are_the_first_bales_after_a_pause() -> None:
    rows = bales(1, 60) + bales(61, 100, START + timedelta(hours=3))
    assert log_of(rows).stops.tolist() == [60]


def test_marks_meanings_and_unmapped_codes_are_told_apart() -> None:
    table = table_of(
        codes={"77": {"code": "twine_out", "knotter": 2}, "DOOR": {"ignore": "no fault"}}
    )
    rows = bales(1, 50)
    for code in ("77", "DOOR", "???", "???", "service_done"):
        rows.append(Row(rows[-1].time + timedelta(seconds=1), "Baler A", 50, None, code, None))
    log = log_of(rows, table)
    assert log.unmapped == {"???": 2}
    assert log.ignored == {"code not in the code table": 2, "left out by the code table": 1}
    assert log.marks == ((49, "service_done"),)
    assert (log.codes[log.code[0]], log.knotter[0]) == ("twine_out", 2)
    assert accounted(log, rows)


def test_the_same_fault_of_a_tie_counts_once_and_a_repeated_line_is_told() -> None:
    rows = bales(1, 50)
    fault = Row(rows[9].time, "Baler A", 10, 4, "tie_missed", None)
    again = fault._replace(time=fault.time + timedelta(seconds=3))
    log = log_of([*rows[:10], fault, fault, again, *rows[10:]])
    assert len(log.position) == 1
    assert log.ignored == {"delivered twice": 1}


@given(st.lists(st.tuples(st.integers(0, 10**6), st.integers(-1, 4000)), min_size=1, max_size=60))
@settings(deadline=None)
def test_whatever_comes_every_event_has_a_place_or_a_reason(pairs: list[tuple[int, int]]) -> None:
    time = np.array([t for t, _ in pairs], dtype=np.int64)
    count = np.array([c for _, c in pairs], dtype=np.int64)
    order = put_in_order(time, count)
    assert len(order.rows) + order.out_of_line == len(pairs)
    assert len(np.unique(order.rows)) == len(order.rows)
    assert len(order.position) == len(order.rows)


@pytest.mark.parametrize("woven", [True, False])
def test_a_fleet_keeps_each_machines_events_in_order(woven: bool) -> None:
    rows = [
        Row(START + timedelta(seconds=i), f"Baler {'AB'[i % 2]}", i, None, "bale", None)
        for i in range(40)
    ]
    events = events_of(rows if woven else sorted(rows, key=lambda row: row.machine))
    fleet = Fleet()
    fleet.add(events)
    fleet.add(events.clear())
    got = {name: part["bale"].to_list() for name, part in fleet.machines()}
    assert got == {"Baler A": list(range(0, 40, 2)), "Baler B": list(range(1, 40, 2))}
    assert set(EVENTS) - {"machine"} == set(pl.DataFrame(schema=EVENTS).drop("machine").columns)
