"""The schedule brings things back when FSRS says, and the store keeps what it is told."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Barrier

import pytest
from click.testing import CliRunner
from fsrs import Card, Rating

from diagnose.cli.main import cli
from diagnose.errors import InputError, StoreError
from diagnose.train.play import Move
from diagnose.train.schedule import (
    SCHEDULER,
    due,
    rating_of_case,
    recall,
    reviewed,
    sits,
)
from diagnose.train.store import Practice, Progress, Review

START = datetime(2025, 1, 1, tzinfo=UTC)


def test_ten_reviews_all_good_at_their_due_time_give_the_published_package_s_intervals() -> None:
    """fsrs 6.3.2, default parameters, run on its own: 10 min, then 2, 11, 46, 163, 498 days."""
    cards: dict[str, Card] = {}
    now, intervals = START, []
    for _ in range(10):
        review = reviewed(cards, "cause:brake_tight", Rating.Good, now)
        cards[review.item] = review.card
        intervals.append(review.card.due - now)
        now = review.card.due
    assert intervals[0] == timedelta(minutes=10)
    assert [gap.days for gap in intervals[1:6]] == [2, 11, 46, 163, 498]


def test_the_same_practice_gives_the_same_days() -> None:
    assert not SCHEDULER.enable_fuzzing


def test_what_was_missed_comes_back_before_what_was_known() -> None:
    cards: dict[str, Card] = {}
    for name, rating in (("a", Rating.Good), ("b", Rating.Again), ("c", Rating.Easy)):
        cards[name] = reviewed(cards, name, rating, START).card
    assert due(cards, START) == []
    assert due(cards, START + timedelta(minutes=2)) == ["b"]
    assert due(cards, START + timedelta(minutes=11)) == ["b", "a"]
    assert "c" not in due(cards, START + timedelta(days=2))


def test_recall_falls_with_the_days_and_is_nothing_for_what_was_never_met() -> None:
    cards = {"a": reviewed({}, "a", Rating.Easy, START).card}
    chances = [recall(cards, "a", START + timedelta(days=days)) for days in (0, 8, 60)]
    assert chances[0] > chances[1] > chances[2] > 0
    assert recall(cards, "z", START) == 0


def test_a_thing_sits_once_it_is_past_its_first_repeats() -> None:
    first = reviewed({}, "a", Rating.Good, START)
    assert not sits({"a": first.card}, ["a"])
    second = reviewed({"a": first.card}, "a", Rating.Good, first.card.due)
    assert sits({"a": second.card}, ["a"])
    assert not sits({"a": second.card}, ["a", "b"])


@pytest.mark.parametrize(
    ("end", "wrong", "hints", "score", "rating"),
    [
        ("unsafe", 0, 0, 100, Rating.Again),
        ("called", 0, 0, 80, Rating.Again),
        ("found", 1, 0, 90, Rating.Again),
        ("found", 0, 1, 95, Rating.Hard),
        ("found", 0, 0, 40, Rating.Hard),
        ("found", 0, 0, 70, Rating.Good),
        ("found", 0, 0, 95, Rating.Easy),
    ],
)
def test_a_case_is_rated_by_its_end_its_guesses_its_hints_and_its_score(
    end: str, wrong: int, hints: int, score: int, rating: Rating
) -> None:
    assert rating_of_case(end, wrong, hints, score) == rating


def _practice(right: bool = True) -> Practice:
    return Practice(START, "look", "pinched", "12", right, mechanism="pinched", rules="abc")


def test_practice_reviews_and_cards_come_back_as_they_were_kept(tmp_path: Path) -> None:
    review = reviewed({}, "mechanism:pinched", Rating.Good, START)
    with Progress(tmp_path / "p.db") as progress:
        progress.record("Anna", _practice(), [review], close=False)
        progress.keep_open("Anna", "77", [Move("ask", "tails"), Move("hint")], "abc")
    with Progress(tmp_path / "p.db") as progress:
        assert progress.practices("Anna") == [_practice()]
        assert progress.cards("Anna") == {review.item: review.card}
        assert progress.reviews("Anna") == [(review.item, review.log)]
        assert progress.open_case("Anna") == ("77", [Move("ask", "tails"), Move("hint")], "abc")


def test_learners_are_kept_apart_and_one_is_deleted_for_good(tmp_path: Path) -> None:
    path = tmp_path / "p.db"
    review = reviewed({}, "mechanism:pinched", Rating.Good, START)
    with Progress(path) as progress:
        progress.record("Anna Quist", _practice(), [review], close=False)
        progress.record("Bo", _practice(False), [], close=False)
        progress.keep_open("Anna Quist", "77", [], "abc")
        assert progress.learners() == ["Anna Quist", "Bo"]
        progress.delete("Anna Quist")
        assert progress.learners() == ["Bo"]
        assert progress.cards("Anna Quist") == {}
        assert progress.open_case("Anna Quist") is None
        assert progress.practices("Bo") == [_practice(False)]
    assert b"Quist" not in path.read_bytes()


def test_an_export_is_all_of_one_learner_as_json(tmp_path: Path) -> None:
    review = reviewed({}, "mechanism:pinched", Rating.Good, START)
    with Progress(tmp_path / "p.db") as progress:
        progress.record("Anna", _practice(), [review], close=False)
        data = json.loads(json.dumps(progress.export("Anna")))
    assert data["practices"][0]["item"] == "pinched"
    assert Card.from_dict(data["cards"]["mechanism:pinched"]) == review.card
    assert data["reviews"][0]["rating"] == Rating.Good


def test_somebody_unknown_is_named_with_the_nearest(tmp_path: Path) -> None:
    with Progress(tmp_path / "p.db") as progress:
        progress.record("Anna", _practice(), [], close=False)
        with pytest.raises(InputError, match="did you mean 'Anna'"):
            progress.export("Ana")


def test_a_file_that_is_no_progress_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "text.db").write_text("not a database at all, but long enough to be read")
    with pytest.raises(StoreError, match=r"text\.db"):
        Progress(tmp_path / "text.db")
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE things (a)")
    other.close()
    with pytest.raises(StoreError, match="another program"):
        Progress(tmp_path / "other.db")
    newer = sqlite3.connect(tmp_path / "newer.db")
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    with pytest.raises(StoreError, match="newer"):
        Progress(tmp_path / "newer.db")


def test_a_failed_record_leaves_nothing_half_kept(tmp_path: Path) -> None:
    broken = Review("mechanism:pinched", None, None)  # type: ignore[arg-type]
    with Progress(tmp_path / "p.db") as progress:
        with pytest.raises(AttributeError):
            progress.record("Anna", _practice(), [broken], close=False)
        assert progress.learners() == []


KILLED = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from threading import Barrier
from diagnose.train.store import Practice, Progress
with Progress(Path(sys.argv[1])) as progress:
    for number in range(10_000):
        look = Practice(datetime(2025, 1, 1, tzinfo=UTC), "look", "pinched", str(number), True)
        progress.record("Anna", look, [], close=False)
        print(number, flush=True)
"""


