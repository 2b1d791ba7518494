"""What confirmed cases teach, and what they do not."""

from __future__ import annotations

import dataclasses
import math
from statistics import median

import pytest

from diagnose.case import Case, Checked, Machine, Noted
from diagnose.casebook.learning import (
    JUDGED_STEPS,
    OTHER_TYPE,
    dirichlet_update,
    learn,
    prior_counts,
)
from diagnose.inference.likelihood import prior_weights
from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge.load import load_rules
from tests.casebook.samples import a_case

BASE = load_rules()


def _solved(cause: str, machine_type: str | None = "type L", *events: Checked | Noted) -> Case:
    case = a_case(cause=cause, machine_type=machine_type)
    return case.model_copy(update={"events": events, "machine": Machine(type=machine_type)})


def test_three_causes_alike_and_ten_cases() -> None:
    """Dirichlet (1, 1, 1) and counts (5, 2, 3). Gelman et al., Bayesian Data Analysis, 3.4
    (from memory); the means are exact: 6/13, 3/13, 4/13."""
    counts = dirichlet_update({"a": 1, "b": 1, "c": 1}, {"a": 5, "b": 2, "c": 3})
    total = sum(counts.values())
    means = [counts[cause] / total for cause in "abc"]
    assert means == pytest.approx([0.461538, 0.230769, 0.307692], abs=1e-6)


def test_without_cases_the_words_stand_as_they_are() -> None:
    learned = learn(BASE, [])
    assert learned.prior == pytest.approx(prior_weights(BASE))
    assert learned.minutes == {}
    assert learned.basis == "rests on the rule base alone, no confirmed case"


def test_the_words_are_worth_as_many_cases_as_their_factor_says() -> None:
    """A log-normal factor f spreads a share by sqrt(exp(ln(f)^2) - 1) of itself."""
    per_cause = sum(prior_counts(BASE).values()) / len(BASE.causes)
    assert 1 / per_cause == pytest.approx(math.exp(math.log(2) ** 2) - 1)


def test_a_confirmed_case_makes_its_cause_commoner_and_all_others_rarer() -> None:
    before, after = prior_weights(BASE), learn(BASE, [(_solved("knife_dull"), "knife_dull")]).prior
    assert after["knife_dull"] > before["knife_dull"]
    assert all(after[cause] < before[cause] for cause in before if cause != "knife_dull")
    assert sum(after.values()) == pytest.approx(1)


def test_many_cases_outweigh_the_words() -> None:
    learned = learn(BASE, [(_solved("needles_late"), "needles_late")] * 10_000)
    assert learned.prior["needles_late"] > 0.99


def test_cases_of_another_type_count_less_and_unknown_types_count_whole() -> None:
    cases = [(_solved("knife_dull", "type L"), "knife_dull")] * 8
    cases += [(_solved("knife_dull", "type S"), "knife_dull")] * 4
    gained = {
        kind: learn(BASE, cases, kind).counts["knife_dull"] - prior_counts(BASE)["knife_dull"]
        for kind in ("type L", "type S", None)
    }
    assert gained == pytest.approx(
        {"type L": 8 + 4 * OTHER_TYPE, "type S": 4 + 8 * OTHER_TYPE, None: 12}
    )


def test_the_output_says_on_how_many_cases_it_rests() -> None:
    cases = [(_solved("knife_dull", kind), "knife_dull") for kind in ("type L", "type S")]
    assert learn(BASE, cases).basis == "rests on 2 confirmed cases"
    assert learn(BASE, cases, "type S").basis == "rests on 2 confirmed cases, 1 on type S"


def test_a_cause_that_the_rule_base_does_not_have_is_named_and_not_counted() -> None:
    learned = learn(BASE, [(_solved("gearbox"), "gearbox")])
    assert learned.unknown == ("gearbox",)
    assert learned.cases == 0


def test_minutes_move_from_judgement_to_the_median_really_taken() -> None:
    judged = BASE.checks["measure_tines"].minutes
    one = _solved("knife_dull", "type L", Checked(check="measure_tines", minutes=9))
    assert learn(BASE, [(one, "knife_dull")]).minutes["measure_tines"] == judged
    many = learn(BASE, [(one, "knife_dull")] * (JUDGED_STEPS + 1))
    assert many.minutes["measure_tines"] == 9
    assert median([judged] * JUDGED_STEPS + [9.0] * 4) == 9


def test_one_odd_day_does_not_move_the_minutes() -> None:
    taken = [5.0, 5.0, 5.0, 5.0, 240.0]
    cases = [
        (_solved("knife_dull", "type L", Checked(check="measure_tines", minutes=m)), "knife_dull")
        for m in taken
    ]
    assert learn(BASE, cases).minutes["measure_tines"] == 5


def test_the_clocks_minutes_are_divided_between_the_way_and_the_step() -> None:
    """Knife 2 minutes, deck to be opened first 4: of 9 minutes, 3 were the knife's."""
    case = _solved("knife_dull", "type L", Checked(check="try_knife", minutes=9))
    assert learn(BASE, [(case, "knife_dull")] * 9).minutes["try_knife"] == pytest.approx(3)


def test_what_was_learnt_goes_into_the_belief_and_the_planner() -> None:
    case = _solved("needles_late", "type L", Checked(check="measure_tines", minutes=30))
    learned = learn(BASE, [(case, "needles_late")] * 200)
    plain, taught = Tables(BASE), Tables(BASE, learned.prior, learned.minutes)
    assert taught.posterior(Evidence()).by_cause == pytest.approx(learned.prior)
    assert taught.posterior(Evidence()).by_cause["needles_late"] > 0.7
    assert plain.posterior(Evidence()).by_cause["needles_late"] < 0.02
    assert (plain.minutes["measure_tines"], taught.minutes["measure_tines"]) == (3, 30)


def test_counts_cannot_be_changed_after_learning() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        learn(BASE, []).cases = 3  # type: ignore[misc]
