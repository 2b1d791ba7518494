"""Own rules lie in a folder on top of the shipped ones, survive an update, and are named as own."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from diagnose.case import Case, MadeSafe, Seen
from diagnose.cli.main import cli
from diagnose.errors import InputFaultsError
from diagnose.knowledge import Knowledge, load_rules
from diagnose.say import lines
from diagnose.session import Reasoner, diagnose
from diagnose.views.suspects import suspect_blocks, suspect_part

ADDED = """\
rules:
  pickup_wrong/hangs:
    answers: {broke_away: usually}
    basis: judgement
    why: Here it tears the strand at the corner.
"""


@pytest.fixture
def own(tmp_path: Path) -> Path:
    folder = tmp_path / "tying-fault-diagnosis" / "rules"
    folder.mkdir(parents=True)
    return folder


def written(folder: Path, text: str) -> Path:
    (folder / "ours.yaml").write_text(text, encoding="utf-8")
    return folder


def test_an_own_rule_is_added_and_counted(own: Path, base: Knowledge) -> None:
    mine = load_rules(own=written(own, ADDED))
    assert mine.own == {"shows:pickup_wrong/hangs"}
    assert len(mine.shows) == len(base.shows) + 1
    assert mine.version == f"{base.version} with 1 own"
    assert mine.digest != base.digest
    assert base.own == frozenset()


def test_an_own_item_stands_in_the_place_of_the_shipped_one(own: Path, base: Knowledge) -> None:
    shipped = base.checks["rock_frame"]
    mine = load_rules(own=written(own, (
        "checks:\n  rock_frame:\n    do: Rock it by a bar.\n    tool: bar\n    setup: deck_open\n"
        "    minutes: 7\n    confirms: {frame_loose: seldom}\n    setting: frame_play\n"
        "    cautions: [make_safe]\n    basis: judgement\n")))  # fmt: skip
    assert list(mine.checks) == list(base.checks)
    assert mine.checks["rock_frame"].minutes == 7 != shipped.minutes
    assert mine.own == {"checks:rock_frame"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("roles: {}\n", "ours.yaml:1: roles: 'roles' belongs to the shipped rules"),
        (ADDED.replace("pickup_wrong/", "pickup_wrng/"), "unknown mechanism or cause"),
        (ADDED + ADDED.partition("\n")[2], "stands twice here"),
        ("", "should hold a mapping"),
    ],
)
def test_what_is_wrong_with_own_rules_is_told_at_its_line(own: Path, text: str, told: str) -> None:
    with pytest.raises(InputFaultsError) as refused:
        load_rules(own=written(own, text))
    assert told in str(refused.value)
    assert "ours.yaml:" in str(refused.value)


def test_an_own_rule_is_named_as_own_where_it_speaks(own: Path) -> None:
    reasoner = Reasoner(load_rules(own=written(own, ADDED)))
    seen = Seen(sign="hangs", answers=("broke_away",))
    known = diagnose(reasoner, Case(id="t", events=(MadeSafe(), seen)))
    suspect = next(s for s in known.suspects if s.id == "pickup_wrong")
    said = " ".join(" ".join(lines(suspect_blocks(suspect_part(reasoner.base, suspect)))).split())
    assert "[own rule: pickup_wrong/hangs]" in said


def test_commands_take_own_rules_from_their_folder_unless_another_base_is_named(
    own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(own, ADDED)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(own.parents[1]))
    listed = CliRunner().invoke(cli, ["rules", "list", "pickup_wrong/hangs"], standalone_mode=False)
    assert "(own)" in listed.output
    shown = CliRunner().invoke(cli, ["rules", "show", "pickup_wrong/hangs"], standalone_mode=False)
    assert "ours.yaml:2 (own)" in shown.output
    rules = Path(__file__).parents[2] / "rules"
    other = CliRunner().invoke(
        cli, ["rules", "list", "pickup_wrong/hangs", "--rules", str(rules)], standalone_mode=False
    )
    assert "(own)" not in other.output