def test_what_was_told_kept_survives_a_killed_program(tmp_path: Path) -> None:
    for round_ in range(5):
        path = tmp_path / f"{round_}.db"
        writer = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        told = -1
        for _ in range(3 + round_ * 7):
            told = int(writer.stdout.readline())
        writer.kill()
        rest = writer.stdout.read().split()
        writer.wait()
        writer.stdout.close()
        told = max([told, *(int(number) for number in rest if number.isdigit())])
        with Progress(path) as progress:
            kept = [int(practice.code) for practice in progress.practices("Anna")]
        assert kept == list(range(len(kept)))
        assert len(kept) > told


def test_a_new_file_opened_by_many_at_once_is_made_once(tmp_path: Path) -> None:
    for number in range(20):
        path, together = tmp_path / f"{number}.db", Barrier(4)

        def opened(path: Path = path, together: Barrier = together) -> list[str]:
            together.wait()
            with Progress(path) as progress:
                return progress.learners()

        with ThreadPoolExecutor(4) as pool:
            assert [one.result() for one in [pool.submit(opened) for _ in range(4)]] == [[]] * 4


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    script = KILLED.replace("10_000", "40")
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", script, str(tmp_path / "p.db")], stdout=subprocess.DEVNULL
        )
        for _ in range(2)
    ]
    assert [writer.wait() for writer in writers] == [0, 0]
    with Progress(tmp_path / "p.db") as progress:
        assert len(progress.practices("Anna")) == 80


def test_a_row_that_cannot_be_read_is_set_aside_and_named_and_the_rest_works(
    tmp_path: Path,
) -> None:
    path = tmp_path / "progress.db"
    practised = Practice(START, "look", "not_laid", "7", True, mechanism="not_laid")
    with Progress(path) as kept:
        for _ in range(3):
            kept.record("Ann", practised, close=False)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE practice SET data = '{' WHERE id = 2")
        db.execute("INSERT INTO card VALUES ('Ann', 'cause:x', 'nonsense')")
        db.execute("INSERT INTO review (learner, item, log) VALUES ('Ann', 'cause:x', '[]')")
        db.execute("INSERT INTO open_case VALUES ('Ann', '7', '[[1', 'rules')")
    db.close()
    with Progress(path) as kept:
        assert kept.practices("Ann") == [practised, practised]
        assert kept.cards("Ann") == {}
        assert kept.reviews("Ann") == []
        assert kept.open_case("Ann") is None
        assert set(kept.unread) == {
            "practice 2 of Ann",
            "card cause:x of Ann",
            "review 1 of Ann",
            "open case of Ann",
        }
    told = CliRunner().invoke(
        cli, ["train", "--progress", str(path), "--learner", "Ann", "progress"]
    )
    assert told.exit_code == 0, told.output
    assert "practice 2 of Ann" in told.output


def test_a_clock_set_back_makes_no_review_before_the_last() -> None:
    first = reviewed({}, "cause:x", Rating.Good, START)
    again = reviewed({"cause:x": first.card}, "cause:x", Rating.Good, START - timedelta(days=40))
    assert again.card.last_review is not None
    assert again.card.last_review >= START
    assert again.card.due > START
