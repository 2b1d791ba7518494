"""Named bales: every cause is known by some, they hold, and what no longer holds is told."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.case import Case, Checked, Mended, Proved, Seen
from diagnose.casebook.store import Casebook
from diagnose.cli.main import cli
from diagnose.errors import InputError, InputFaultsError
from diagnose.inference import Production, compile_productions
from diagnose.knowledge import Knowledge, load_rules, rules_folder
from diagnose.knowledge.model import Bale
from diagnose.rulebook import proofs
from diagnose.rulebook.moved import moved
from diagnose.rulebook.pages import moved_lines
from diagnose.rulebook.proofs import bale_faults, loose_rules, prove
from diagnose.session import Reasoner
from tests.renaming import write_renamed
from tests.small_base import small_base

ROD = "parts/trip/rod_and_wheel.yaml"
BALE = "now and then no tie at all, on a machine that trips without a monitor"
WITH = "it follows with '{}' too: change the condition or drop it"
WEAKER = ("    answers: {none: usually}\n", "    answers: {none: sometimes}\n")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return Path(shutil.copytree(rules_folder(), tmp_path / "rules"))


def change(folder: Path, old: str, new: str, path: str = ROD) -> int:
    """Replace the first `old` in a file; the line where it stood."""
    text = (folder / path).read_text(encoding="utf-8")
    assert old in text
    (folder / path).write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def faults(folder: Path, cause: str = "trip_rod_worn") -> list[str]:
    """What `rules check` says of the bales of one cause."""
    base = load_rules(folder)
    found = bale_faults(Reasoner(base), cause)
    return [str(InputError(what, base.places[key])) for key, what in found]


def run(*arguments: object) -> Result:
    words = ["rules", *map(str, arguments)]
    return CliRunner().invoke(cli, words, standalone_mode=False)


def test_every_cause_is_known_by_two_to_four_bales_and_one_that_speaks_against_it(
    base: Knowledge,
) -> None:
    for name, cause in base.causes.items():
        against = [bale for bale in cause.bales.values() if bale.not_among]
        assert len(against) == 1, name
        if name != base.roles.something_else:
            assert 2 <= len(cause.bales) <= 4, name


def test_every_cause_is_known_from_the_ground_by_one_bale(base: Knowledge) -> None:
    """No look at the part itself: what the driver tells, and what lies on the ground."""
    ground = {name for name, sign in base.signs.items() if base.setups[sign.setup].start}
    for name, cause in base.causes.items():
        if name != base.roles.something_else:
            assert any(
                bale.rank in (1, 2) and bale.seen.keys() <= ground and not bale.readings
                for bale in cause.bales.values()
            ), name


def test_no_name_of_a_bale_stands_twice(base: Knowledge) -> None:
    names = [name for cause in base.causes.values() for name in cause.bales]
    assert len(names) == len(set(names)) > 180
    assert all(name[0].islower() and not name.endswith(".") for name in names)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "        rank: 1\n        odds: 2.7\n",
            "        rank: 1\n        odds: 4\n",
            "it is first, but only 3.0 times as likely as 'clutch pawl stuck, dirty or dry' "
            "(odds 4); the words or the bale are wrong",
        ),
        (
            'seen: {hangs: runs_back, cycled: "no", trip_lamp: none}',
            'seen: {cycled: "no", since: after_stop, pawl_moves: stuck}',
            "it is suspect number 3, after 'clutch pawl stuck, dirty or dry', "
            "'fault in a sensor or its wires' (rank 1); the words or the bale are wrong",
        ),
        (
            "        rank: 1\n        odds: 2.7\n",
            "        not_among: 5\n",
            "it is first (not_among 5); the words or the bale are wrong",
        ),
    ],
)
def test_a_bale_that_does_not_hold_is_told_with_its_line_and_its_name(
    copy: Path, old: str, new: str, told: str
) -> None:
    line = change(copy, f"      {BALE}:\n", f"      {BALE}:\n")
    change(copy, old, new)
    (fault,) = faults(copy)
    assert fault == f'{copy / ROD}:{line}: causes.trip_rod_worn.bales."{BALE}": {told}'


def test_a_rank_further_down_holds_when_the_cause_stands_there_or_before(copy: Path) -> None:
    change(copy, "        rank: 1\n        odds: 2.7\n", "        rank: 2\n        odds: 3\n")
    assert faults(copy) == []
    change(copy, "        rank: 2\n        odds: 3\n", "        rank: 2\n        odds: 30\n")
    (fault,) = faults(copy)
    assert "it is first, but only" in fault
    assert "(odds 30)" in fault


def test_a_cause_that_no_bale_shows_is_told(copy: Path) -> None:
    text = (copy / ROD).read_text(encoding="utf-8")
    before, _, rest = text.partition("    bales:\n")
    (copy / ROD).write_text(before + rest[rest.index("  trip_wheel_worn:") :], encoding="utf-8")
    (fault,) = faults(copy)
    assert "causes.trip_rod_worn: no bale shows it: name one under 'bales'" in fault


SEEN = 'seen: {hangs: runs_back, cycled: "no", trip_lamp: none}'
KEYS = f'causes.trip_rod_worn.bales."{BALE}"'


@pytest.mark.parametrize(
    ("new", "lines", "told"),
    [
        ('seen: {hang: runs_back, cycled: "no"}', 0,
         f"{KEYS}.seen.hang: unknown sign 'hang', did you mean 'hangs'?"),
        ("seen: {trip_lamp: [called, nune]}", 0,
         f"{KEYS}.seen.trip_lamp: unknown answer of 'trip_lamp' 'nune', did you mean 'none'?"),
        ("seen: {grade.needle_travel: low}", 0, f"{KEYS}.seen.grade.needle_travel: unknown sign"),
        (f"{SEEN}\n        codes: [knotter_no_cycel]", 1,
         f"{KEYS}.codes: unknown code 'knotter_no_cycel', did you mean 'knotter_no_cycle'?"),
        (f"{SEEN}\n        readings: {{trip_rod_waer: 2}}", 1,
         f"{KEYS}.readings.trip_rod_waer: unknown setting 'trip_rod_waer', did you mean"),
        (f"{SEEN}\n        reading: {{trip_rod_wear: 2}}", 1,
         f"{KEYS}.reading: unknown key 'reading', did you mean 'readings'?"),
        (f"{SEEN}\n        not_among: 5", -1,
         f"{KEYS}: say how the cause stands: either 'rank' or 'not_among'"),
        ("seen: {}", -1, f"{KEYS}: nothing is told of this bale: name what is 'seen'"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_a_bale_is_told_with_file_line_and_the_nearest_name(
    copy: Path, new: str, lines: int, told: str
) -> None:
    line = change(copy, SEEN, new) + lines
    with pytest.raises(InputFaultsError) as refused:
        load_rules(copy)
    assert f"{copy / ROD}:{line}: {told}" in str(refused.value)


OWN = """\
causes:
  rod_spring_lost:
    name: spring of the trip rod lost
    part: trip
    common: seldom
    trial: cycle
    leads: {never_turned: almost always}
    why: Without its spring the rod does not drop.
    basis: judgement
    mend: Hang in a new one.
    bales:
      nothing trips, and a spring lies in the stubble:
        seen: {hangs: runs_back, cycled: "no", noise: silent}
        rank: 1
        odds: 50
