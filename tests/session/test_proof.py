"""What proves a cure: how many clean trials, and what counts as one."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.bale.answers import events_from
from diagnose.case import Case, Checked, Machine, MadeSafe, Mended, Proved, Seen
from diagnose.knowledge import Knowledge
from diagnose.say import lines, text
from diagnose.session import Diagnosis, Reasoner, diagnose
from diagnose.session.proof import by_luck, clean_trials_needed, luck_text
from diagnose.views.diagnosis import diagnosis_view
from diagnose.views.record import record_view
from diagnose.views.step import step_view


def mended(reasoner: Reasoner, cause: str, *more: Proved, knotters: int | None = 6) -> Diagnosis:
    """A baler whose strands all fail now and then, a check that found `cause`, set right."""
    check = next(n for n, c in reasoner.base.checks.items() if cause in c.confirms)
    seen = {"hangs": "runs_back", "which": "all", "often": "now_and_then"}
    events = (
        *(Seen(sign=sign, answers=(answer,)) for sign, answer in seen.items()),
        Checked(check=check, found=cause),
        MadeSafe(),
        Mended(cause=cause),
        *more,
    )
    return diagnose(reasoner, Case(id="t", machine=Machine(knotters=knotters), events=events))


@pytest.mark.parametrize(
    ("rate", "trials"),
    [(1 / 20, 59), (3 / 50, 49), (0.01, 299), (0.001, 2995)],
)
def test_the_trials_needed_are_those_of_the_rule_of_three(rate: float, trials: int) -> None:
    """No failure in n trials: 95 % upper bound 1 - .05^(1/n) (Hanley and Lippman-Hand, JAMA 249,
    1983; from memory); the numbers computed from it exactly."""
    assert clean_trials_needed(rate) == trials
    assert 1 - 0.05 ** (1 / trials) <= rate < 1 - 0.05 ** (1 / (trials - 1))


def test_what_a_short_count_leaves_open() -> None:
    """The same bound: ten clean trials leave the rate below 26 %, nine below 28 %."""
    assert pytest.approx(0.2589, abs=5e-5) == 1 - 0.05 ** (1 / 10)
    assert by_luck(0.2589, 10) == pytest.approx(0.05, abs=1e-4)
    assert by_luck(0.2831, 9) == pytest.approx(0.05, abs=1e-4)
    assert luck_text(by_luck(1 / 20, 3)) == "86 of 100"
    assert luck_text(by_luck(1 / 20, 59)) == "5 of 100"
    assert luck_text(by_luck(0.3, 59)) == "fewer than 1 of 100"
    # Share of bales with a bad tie at one in a thousand: .599 % of 6 ties, 1.193 % of 12 (exact).
    assert 1 - by_luck(0.001, 6) == pytest.approx(0.00599, abs=5e-6)
    assert 1 - by_luck(0.001, 12) == pytest.approx(0.01193, abs=5e-6)


@given(st.floats(0.001, 0.99))
def test_the_trials_needed_are_the_fewest_that_luck_seldom_gives(rate: float) -> None:
    n = clean_trials_needed(rate)
    assert by_luck(rate, n) <= 0.05 + 1e-9
    assert n == 1 or by_luck(rate, n - 1) > 0.05


# Common practice, no source: what acts on the whole cycle is one try a bale, however many strands.
@pytest.mark.parametrize(
    ("cause", "trial", "bales"),
    [
        ("trip_rod_worn", "cycle", 59),
        ("density_high", "cycle", 59),
        ("clamp_spring_weak", "strand", 59),
        ("retainer_disc_worn", "strand", 59),
        ("knotters_dirty", "each_strand", 10),
        ("twine_mixed", "each_strand", 10),
    ],
)
def test_bales_are_counted_by_what_the_fault_acts_on(
    reasoner: Reasoner, cause: str, trial: str, bales: int
) -> None:
    step = mended(reasoner, cause).step
    assert reasoner.base.causes[cause].trial == trial
    assert (step.kind, step.trials, step.bales) == ("prove", 59, bales)


def test_strands_of_an_unknown_machine_are_never_counted_too_many(reasoner: Reasoner) -> None:
    assert mended(reasoner, "knotters_dirty", knotters=None).step.bales == 59


def test_what_is_typed_are_bales_and_what_is_kept_are_trials(reasoner: Reasoner) -> None:
    step = mended(reasoner, "knotters_dirty").step
    (proved,) = events_from(reasoner.base, step, "10")
    assert isinstance(proved, Proved)
    assert proved.clean_ties == 60
    done = mended(reasoner, "knotters_dirty", proved)
    assert done.step.kind == "cured"
    assert "10 clean bales since" in str(diagnosis_view(reasoner.base, done).proved_said())


@pytest.mark.parametrize("cause", ["trip_rod_worn", "clamp_spring_weak", "knotters_dirty"])
def test_nothing_calls_a_count_so_many_percent_sure(
    base: Knowledge, reasoner: Reasoner, cause: str
) -> None:
    open_, done = mended(reasoner, cause), mended(reasoner, cause, Proved(
        cause=cause, clean_ties=60, failed=False))  # fmt: skip
    screen = " ".join(lines(step_view(base, open_.step).blocks())).split()
    assert "Had nothing changed, a run like this would come by luck in 5 of 100." in " ".join(
        screen
    )
    record = " ".join(" ".join(text(record_view(base, done))).split())
    assert "had nothing changed, so many would come by luck in 5 of 100" in record
    for told in (" ".join(screen), record):
        assert not re.search(r"\bsure\b|95 ?%", told)
    data = step_view(base, open_.step).model_dump(mode="json", exclude_none=True)
    assert data["trial"] == base.causes[cause].trial
    assert data["trials"] == 59
    assert data["by_luck"] == pytest.approx(0.0485, abs=1e-4)
