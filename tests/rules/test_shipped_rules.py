"""The shipped rule base against its textbook, the facts of the trade, and the rules of safety."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import product

import pytest

from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge import Knowledge
from diagnose.knowledge.load import load_rules
from tests.small_base import SOMETHING_ELSE


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_rules()


@pytest.fixture(scope="module")
def tables(base: Knowledge) -> Tables:
    return Tables(base)


# J. B. Davidson, Agricultural Engineering, about 1913 (public domain), page 249: how a tie of the
# cord knotter looks when it failed, and the cause he names.
DAVIDSON = [
    ({"hangs": "knot_one_end"}, "needle_travel_short"),
    ({"hangs": "knot_one_end", "tails": "one_frayed"}, "retainer_spring_tight"),
    ({"tails": "both_ragged"}, "retainer_spring_tight"),
]


@pytest.mark.parametrize(("seen", "cause"), DAVIDSON)
def test_the_textbooks_cause_is_among_the_first_two(
    tables: Tables, seen: dict[str, str], cause: str
) -> None:
    posterior = tables.posterior(Evidence({sign: (answer,) for sign, answer in seen.items()}))
    assert cause in sorted(posterior.by_cause, key=lambda c: -posterior.by_cause[c])[:2]


def test_a_straw_in_the_retainer_now_and_then_is_suspected_as_the_textbook_says(
    tables: Tables,
) -> None:
    evidence = Evidence({"hangs": ("knot_one_end",), "often": ("now_and_then",)})
    posterior = tables.posterior(evidence).by_cause
    assert max(posterior, key=lambda c: posterior[c]) == "retainer_disc_packed"


# Common practice of the trade, no source.
@pytest.mark.parametrize(
    ("setting", "nominal", "unit"),
    [
        ("hook_clamp_spring", 33, "mm"),
        ("retainer_spring", 28, "mm"),
        ("needle_height", 8, "mm"),
        ("needle_travel", 105, "mm"),
        ("pickup_tine_clearance", 25, "mm"),
    ],
)
def test_the_trades_figures_stand_as_common_practice_with_bands_of_judgement(
    base: Knowledge, setting: str, nominal: float, unit: str
) -> None:
    body = base.settings[setting]
    assert (body.nominal, body.unit) == (nominal, unit)
    assert (body.basis.kind, body.band_basis.kind) == ("common practice", "judgement")


def test_changing_the_needles_height_moves_its_travel(base: Knowledge) -> None:
    assert "needle_travel" in base.settings["needle_height"].moves


def test_a_change_of_the_hook_clamp_asks_for_a_look_at_the_stripper(base: Knowledge) -> None:
    for cause in ("clamp_spring_weak", "clamp_spring_tight"):
        assert "look_at_stripper" in base.causes[cause].again


# Both ways of a knotter's turning, and nothing that turns it, shown by the two-event question.
@pytest.mark.parametrize(
    ("cycled", "causes"),
    [
        ("no", {"trip_rod_worn", "pawl_stuck", "trip_not_energised", "sensor_circuit"}),
        ("late_or_again", {"length_worn", "stop_worn", "trip_wheel_worn"}),
    ],
)
def test_whether_the_knotters_turned_sends_the_search_to_the_trip(
    tables: Tables, cycled: str, causes: set[str]
) -> None:
    evidence = Evidence({"cycled": (cycled,), "which": ("all",)})
    posterior = tables.posterior(evidence).by_cause
    assert causes <= set(sorted(posterior, key=lambda c: -posterior[c])[:7])


def test_every_cause_has_a_sign_of_its_own(base: Knowledge) -> None:
    spoken_of = {name.partition("/")[0] for name in base.shows}
    assert set(base.causes) - spoken_of == {SOMETHING_ELSE}


def test_no_two_causes_show_the_same_signs(base: Knowledge) -> None:
    told: dict[str, set[tuple[str, ...]]] = {cause: set() for cause in base.causes}
    for name, rule in base.shows.items():
        target, _, sign = name.partition("/")
        if target in told:
            told[target].add((sign, *(f"{a} {w}" for a, w in sorted(rule.answers.items()))))
    sets = [frozenset(rules) for rules in told.values()]
    assert len(sets) == len(set(sets))


def test_what_looks_well_clears_its_own_cause_and_hardly_touches_another(tables: Tables) -> None:
    before = tables.posterior(Evidence()).by_cause
    after = tables.posterior(Evidence({"arm_by_hand": ("springy",)})).by_cause
    assert after["take_up_weak"] < before["take_up_weak"] / 2
    assert after["hook_worn"] == pytest.approx(before["hook_worn"], rel=0.02)


def test_what_looks_ill_brings_its_cause_to_the_front(tables: Tables) -> None:
    sick = {
        "arm_by_hand": ("tired", "take_up_weak"),
        "hook_face": ("rough", "hook_rough"),
        "twine_run": ("parted", "twine_ran_out"),
        "pawl_moves": ("lazy", "clutch_spring_weak"),
        "length_wheel": ("worn", "length_worn"),
        "dirt": ("packed", "knotters_dirty"),
    }
    for sign, (answer, cause) in sick.items():
        posterior = tables.posterior(Evidence({sign: (answer,)})).by_cause
        assert cause in sorted(posterior, key=lambda c: -posterior[c])[:3], sign


# Safety: 29 CFR 1928.57(a)(6) and ISO 4254-11 (the latter from memory).
AT_THE_MACHINE = {"deck_open", "needles_raised", "needles_highest", "under_chamber", "drive_open"}


def test_every_setup_at_the_machine_begins_with_making_safe(base: Knowledge) -> None:
    for name in AT_THE_MACHINE:
        assert base.setups[name].cautions[0] == "make_safe", name
        assert "flywheel_energy" in base.setups[name].cautions, name


def test_turning_by_hand_always_carries_its_caution(base: Knowledge) -> None:
    for name, check in base.checks.items():
        if re.search(r"\b[Tt]urn(ed)? (by hand|until|to|it through|the needle)", check.do):
            cautions = {*check.cautions, *base.setups[check.setup].cautions}
            assert "hand_turning" in cautions, name


def test_nobody_turns_by_hand_while_a_second_person_reaches_in(base: Knowledge) -> None:
    for name, check in base.checks.items():
        if check.people > 1:
            assert "hands off" in check.do, name


def _sentences(base: Knowledge) -> Iterator[tuple[str, str]]:
    """Every sentence a technician can be told to act on, with where it comes from."""
    kinds = ("cautions", "setups", "signs", "settings", "causes", "checks")
    for kind, field in product(kinds, ("first", "how", "look", "where", "mend", "do", "note")):
        for name, item in getattr(base, kind).items():
            text = getattr(item, field, None)
            if isinstance(text, str):
                yield from ((f"{kind}:{name}", s) for s in re.split(r"(?<=[.?!]) ", text))


def test_no_run_down_time_is_given_anywhere(base: Knowledge) -> None:
    timed = re.compile(
        r"\b\d+\s*(s|sec|seconds?|min|minutes?)\b|\bfor (a|some|a few) (second|minute)"
    )
    assert [where for where, sentence in _sentences(base) if timed.search(sentence)] == []


def test_a_working_machine_is_named_only_to_keep_people_away(base: Knowledge) -> None:
    near = re.compile(r"while it (runs|works|ties)|running machine|working baler")
    kept_away = re.compile(r"\b(nobody|never)\b", re.IGNORECASE)
    named = [(where, s) for where, s in _sentences(base) if near.search(s)]
    assert named
    assert [where for where, s in named if not kept_away.search(s)] == []
