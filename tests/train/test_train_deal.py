"""Cases come from the model: the same number the same case, and as often as the model says."""

from __future__ import annotations

from collections import Counter
from random import Random

import numpy as np
import pytest

from diagnose.case import Case, Checked, Mended, Proved, Seen
from diagnose.errors import InputError
from diagnose.inference.tables import Evidence
from diagnose.machine.grading import grade
from diagnose.session import Reasoner
from diagnose.train.deal import (
    answer_of,
    branch_of,
    deal,
    deal_of_case,
    dealing_weights,
    deals_with,
    reading_of,
    result_of,
)
from tests.small_base import SOMETHING_ELSE

MANY = 4000


def test_the_same_number_is_the_same_case_in_any_order_of_asking(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    one, two = deal(tables, "4711"), deal(tables, " 4711 ")
    assert one == two
    forward = {sign: answer_of(tables, one, 0, sign) for sign in tables.answers}
    backward = {sign: answer_of(tables, two, 0, sign) for sign in reversed(tables.answers)}
    assert forward == backward


@pytest.mark.parametrize("text", ["", "x", "0", "-4", "100001", "5/3", "4.5", "²"])
def test_what_is_no_case_number_is_refused(reasoner: Reasoner, text: str) -> None:
    with pytest.raises(InputError, match="case"):
        deal(reasoner.tables, text)


def test_causes_come_as_often_as_their_weights_and_rare_ones_come(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    weights = dealing_weights(tables)
    seen = Counter(deal(tables, str(n)).faults[0].cause for n in range(1, MANY + 1))
    assert SOMETHING_ELSE not in seen
    assert set(seen) == set(tables.causes) - {SOMETHING_ELSE}
    for cause, weight in zip(tables.causes, weights, strict=True):
        spread = 4.5 * np.sqrt(weight * (1 - weight) / MANY)
        assert abs(seen[cause] / MANY - weight) <= spread, cause


def test_rare_causes_are_dealt_more_often_than_the_field_has_them(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    rarest = int(np.argmin(np.where(tables.prior > 0, tables.prior, 1)))
    assert dealing_weights(tables)[rarest] > tables.prior[rarest]


def test_signs_read_as_often_as_the_tables_say(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    cases = [deal(tables, str(n)) for n in range(1, 1501)]
    expected = np.zeros(len(tables.answers["tails"]))
    seen: Counter[str] = Counter()
    for case in cases:
        expected += tables.likelihood["tails"][branch_of(tables, case.faults[0])]
        seen[answer_of(tables, case, 0, "tails")] += 1
    for answer, mean in zip(tables.answers["tails"], expected, strict=True):
        assert abs(seen[answer] - mean) <= 4.5 * np.sqrt(mean) + 1, answer


def test_a_check_overlooks_as_often_as_it_is_said_to(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    case = next(deals_with(tables, Random(1), cause="retainer_spring_weak"))
    overlooks = tables.overlooks[
        tables.checks.index("measure_retainer_spring"), tables.causes.index("retainer_spring_weak")
    ]
    found = [result_of(tables, case, 0, "measure_retainer_spring", look) for look in range(MANY)]
    assert set(found) == {None, "retainer_spring_weak"}
    spread = 4.5 * np.sqrt(overlooks * (1 - overlooks) / MANY)
    assert abs(found.count(None) / MANY - overlooks) <= spread


def test_a_check_finds_nothing_of_a_cause_that_is_not_its_own(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    case = next(deals_with(tables, Random(1), cause="pawl_stuck"))
    looks = [result_of(tables, case, 0, "measure_clamp_spring", look) for look in range(200)]
    assert looks == [None] * 200


def test_a_reading_is_out_of_band_just_when_the_check_finds_its_setting_wrong(
    reasoner: Reasoner,
) -> None:
    tables, base = reasoner.tables, reasoner.base
    measuring = [name for name, check in base.checks.items() if check.setting]
    graded = Counter[tuple[bool, bool]]()
    for number in range(1, 400):
        case = deal(tables, str(number))
        for check in measuring:
            reading = reading_of(tables, case, 0, check, 0)
            assert reading is not None
            setting = base.settings[reading[0]]
            found = result_of(tables, case, 0, check, 0)
            meant = found is not None and found in (setting.too_low, setting.too_high)
            verdict = grade(setting, reading[1], setting.unit)
            assert verdict in ("low", "in", "high"), (check, reading)
            graded[meant, verdict != "in"] += 1
            if meant and verdict != "in":
                assert found == getattr(setting, f"too_{verdict}")
    assert graded[True, True] > 20
    assert graded[True, False] == graded[False, True] == 0


def test_two_faults_are_two_causes(reasoner: Reasoner) -> None:
    for number in range(1, 300):
        first, second = deal(reasoner.tables, f"{number}/2").faults
        assert first.cause != second.cause
        assert first == deal(reasoner.tables, str(number)).faults[0]


def _solved(*events: object, cause: str = "retainer_spring_weak") -> Case:
    end = (Mended(cause=cause), Proved(cause=cause, clean_ties=59, failed=False))
    return Case(id="a bale", events=(*events, *end))  # type: ignore[arg-type]


def test_a_solved_case_is_dealt_with_its_own_answers_and_results(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    case = _solved(
        Seen(sign="hangs", answers=("knot_one_loose",)),
        Seen(sign="tails", answers=("uneven",)),
        Seen(sign="no_longer_known", answers=("yes",)),
        Checked(check="measure_retainer_spring"),
    )
    dealt = deal_of_case(tables, case, "retainer_spring_weak")
    assert dealt.faults[0].mechanism == "slipped_out"
    assert answer_of(tables, dealt, 0, "hangs") == "knot_one_loose"
    assert answer_of(tables, dealt, 0, "tails") == "uneven"
    assert result_of(tables, dealt, 0, "measure_retainer_spring", 0) is None
    assert "no_longer_known" not in {*dealt.recorded} & {*tables.answers}


def test_a_solved_case_of_an_unknown_cause_is_refused(reasoner: Reasoner) -> None:
    with pytest.raises(InputError, match="moon"):
        deal_of_case(reasoner.tables, _solved(cause="moon"), "moon")


def test_the_posterior_of_dealt_cases_is_calibrated(reasoner: Reasoner) -> None:
    """Dealt as in the field, a cause given the chance p is true in about p of the cases."""
    tables = reasoner.tables
    given, true = [], 0
    for number in range(1, 801):
        case = deal(tables, str(number), temper=1.0)
        signs = ("hangs", "tails", "good_knots", "in_retainer")
        answers = {sign: (answer_of(tables, case, 0, sign),) for sign in signs}
        chances = tables.posterior(Evidence(answers=answers)).by_cause
        top = max((cause for cause in chances if cause != SOMETHING_ELSE), key=chances.__getitem__)
        given.append(chances[top] / (1 - chances[SOMETHING_ELSE]))
        true += top == case.faults[0].cause
    spread = 4.5 * np.sqrt(sum(p * (1 - p) for p in given))
    assert abs(true - sum(given)) <= spread
