"""Scores against scikit-learn, statsmodels and published values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss
from sklearn.metrics import log_loss as sklearn_log_loss
from statsmodels.stats.proportion import proportion_confint

from diagnose.casebook import scores

pairs = st.lists(
    st.tuples(st.integers(0, 1), st.floats(0.001, 0.999)), min_size=2, max_size=40
).filter(lambda sample: len({outcome for outcome, _ in sample}) == 2)


def test_the_documented_cases_of_scikit_learn() -> None:
    """The examples in its reference pages of brier_score_loss and log_loss."""
    assert scores.brier_score((0, 1, 1, 0), (0.1, 0.9, 0.8, 0.3)) == pytest.approx(0.0375)
    assert scores.log_loss((0, 1, 1, 0), (0.1, 0.9, 0.8, 0.35)) == pytest.approx(
        0.2161618747, abs=1e-10
    )


@given(pairs)
def test_brier_score_and_log_loss_agree_with_scikit_learn(pairs: list[tuple[int, float]]) -> None:
    outcomes, chances = zip(*pairs, strict=True)
    assert scores.brier_score(outcomes, chances) == pytest.approx(
        brier_score_loss(outcomes, chances)
    )
    assert scores.log_loss(outcomes, chances) == pytest.approx(sklearn_log_loss(outcomes, chances))


@given(st.integers(2, 6), st.integers(1, 20), st.integers(0, 2**32 - 1))
def test_scores_over_many_causes_agree_with_scikit_learn(k: int, n: int, seed: int) -> None:
    chance = np.random.default_rng(seed)
    chances = chance.dirichlet(np.ones(k), n) * 0.99 + 0.01 / k
    truth = chance.integers(k, size=n)
    labels = np.arange(k)
    assert scores.log_score_of_many(truth, chances) == pytest.approx(
        sklearn_log_loss(truth, chances, labels=labels)
    )
    # scikit-learn halves the score over two classes, and names the other convention so.
    assert scores.brier_score_of_many(truth, chances) == pytest.approx(
        brier_score_loss(truth, chances, labels=labels, scale_by_half=False)
    )


@given(pairs, st.integers(2, 10))
def test_the_reliability_diagram_agrees_with_scikit_learn(
    pairs: list[tuple[int, float]], bins: int
) -> None:
    outcomes, chances = zip(*pairs, strict=True)
    edges = np.linspace(0, 1, bins + 1)
    found = scores.reliability(outcomes, chances, edges)
    # scikit-learn puts a chance on an edge into the lower bin, this into the upper.
    if not np.isin(chances, edges).any():
        shares, means = calibration_curve(outcomes, chances, n_bins=bins)
        assert [b.share for b in found] == pytest.approx(shares.tolist())
        assert [b.mean_chance for b in found] == pytest.approx(means.tolist())
    assert sum(b.n for b in found) == len(pairs)


@given(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_wilsons_interval_agrees_with_statsmodels(counted: tuple[int, int]) -> None:
    successes, n = counted
    expected = proportion_confint(successes, n, method="wilson")
    assert scores.wilson(successes, n) == pytest.approx(expected, abs=1e-12)


def test_chances_that_come_true_as_often_as_said_have_no_calibration_error() -> None:
    outcomes, chances = [1, 0, 0, 0] * 25, [0.25] * 100
    bins = scores.reliability(outcomes, chances, (0, 0.5, 1))
    assert scores.calibration_error(bins) == 0
    assert scores.calibration_error(
        scores.reliability([1] * 100, chances, (0, 0.5, 1))
    ) == pytest.approx(0.75)
