"""What the shipped rules say of acts at the machine: who turns what, and what it destroys.

Facts of the trade, common practice, no source, unless a line names one.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from diagnose.case import Case, Checked, MadeSafe, Seen
from diagnose.errors import InputError
from diagnose.knowledge import Knowledge, load_rules
from diagnose.knowledge.acts import again_cautions, best_finder, cautions_of, destroyed, runs
from diagnose.session import Reasoner, diagnose
from diagnose.train.safety import needed, precautions, reminders

TURNED = {"hand_turned", "needles_raised", "needles_highest"}
TURNS = re.compile(
    r"\b[Tt]urn (the needle |until|by hand|alone|it through)|\btrip the tie and turn"
)
HAND_AT_THE_KNOTTER = re.compile(r"hook|jaw|knife|stripper|retainer|disc|knotter", re.I)


def of_drill(base: Knowledge, kind: str, name: str) -> set[str]:
    """The cautions of a move, asked for or said."""
    asked_for = {precautions(base)[word].caution for word in needed(base, kind, name)}
    return (asked_for | set(reminders(base, kind, name))) - {base.roles.restart}


def acts(base: Knowledge) -> list[str]:
    return [*base.signs, *base.checks]


def text_of(base: Knowledge, act: str) -> str:
    return base.checks[act].do if act in base.checks else base.signs[act].look


def setup_of(base: Knowledge, act: str) -> str:
    return (base.checks.get(act) or base.signs[act]).setup


def test_whatever_turns_the_machine_stands_where_the_needle_lock_is_off(base: Knowledge) -> None:
    turning = [act for act in acts(base) if TURNS.search(text_of(base, act))]
    assert len(turning) >= 8
    assert {setup_of(base, act) for act in turning} <= TURNED
    for setup in TURNED:
        assert "hand_turning" in base.setups[setup].cautions
    locked = base.setups["deck_open"]
    assert "needles home and locked" in locked.how
    assert "hand_turning" not in locked.cautions


def test_the_way_to_where_the_machine_is_turned_is_priced(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    deck = tables.setups.index("deck_open")
    for setup in TURNED:
        # judgement: trip, eight to ten turns of the flywheel, block, lock and prop
        assert tables.moves[deck, tables.setups.index(setup)] >= 12


def test_nobody_works_under_raised_needles(base: Knowledge) -> None:
    assert "needles home and locked" in base.setups["under_chamber"].how
    for act in acts(base):
        if setup_of(base, act) == "under_chamber":
            assert not TURNS.search(text_of(base, act))
            assert "tips" not in text_of(base, act)
    measured = base.checks["measure_needle_to_plunger"]
    assert "from the side" in measured.do
    assert "Nobody under the needles" in measured.do


def test_the_end_in_the_retainer_is_neither_cut_nor_drawn_out(base: Knowledge) -> None:
    assert "never out of the disc" in base.signs["in_retainer"].look
    for name in ("try_knife", "pull_strand_in_retainer"):
        assert "loose piece" in base.checks[name].do
        assert "Never the end that the retainer holds" in base.checks[name].do


def test_a_hand_at_hook_knife_or_disc_is_warned_of_the_edge(base: Knowledge) -> None:
    at_knotters = {"deck_open", *TURNED}
    for act in acts(base):
        hand = HAND_AT_THE_KNOTTER.search(text_of(base, act))
        if setup_of(base, act) in at_knotters and hand and act != "dirt":
            assert "knife" in cautions_of(base, act), act


def test_wherever_something_is_turned_block_and_lock_are_cautioned_too(base: Knowledge) -> None:
    for act in acts(base):
        if setup_of(base, act) in TURNED:
            assert {"hand_turning", "flywheel_energy", "needle_energy"} <= set(
                cautions_of(base, act)
            )


def test_a_needle_set_at_its_foot_carries_the_cautions_of_its_foot(
    base: Knowledge, reasoner: Reasoner
) -> None:
    at_foot = [name for name, cause in base.causes.items() if "needle_foot" in cause.cautions]
    assert {n for n, c in base.causes.items() if "at its foot" in c.mend} <= set(at_foot)
    for name in at_foot:
        assert {"crush_under_chamber", "needle_energy"} <= set(base.causes[name].cautions)
        assert {"block", "lock", "chock"} <= set(needed(reasoner.base, "name", name))


def test_swapping_balls_is_cautioned_as_twine_and_as_a_machine_that_runs(base: Knowledge) -> None:
    assert {"box_door", "running_twine", "restart", "everyone_clear"} <= set(
        cautions_of(base, "swap_moves")
    )
    assert runs(base, "swap_moves")


def test_session_and_drill_say_the_same_cautions_of_every_question_and_check(
    reasoner: Reasoner,
) -> None:
    base = reasoner.base
    for kind, names in (("ask", base.signs), ("check", base.checks)):
        for name in names:
            told = set(cautions_of(base, name))
            first = {base.roles.make_safe} if told or kind == "check" else set()
            assert of_drill(base, kind, name) == (told | first) - {base.roles.restart}


def test_session_and_drill_say_the_same_cautions_of_every_mend(reasoner: Reasoner) -> None:
    base = reasoner.base
    for cause in base.causes:
        if cause == base.roles.something_else:
            continue
        finder = best_finder(base, cause)
        opened = {"hangs": "slipped_open", "cycled": "yes", "which": "one"}
        events = [Seen(sign=sign, answers=(answer,)) for sign, answer in opened.items()]
        found = Case(id="t", events=(MadeSafe(), *events, Checked(check=finder, found=cause)))
        if runs(base, finder):
            found = found.with_event(MadeSafe())
        step = diagnose(reasoner, found).step
        assert (step.kind, step.id) == ("mend", cause)
        told = {*step.cautions, base.roles.make_safe} - {base.roles.restart}
        assert of_drill(base, "name", cause) | set(again_cautions(base, cause)) == told


def test_blowing_wiping_and_turning_destroy_what_lies_on_hook_and_in_retainer(
    base: Knowledge,
) -> None:
    assert {"dirt", "on_hook", "in_retainer"} <= set(destroyed(base, "look_for_dirt"))
    assert "on_hook" in destroyed(base, "look_at_hook")
    assert "in_retainer" in destroyed(base, "clear_retainer")
    for act in acts(base):
        if setup_of(base, act) in TURNED:
            assert {"on_hook", "in_retainer"} <= set(destroyed(base, act))
            assert "on_hook" not in destroyed(base, act, here=setup_of(base, act))


# 29 CFR 1928.57(a)(6), read in the source: guards in place, no riders, stop the engine, disconnect
# the power, wait for all movement, everyone clear before starting. It names no flywheel block, no
# needle lock, no hand turning, no key in a pocket.
@pytest.mark.parametrize(
    "caution", ["flywheel_energy", "needle_energy", "hand_turning", "key_kept", "restart"]
)
def test_what_the_paragraph_does_not_say_is_called_common_practice(
    base: Knowledge, caution: str
) -> None:
    assert base.cautions[caution].basis.kind == "common practice"
    said = base.cautions["make_safe"]
    assert str(said.basis) == "published: cfr_1928_57"
    assert not re.search(r"key|block|lock|pocket", said.first, re.I)


def test_a_brake_alone_is_called_no_block(base: Knowledge) -> None:
    assert "A brake alone is no block" in base.cautions["flywheel_energy"].first
    assert not re.search(r"set its brake or|brake set or", base.cautions["flywheel_energy"].first)


@pytest.mark.parametrize(
    ("path", "old", "new", "said"),
    [
        ("setups.yaml", "destroys: [on_hook,", "destroys: [on_hok,", "unknown sign 'on_hok'"),
        ("signs_machine.yaml", "cautions: [knife]", "cautions: [knive]", "unknown caution 'knive'"),
    ],
)
def test_an_unknown_name_among_cautions_or_lost_looks_is_refused(
    tmp_path: Path, path: str, old: str, new: str, said: str
) -> None:
    rules = Path(__file__).parents[2] / "rules"
    shutil.copytree(rules, tmp_path / "rules")
    file = tmp_path / "rules" / path
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new, 1))
    with pytest.raises(InputError, match=said):
        load_rules(tmp_path / "rules")
