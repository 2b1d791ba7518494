"""How a case stands, from any set of copies."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from diagnose.case import Case, Noted
from diagnose.casebook.versions import Copy, continues, entry
from tests.casebook.samples import a_case, related_copies

COPIES = related_copies()


def _copies(*cases: Case) -> list[Copy]:
    return [Copy.of(case) for case in cases]


@given(COPIES)
def test_continuing_is_a_partial_order(cases: list[Case]) -> None:
    for a in cases:
        assert not continues(a, a)
        for b in cases:
            assert not (continues(a, b) and continues(b, a))
            for c in cases:
                if continues(a, b) and continues(b, c):
                    assert continues(a, c)


@given(COPIES, st.randoms(use_true_random=False))
def test_how_a_case_stands_depends_on_neither_order_nor_repeats(
    cases: list[Case], chance: random.Random
) -> None:
    copies = _copies(*(case for case in cases if case.id == "one"))
    shuffled = copies * 2
    chance.shuffle(shuffled)
    assert entry(copies) == entry(shuffled)


@given(COPIES)
def test_every_copy_stands_or_is_continued_by_one_that_stands(cases: list[Case]) -> None:
    copies = _copies(*(case for case in cases if case.id == "one"))
    found = entry(copies)
    standing = found.copies if found else ()
    for copy in copies:
        assert any(
            copy.content == other.content or continues(other.case, copy.case) for other in standing
        )


def test_a_later_state_replaces_the_earlier() -> None:
    before = a_case(cause=None)
    after = before.with_event(Noted(text="the rod is on order"))
    found = entry(_copies(after, before))
    assert found is not None
    assert found.cases == (after,)
    assert not found.conflict


def test_two_copies_that_went_different_ways_are_a_conflict_and_both_stand() -> None:
    start = a_case(cause=None)
    mine, theirs = (start.with_event(Noted(text=text)) for text in ("clean", "worn"))
    found = entry(_copies(start, mine, theirs))
    assert found is not None
    assert found.conflict
    assert set(found.cases) == {mine, theirs}


def test_a_conflict_about_the_cause_confirms_neither() -> None:
    found = entry(_copies(a_case(cause="trip_rod_worn"), a_case(cause="knife_dull")))
    assert found is not None
    assert found.confirmed is None


def test_a_name_left_out_by_one_copy_is_known_from_the_other() -> None:
    named = a_case(cause=None)
    later = named.model_copy(update={"technician": None}).with_event(Noted(text="done"))
    found = entry(_copies(named, later))
    assert found is not None
    assert found.case.technician == "N. N."
    assert not found.conflict


def test_two_names_for_one_case_are_a_conflict() -> None:
    named = a_case()
    found = entry(_copies(named, named.model_copy(update={"technician": "M. M."})))
    assert found is not None
    assert found.conflict
    assert found.technicians == ("M. M.", "N. N.")


def test_setting_one_of_two_rivals_aside_settles_the_conflict() -> None:
    mine, theirs = _copies(a_case(cause="trip_rod_worn"), a_case(cause="knife_dull"))
    found = entry([mine, theirs], frozenset({mine.content}))
    assert found is not None
    assert found.confirmed == "knife_dull"
    assert entry([mine], frozenset({mine.content})) is None
