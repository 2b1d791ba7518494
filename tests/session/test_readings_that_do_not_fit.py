"""A reading that the failed tie does not fit is noted, never named as the fault.

Common practice, no source: a tight clamp spring keeps the loop on the hook or bruises the twine,
it does not let a knot come open.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from diagnose.bale.dialogue import Dialogue
from diagnose.case import Case, Checked, Event, MadeSafe, Mended, Proved, Reading, Seen
from diagnose.knowledge import Knowledge
from diagnose.knowledge.model import Setting
from diagnose.say import data, text
from diagnose.session import Diagnosis, Reasoner, diagnose
from diagnose.views.diagnosis import diagnosis_view
from diagnose.views.record import record_view
from tests.technician import clock


def case(*events: Event, hangs: str = "slipped_open") -> Case:
    told = {"hangs": hangs, "cycled": "yes", "which": "one"}
    seen = (Seen(sign=sign, answers=(answer,)) for sign, answer in told.items())
    return Case(id="t", events=(MadeSafe(), *seen, *events))


def measured(setting: str, body: Setting, value: float) -> Reading:
    return Reading(setting=setting, value=value, unit=body.unit)


def sides(base: Knowledge) -> list[tuple[str, str, float]]:
    """Every setting's cause, and a value well out on its side."""
    rows = []
    for name, body in base.settings.items():
        low, high = body.band
        far = 4 * body.gauge + (high - low)
        if body.too_low:
            rows.append((name, body.too_low, low - far))
        if body.too_high:
            rows.append((name, body.too_high, high + far))
    return rows


def test_a_tight_spring_is_never_the_fault_of_a_knot_that_came_open(
    base: Knowledge, reasoner: Reasoner
) -> None:
    body = base.settings["hook_clamp_spring"]
    for more in range(18):
        reading = measured("hook_clamp_spring", body, body.band[0] - body.gauge - 0.3 * (more + 1))
        known = diagnose(reasoner, case(reading))
        assert known.step.kind in ("ask", "check")
        assert known.step.id != "measure_clamp_spring"
        assert [d.cause for d in known.known.doubtful] == ["clamp_spring_tight"]
        assert known.suspects[0].id != "clamp_spring_tight"


def test_the_same_reading_is_the_fault_where_the_loop_stayed_on_the_hook(
    base: Knowledge, reasoner: Reasoner
) -> None:
    body = base.settings["hook_clamp_spring"]
    reading = measured("hook_clamp_spring", body, body.band[0] - 2)
    known = diagnose(reasoner, case(Seen(sign="on_hook", answers=("knot",)), reading,
                                    hangs="both_loose"))  # fmt: skip
    assert (known.step.kind, known.step.id) == ("mend", "clamp_spring_tight")


def test_a_weak_spring_is_the_fault_of_a_knot_that_came_open(
    base: Knowledge, reasoner: Reasoner
) -> None:
    body = base.settings["hook_clamp_spring"]
    known = diagnose(reasoner, case(measured("hook_clamp_spring", body, body.band[1] + 2)))
    assert (known.step.kind, known.step.id) == ("mend", "clamp_spring_weak")


def test_over_all_settings_and_looks_what_is_mended_is_fitted_by_the_tie(
    base: Knowledge, reasoner: Reasoner
) -> None:
    refused = 0
    for setting, cause, value in sides(base):
        for hangs in base.signs["hangs"].answers:
            alone = diagnose(reasoner, case(hangs=hangs))
            known = diagnose(reasoner, case(measured(setting, base.settings[setting], value),
                                            hangs=hangs))  # fmt: skip
            noted = [d.cause for d in known.known.doubtful]
            assert noted in ([], [cause])
            refused += bool(noted)
            if noted:
                assert known.step.kind != "mend"
                was = next(s.chance for s in alone.suspects if s.id == cause)
                now = next(s.chance for s in known.suspects if s.id == cause)
                assert now < max(base.standings[base.roles.worth_mending][0], 1.5 * was)
    assert 60 <= refused <= 180  # of 27 sides and 8 looks; neither all nor none


def test_what_was_found_by_hand_and_eye_is_the_fault_whatever_the_tie(reasoner: Reasoner) -> None:
    found = Checked(check="measure_clamp_spring", found="clamp_spring_tight")
    assert diagnose(reasoner, case(found)).step.kind == "mend"