checks:
  look_for_rod_spring: {do: Look for it., tool: torch, setup: drive_open, minutes: 1,
                        confirms: {rod_spring_lost: seldom}, basis: judgement}
rules:
  trip_rod_worn/trip_lamp: {answers: {none: sometimes}, basis: judgement, why: Here seldom.}
"""


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "tying-fault-diagnosis" / "rules"
    folder.mkdir(parents=True)
    (folder / "ours.yaml").write_text(OWN, encoding="utf-8")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    return folder


def test_bales_in_own_rules_are_proved_and_what_own_rules_moved_is_told(own: Path) -> None:
    result = run("check")
    assert isinstance(result.exception, InputFaultsError)
    told = str(result.exception)
    at = f'{own / "ours.yaml"}:12: causes.rod_spring_lost.bales."nothing trips, and a spring'
    assert f'{at} lies in the stubble": it is suspect number' in told
    assert f'bales."{BALE}": it is' in told
    flat = " ".join(result.output.split())
    assert "Moved against the shipped rules:" in flat
    assert f"trip rod worn: {BALE} was first, 3.0 times the next; is" in flat


def test_own_rules_may_put_a_cause_with_other_bales_in_the_place_of_the_shipped(
    own: Path,
) -> None:
    shipped = (rules_folder() / ROD).read_text(encoding="utf-8")
    start, end = shipped.index("causes:\n"), shipped.index("  trip_wheel_worn:\n")
    mine = shipped[start:end].replace(BALE, "our way to say it").replace("odds: 2.7", "odds: 2.9")
    (own / "ours.yaml").write_text(mine, encoding="utf-8")
    base = load_rules(own=own)
    assert BALE not in base.causes["trip_rod_worn"].bales
    assert "our way to say it" in base.causes["trip_rod_worn"].bales
    assert list(bale_faults(Reasoner(base), "trip_rod_worn")) == []


def test_a_renamed_base_proves_all_its_bales(tmp_path: Path, base: Knowledge) -> None:
    write_renamed(tmp_path)
    report = prove(Reasoner(load_rules(tmp_path)))
    assert report.faults == ()
    assert report.bales == sum(len(cause.bales) for cause in base.causes.values())


def test_bales_and_solved_cases_that_a_change_has_moved_are_told_worst_first(
    copy: Path, tmp_path: Path
) -> None:
    seen = {"hangs": "runs_back", "cycled": "no", "trip_lamp": "none"}
    events = (
        *(Seen(sign=sign, answers=(answer,)) for sign, answer in seen.items()),
        Checked(check="look_at_trip", found="trip_rod_worn"),
        Mended(cause="trip_rod_worn"),
        Proved(cause="trip_rod_worn", clean_ties=59, failed=False),
    )
    book = tmp_path / "book.db"
    with Casebook(str(book)) as opened:
        opened.add(Case(id="last-week", events=events))
    change(copy, *WEAKER)
    result = run("check", "--rules", copy, "--before", rules_folder(), "--casebook", book, "--json")
    data = json.loads(result.output)["moved"]
    assert {k: data[0][k] for k in ("bale", "cause")} == {"bale": BALE, "cause": "trip_rod_worn"}
    assert data[0]["was"]["rank"] == data[0]["is"]["rank"] == 1
    assert data[0]["was"]["odds"] == pytest.approx(3.0, abs=0.01)
    assert data[0]["is"]["odds"] == pytest.approx(1.0, abs=0.01)
    (case,) = (one for one in data if "case" in one)
    assert case["case"] == "last-week"
    assert (case["was"], case["is"]) == (data[0]["was"], data[0]["is"])
    gains = [one["is"]["odds"] / one["was"]["odds"] for one in data]
    assert gains == sorted(gains)


def small(strong: str, **names: str) -> Reasoner:
    """Two causes of one sign; the bale of `a` shows it. `names`: other names of a, b, bale."""
    a, b, title = (names.get(name, name) for name in ("a", "b", "bale"))
    base = small_base(
        causes={a: ("sometimes", {"m": "usually"}), b: ("sometimes", {"n": "usually"})},
        signs={"sign": (("yes", "no"), {})},
        shows={f"{a}/sign": {"yes": strong}, f"{b}/sign": {"yes": "sometimes"}},
    )
    shown = base.causes[a].model_copy(update={"bales": {title: Bale(seen={"sign": "yes"}, rank=1)}})
    return Reasoner(replace(base, causes=base.causes | {a: shown}))


def test_nothing_changed_is_nothing_moved() -> None:
    before = small("usually")
    assert moved(before, small("usually")) == ()
    said = moved_lines(before.base, (), "the shipped rules")
    assert said == ["Moved against the shipped rules: nothing."]


def test_a_bale_taken_away_is_told_where_its_cause_stands_now() -> None:
    before, now = small("usually"), small("rarely", bale="another")
    found = moved(before, now)
    assert {one.name for one in found} == {"bale", "another"}
    (one, _) = found
    assert (one.was.rank, one.now.rank if one.now else 0) == (1, 2)
    assert moved_lines(now.base, found, "before") == [
        "Moved against before: 2 bales, worst first.",
        "  a: bale",
        "    was first, 3.0 times the next; is number 2, 0.29 times the first",
        "  a: another",
        "    was first, 3.0 times the next; is number 2, 0.29 times the first",
    ]


def test_a_cause_taken_away_is_told_and_a_new_one_is_not() -> None:
    before, now = small("usually"), small("usually", a="c")
    (one,) = moved(before, now)
    assert (one.cause, one.name, one.now) == ("a", "bale", None)
    said = " ".join(moved_lines(now.base, (one,), "before"))
    assert "a: bale was first, 3.0 times the next; is not known to these rules" in " ".join(
        said.split()
    )


def test_the_page_of_a_cause_shows_its_bales() -> None:
    flat = " ".join(run("show", "trip_rod_worn").output.split())
    assert f"Bale: {BALE} (first, 2.7 times the next)" in flat
    assert "Did the monitor call for the tie: this machine trips without a monitor" in flat
    assert "nothing turned (not among the first 5)" in flat
    data = json.loads(run("show", "trip_rod_worn", "--json").output)
    assert data["bales"][BALE] == {
        "seen": {"hangs": "runs_back", "cycled": "no", "trip_lamp": "none"},
        "codes": [],
        "readings": {},
        "rank": 1,
        "odds": 2.7,
    }


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        (
            'if: {cycled: "no", which: all}, then: {noise: silent}',
            "it follows without 'which' too: change the condition or drop it",
        ),
        (
            "if: {hangs: burst_at_knot, code: density_over}, "
            "unless: {hangs: burst_at_knot}, then: {other_twines: very_tight}",
            "it does not follow from its own 'if'",
        ),
    ],
)
def test_a_rule_that_follows_from_less_than_it_says_or_never_is_refused(
    copy: Path, rule: str, told: str
) -> None:
    added = f"rules:\n  too_much: {{{rule}, basis: judgement, why: W.}}\n"
    (copy / "zz_added.yaml").write_text(added, encoding="utf-8")
    base = load_rules(copy)
    found = [str(InputError(what, base.places[key])) for key, what in loose_rules(base)]
    assert found == [f"{copy / 'zz_added.yaml'}:2: rules.too_much: {told}"]


def test_an_engine_that_hears_another_answer_or_no_exception_would_be_told(
    base: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every rule of what follows is proved: each one, made deaf, is found."""

    def deaf(base: Knowledge) -> tuple[Production, ...]:
        return tuple(
            replace(p, unless=(), when=tuple(replace(one, slots=one.slots[:1]) for one in p.when))
            for p in compile_productions(base)
        )

    assert list(loose_rules(base)) == []
    monkeypatch.setattr(proofs, "compile_productions", deaf)
    told = list(loose_rules(base))
    assert {key for key, _ in told} == {f"means:{name}" for name in base.means}
    assert ("means:code_twine_changed", WITH.format("code: service_done")) in told
    assert ("means:arm_low", WITH.format("grade.slack_arm_angle: in")) in told
