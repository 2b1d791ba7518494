"""Exchange files: exact, safe to read twice, and a merge that loses nothing."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.case import Case, Noted
from diagnose.casebook.exchange import Parcel, merge, pack, read_lines, read_parcel, to_lines
from diagnose.casebook.line import to_line
from diagnose.casebook.store import Casebook
from diagnose.casebook.versions import Copy
from diagnose.errors import InputError
from tests.casebook.samples import a_case, any_case, related_copies


def _file(casebook: Casebook, names: bool = True) -> bytes:
    return "".join(line + "\n" for line in to_lines(pack(casebook, names))).encode()


def _filled(where: str | Path, *cases: Case) -> bytes:
    with Casebook(where) as casebook:
        casebook.add(*cases)
        return _file(casebook)


def test_a_casebook_read_from_its_file_writes_the_same_file_again(
    where: str, elsewhere: str
) -> None:
    with Casebook(where) as casebook:
        casebook.add(a_case(1), a_case(2, cause=None), a_case(2, cause="knife_dull"))
        casebook.set_aside(Copy.of(a_case(2, cause="knife_dull")).content)
        exported = _file(casebook)
    with Casebook(elsewhere) as other:
        merge(other, read_lines(exported.splitlines(keepends=True), "file"))
        assert _file(other) == exported


@given(st.lists(any_case(), max_size=4))
def test_the_lines_of_any_cases_come_back_exactly(cases: list[Case]) -> None:
    text = "\n".join(to_lines(Parcel(tuple(cases)))).encode()
    back = read_lines(text.split(b"\n"), "file")
    assert sorted(back.cases, key=to_line) == sorted(cases, key=to_line)
    assert not back.rejected


def test_importing_twice_changes_nothing(where: str) -> None:
    parcel = Parcel((a_case(1), a_case(2)))
    with Casebook(where) as casebook:
        assert merge(casebook, parcel).news == {"new": 2}
        before = _file(casebook)
        again = merge(casebook, parcel)
        assert again.news == {"known": 2}
        assert again.conflicts == ()
        assert _file(casebook) == before


def test_names_are_left_out_unless_asked_for(where: str) -> None:
    named = a_case().model_copy(update={"customer": "a farm"})
    with Casebook(where) as casebook:
        casebook.add(named)
        assert b"N. N." not in _file(casebook, names=False)
        assert b"a farm" not in _file(casebook, names=False)
        assert b"N. N." in _file(casebook, names=True)


def test_a_file_without_names_coming_home_finds_its_case_and_keeps_the_names(where: str) -> None:
    with Casebook(where) as casebook:
        casebook.add(a_case())
        assert merge(casebook, pack(casebook, names=False)).news == {"known": 1}
        assert casebook.entries()[0].case.technician == "N. N."
        assert not casebook.entries()[0].conflict


def test_a_case_taken_further_elsewhere_comes_home_as_one_case(where: str) -> None:
    with Casebook(where) as casebook:
        casebook.add(a_case(cause=None))
        further = a_case(cause=None).with_event(Noted(text="rod fitted"))
        assert merge(casebook, Parcel((further,))).news == {"continued": 1}
        (entry,) = casebook.entries()
        assert entry.case == further


def test_a_conflict_is_named_and_both_copies_are_kept_and_travel_on(
    where: str, elsewhere: str
) -> None:
    mine, theirs = a_case(cause="trip_rod_worn"), a_case(cause="knife_dull")
    with Casebook(where) as casebook, Casebook(elsewhere) as other:
        casebook.add(mine)
        other.add(theirs)
        merged = merge(casebook, pack(other, names=True))
        assert merged.conflicts == (mine.id,)
        merge(other, pack(casebook, names=True))
        for either in (casebook, other):
            assert {copy.case.confirmed for copy in either.copies()[0]} == {
                "trip_rod_worn",
                "knife_dull",
            }


def test_a_settled_conflict_settles_it_in_the_other_casebook_too(
    where: str, elsewhere: str
) -> None:
    mine, theirs = a_case(cause="trip_rod_worn"), a_case(cause="knife_dull")
    with Casebook(where) as casebook, Casebook(elsewhere) as other:
        casebook.add(mine, theirs)
        other.add(mine, theirs)
        casebook.set_aside(Copy.of(theirs).content)
        merge(other, pack(casebook))
        assert other.entries()[0].confirmed == "trip_rod_worn"


@given(st.lists(related_copies(), min_size=3, max_size=3))
@settings(max_examples=8, deadline=None)
def test_merging_casebooks_in_any_order_gives_the_same_casebook(books: list[list[Case]]) -> None:
    files = set()
    for order in permutations(books):
        with TemporaryDirectory() as folder:
            cases = (case for book in order for case in book)
            files.add(_filled(Path(folder) / "merged.db", *cases))
    assert len(files) == 1


def test_another_casebooks_file_can_be_read_in_directly(tmp_path: Path) -> None:
    _filled(tmp_path / "other.db", a_case(1))
    assert read_parcel(tmp_path / "other.db").cases == (a_case(1),)


def test_lines_that_cannot_be_read_are_told_with_their_number_and_the_rest_is_taken() -> None:
    good = next(to_lines(Parcel((a_case(),)))).encode()
    parcel = read_lines([good, b'{"id": 3}\n', b"\n", b"\xff\n", good[:40]], "season.jsonl")
    assert parcel.cases == (a_case(),)
    assert [str(error).split(": ")[0] for error in parcel.rejected] == [
        "season.jsonl:2",
        "season.jsonl:4",
        "season.jsonl:5",
    ]


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="No such file"):
        read_parcel(tmp_path / "nothing.jsonl")