def on_limit(base: Knowledge) -> list[tuple[str, float]]:
    return [(name, limit) for name, body in base.settings.items() for limit in body.band if limit]


def test_a_reading_on_a_limit_never_brings_the_same_check_back_at_once(
    base: Knowledge, reasoner: Reasoner
) -> None:
    tried = 0
    for setting, value in on_limit(base):
        check = next(n for n, c in base.checks.items() if c.setting == setting)
        for hangs in base.signs["hangs"].answers:
            known = diagnose(reasoner, case(measured(setting, base.settings[setting], value),
                                            hangs=hangs))  # fmt: skip
            assert known.step.id != check
            assert [d.cause for d in known.known.doubtful] == [None]
            tried += 1
    assert tried >= 200


class Typist:
    def __init__(self, *lines: str) -> None:
        self.lines, self.screen = list(lines), ""

    def say(self, lines: list[str]) -> None:
        self.screen += "\n".join(lines) + "\n"

    def ask(self, prompt: str) -> str:
        self.screen += prompt
        return self.lines.pop(0) if self.lines else "s"


def sitting(reasoner: Reasoner, given: Case, *lines: str) -> tuple[str, Dialogue, Diagnosis]:
    typist = Typist(*lines)
    start = clock(datetime(2026, 7, 21, 14, tzinfo=UTC))
    dialogue = Dialogue(reasoner, given, typist, lambda _: None, now=start)
    done = dialogue.run()
    return " ".join(typist.screen.split()), dialogue, done


@pytest.mark.parametrize(("typed", "after"), [("set", None), ("set 33 mm", 33.0)])
def test_set_now_is_recorded_and_the_search_goes_on(
    base: Knowledge, reasoner: Reasoner, typed: str, after: float | None
) -> None:
    reading = Reading(setting="hook_clamp_spring", value=30, unit="mm")
    screen, dialogue, done = sitting(reasoner, case(reading), typed)
    assert "it does not explain this fault. Set it last, or now: then both changes" in screen
    assert done.step.kind in ("ask", "check")
    mended = dialogue.case.events[-1]
    assert isinstance(mended, Mended)
    assert (mended.cause, mended.after, mended.aside) == ("clamp_spring_tight", after, True)
    assert not done.known.doubtful
    record = " ".join(" ".join(text(record_view(base, done))).split())
    assert "Set too, not fitting this tie | hook clamp spring too tight" in record


def test_the_proof_is_of_both_and_a_failed_one_clears_both(reasoner: Reasoner) -> None:
    both = case(
        Mended(cause="clamp_spring_tight", aside=True),
        Checked(check="look_at_hook", found="hook_worn"),
        Mended(cause="hook_worn"),
        Seen(sign="often", answers=("often",)),
    )
    screen, _, _ = sitting(reasoner, both)
    assert "Set too: hook clamp spring too tight: the proof is of both." in screen
    failed = both.with_event(Proved(cause="hook_worn", clean_ties=2, failed=True))
    assert diagnose(reasoner, failed).known.evidence.mended >= {"hook_worn", "clamp_spring_tight"}


def test_a_noted_reading_stands_in_the_record_until_it_is_set(
    base: Knowledge, reasoner: Reasoner
) -> None:
    reading = Reading(setting="hook_clamp_spring", value=30, unit="mm")
    known = diagnose(reasoner, case(reading))
    record = " ".join(text(record_view(base, known)))
    assert "Out, and not fitting this tie: set it last" in record
    summary = " ".join(" ".join(text(diagnosis_view(base, known))).split())
    assert "it does not explain this fault" in summary
    assert data(diagnosis_view(base, known))["doubtful_readings"] == [
        {
            "setting": "hook_clamp_spring",
            "cause": "clamp_spring_tight",
            "name": base.causes["clamp_spring_tight"].name,
        }
    ]


def test_set_without_a_noted_reading_says_so(reasoner: Reasoner) -> None:
    screen, dialogue, _ = sitting(reasoner, case(), "set")
    assert "nothing is noted that could be set now" in screen
    assert len(dialogue.case.events) == 4
