"""The demo's season: whole, readable by the present rules, and as its README says."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.case import Case, Checked, Mended, Noted, NotKnown, NotNow, Proved
from diagnose.case.state import state_of
from diagnose.casebook.exchange import merge, read_parcel
from diagnose.casebook.line import to_line
from diagnose.casebook.replay import Solved, replay
from diagnose.casebook.store import Casebook
from diagnose.knowledge.load import load_rules
from diagnose.session import Reasoner

DEMO = Path(__file__).parents[2] / "casebook_demo"
FILES = sorted((DEMO / "cases").glob("*.jsonl"))
CASES = [case for path in FILES for case in read_parcel(path).cases]
BASE = load_rules()
ROLES = {"workshop foreman", "field technician", "driver", None}


def _by_id(ending: str) -> Case:
    return next(case for case in CASES if case.id == f"tgc-2026-{ending}")


def test_every_line_is_a_case_in_the_form_an_export_has() -> None:
    for path in FILES:
        parcel = read_parcel(path)
        assert not parcel.rejected
        assert path.read_text(encoding="utf-8") == "".join(to_line(c) + "\n" for c in parcel.cases)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_every_case_is_written_in_words_the_rules_know(case: Case) -> None:
    state = state_of(BASE, case)
    assert BASE.roles.make_safe in state.secured
    assert case.technician in ROLES


def test_the_season_has_at_least_forty_cases_over_all_mechanisms() -> None:
    assert len(CASES) >= 40
    led_to = {m for case in CASES if case.confirmed for m in BASE.causes[case.confirmed].leads}
    assert led_to == set(BASE.mechanisms)
    assert len({case.id for case in CASES}) == len(CASES)


def test_the_noise_that_the_readme_names_is_there() -> None:
    kinds = {type(event) for case in CASES for event in case.events}
    assert {NotKnown, NotNow, Noted} <= kinds
    failed = [c for c in CASES if any(isinstance(e, Proved) and e.failed for e in c.events)]
    assert {case.id[-2:] for case in failed} >= {"09", "34", "37", "38", "63"}
    for ending in ("17", "25", "29"):
        assert _by_id(ending).confirmed is None
    assert _by_id("53").confirmed == "something_else"
    assert _by_id("11").confirmed == "pawl_stuck"
    assert _by_id("43").confirmed == "trip_rod_worn"
    assert _by_id("31").confirmed == "needle_travel_short"


def test_many_cases_go_through_a_wrong_guess() -> None:
    def guessed_wrong(case: Case) -> bool:
        return any(isinstance(e, Checked) and e.found is None for e in case.events) or any(
            isinstance(e, Mended) and e.cause != case.confirmed for e in case.events
        )

    assert 0.3 < sum(map(guessed_wrong, CASES)) / len(CASES) < 0.5


def test_the_whole_season_goes_into_a_casebook_and_through_the_rules(where: str) -> None:
    with Casebook(where) as book:
        for path in FILES:
            merged = merge(book, read_parcel(path))
            assert not merged.conflicts
        solved = [Solved(case, cause) for case, cause in book.confirmed()]
    found = replay(Reasoner(BASE), solved)
    assert not found.left_out
    assert len(found.judged) == len(solved) == sum(c.confirmed is not None for c in CASES)
