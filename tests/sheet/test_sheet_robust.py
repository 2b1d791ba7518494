"""Whatever stands in a file, the answer is a sheet or a clear message, never a traceback."""

import json
from collections.abc import Callable
from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import read_machine
from diagnose.machine.units import parse_quantity
from diagnose.sheet.assess import assess
from diagnose.sheet.read import read_sheet
from diagnose.sheet.text import report_lines
from diagnose.twine import formulas

anything = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
WORDS = 'spring|travel|brake|1|6|7|0|-1|33|33,5|4 1/8"|1/0|105!|!|±|mm|in|N|nan|1e400||-|½|²|٣|#'
CELL = st.one_of(st.sampled_from([*WORDS.split("|"), "9" * 40]), st.text(max_size=8))
ROWS = st.lists(st.lists(CELL, min_size=1, max_size=6), max_size=6)


def _message(work: Callable[[], object]) -> str:
    """What the user is told; `done` where the work went through."""
    try:
        work()
    except InputError as error:
        return str(error)
    return "done"


@anything
@given(rows=ROWS, delimiter=st.sampled_from(",;\t"))
@example(rows=[["9" * 40, "spring", "33", "mm"]], delimiter=",")
@example(rows=[["²", "spring", "33", "mm"]], delimiter=",")
@example(rows=[["1", "spring", "33", "mm", "±"]], delimiter=";")
def test_any_csv_gives_a_report_or_a_message(
    tmp_path: Path, knowledge: Knowledge, rows: list[list[str]], delimiter: str
) -> None:
    header = delimiter.join(["knotter", "setting", "value", "unit", "uncertainty"])
    path = tmp_path / "s.csv"
    text = "\n".join([header, *(delimiter.join(row) for row in rows)])
    path.write_bytes(text.encode("utf-8", errors="replace"))
    told = _message(
        lambda: list(report_lines(assess(read_sheet(path, knowledge), knowledge, None)))
    )
    assert told == "done" or "s.csv" in told


@anything
@given(raw=st.binary(max_size=200), name=st.sampled_from(["s.csv", "s.yaml", "s.json"]))
def test_any_bytes_give_a_sheet_or_a_message(
    tmp_path: Path, knowledge: Knowledge, raw: bytes, name: str
) -> None:
    path = tmp_path / name
    path.write_bytes(raw)
    told = _message(lambda: read_sheet(path, knowledge))
    assert told == "done" or name in told
    assert name in _message(lambda: read_machine(path, knowledge))


@anything
@given(
    value=st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=6), st.lists(CELL)
    ),
    key=st.sampled_from(["setting", "knotter", "value", "unit", "uncertainty", "note"]),
)
def test_any_value_in_a_reading_gives_a_report_or_a_message(
    tmp_path: Path, knowledge: Knowledge, value: object, key: str
) -> None:
    reading = {"setting": "spring", "knotter": 1, "value": "33 mm", key: value}
    path = tmp_path / "s.json"
    path.write_text(json.dumps({"readings": [reading]}), encoding="utf-8")
    told = _message(
        lambda: list(report_lines(assess(read_sheet(path, knowledge), knowledge, None)))
    )
    assert told == "done" or "s.json" in told


@given(st.one_of(CELL, st.text()))
def test_any_text_is_a_quantity_or_refused(text: str) -> None:
    assert _message(lambda: parse_quantity(text, "mm"))
    assert _message(lambda: formulas.parse_sizes(text))
