"""A rule base with faults is refused, every fault with its file and line."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from diagnose.errors import InputFaultsError
from diagnose.inference.graph import cause_graph, structural_faults
from diagnose.knowledge import load_rules, rules_folder
from diagnose.rulebook.proofs import prove
from diagnose.session import Reasoner


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return Path(shutil.copytree(rules_folder(), tmp_path / "rules"))


def change(folder: Path, old: str, new: str) -> tuple[Path, int]:
    """Replace the first `old` in the rule files; the file and line where it stood."""
    for path in sorted(folder.rglob("*.yaml")):
        text = path.read_text(encoding="utf-8")
        if old in text:
            path.write_text(text.replace(old, new, 1), encoding="utf-8")
            return path, text[: text.index(old)].count("\n") + 1
    raise AssertionError(f"{old!r} stands nowhere")


def add(folder: Path, text: str) -> Path:
    path = folder / "zz_added.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder: Path) -> str:
    with pytest.raises(InputFaultsError) as caught:
        load_rules(folder)
    return str(caught.value)


def test_the_shipped_base_has_every_kind_of_thing_in_full() -> None:
    base = load_rules()
    assert len(base.mechanisms) == 12
    assert len(base.causes) >= 36
    assert len(base.signs) >= 20
    assert len(base.checks) >= 32


def test_an_unknown_word_is_told_with_the_nearest_right_one(copy: Path) -> None:
    path, line = change(copy, "common: sometimes", "common: sometime")
    told = faults(copy)
    at = f"{path}:{line}: causes.density_high.common: "
    assert f"{at}unknown word 'sometime', did you mean 'sometimes'?" in told


def test_an_unknown_key_is_told_with_the_nearest_right_one(copy: Path) -> None:
    path, _ = change(copy, "    mend:", "    mends:")
    at = rf"{re.escape(str(path))}:\d+: causes.density_high.mends: "
    assert re.search(rf"{at}unknown key 'mends', did you mean 'mend'\?", faults(copy))


def test_a_key_that_stands_twice_is_told_with_both_lines(copy: Path) -> None:
    add(copy, "sources:\n  a: {title: T, where: W, read: from memory}\n"
              "  a: {title: T, where: W, read: from memory}\n")  # fmt: skip
    assert re.search(r"zz_added.yaml:3: 'a' stands twice here, first on line 2", faults(copy))


def test_an_id_that_stands_in_two_files_is_told_with_both_places(copy: Path) -> None:
    add(copy, "sources:\n  davidson_1913: {title: T, where: W, read: from memory}\n")
    at = "zz_added.yaml:2: sources.davidson_1913: "
    told = rf"{at}'davidson_1913' stands twice in 'sources', first at .+:\d+"
    assert re.search(told, faults(copy))


def test_words_that_add_up_to_more_than_every_time_are_refused(copy: Path) -> None:
    add(copy, "rules:\n  hook_worn/crop:\n    answers: {straw: usually, hay: about half}\n"
              "    basis: judgement\n    why: Too much.\n")  # fmt: skip
    at = "zz_added.yaml:3: rules.hook_worn/crop.answers: "
    assert f"{at}the words add up to 1.251, more than every time" in faults(copy)


def test_all_faults_are_told_at_once(copy: Path) -> None:
    change(copy, "common: sometimes", "common: sometime")
    add(copy, "rules:\n  hook_wrn/crop:\n    answers: {strow: usually}\n    basis: rumour\n"
              "    why: W.\n")  # fmt: skip
    told = faults(copy)
    for part in ("'sometime'", "'hook_wrn', did you mean 'hook_worn'", "'strow', did you mean",
                 "unknown basis 'rumour'"):  # fmt: skip
        assert part in told


def test_broken_yaml_is_told_with_its_line(copy: Path) -> None:
    add(copy, "rules:\n  a/b: [\n")
    assert re.search(r"zz_added.yaml:3: not valid YAML", faults(copy))


def test_an_empty_folder_is_told(tmp_path: Path) -> None:
    assert "holds no rule files" in faults(tmp_path)


def test_signs_derived_from_each_other_are_a_fault(copy: Path) -> None:
    add(copy, "rules:\n"
              "  one: {if: {crop: straw}, then: {density: usual}, basis: judgement, why: W.}\n"
              "  two: {if: {density: usual}, then: {crop: straw}, basis: judgement, why: W.}\n"
              .replace(
                  "usual", next(iter(load_rules().signs["density"].answers))))  # fmt: skip
    base = load_rules(copy)
    told = [what for _, what in structural_faults(cause_graph(base), base)]
    assert any("derive these signs from each other: crop, density" in what for what in told)


def test_a_cause_without_a_check_is_a_fault(copy: Path) -> None:
    base = load_rules(copy)
    cause = next(iter(base.causes))
    checks = {
        name: check.model_copy(
            update={"confirms": {c: w for c, w in check.confirms.items() if c != cause}}
        )
        for name, check in base.checks.items()
    }
    object.__setattr__(base, "checks", checks)
    told = [what for _, what in structural_faults(cause_graph(base), base)]
    assert f"no check confirms '{cause}'" in told


def test_the_shipped_base_passes_every_proof() -> None:
    report = prove(Reasoner(load_rules()))
    assert report.faults == ()
    assert report.inseparable == ()
    assert report.bales > 180


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        (
            "answers: {usual: seldom}",
            "'usual' is met more often with other faults, so this speaks against yours",
        ),
        (
            "answers: {usual: seldom, knock: usually}\n    against: [knock]",
            "'knock' is meant to speak against it, and is met",
        ),
    ],
)
def test_a_rule_that_speaks_against_its_own_target_is_refused(
    copy: Path, rule: str, told: str
) -> None:
    add(copy, f"rules:\n  hook_worn/noise:\n    {rule}\n    basis: judgement\n"
              "    why: W.\n")  # fmt: skip
    faults = [str(fault) for fault in prove(Reasoner(load_rules(copy))).faults]
    assert any(told in fault and "zz_added.yaml:2" in fault for fault in faults), faults


def test_an_answer_against_has_to_be_one_of_the_rule(copy: Path) -> None:
    add(copy, "rules:\n  hook_worn/noise:\n    answers: {usual: seldom}\n    against: [usuall]\n"
              "    basis: judgement\n    why: W.\n")  # fmt: skip
    with pytest.raises(InputFaultsError) as refused:
        load_rules(copy)
    assert "unknown answer of this rule 'usuall', did you mean 'usual'?" in str(refused.value)


def test_every_shipped_rule_speaks_for_its_target_with_its_strongest_answer(
    reasoner: Reasoner,
) -> None:
    """Counted by hand from the tables, apart from the proof: strongest answer under target."""
    base, tables = reasoner.base, reasoner.tables
    for rule, body in base.shows.items():
        target, sign = rule.split("/")
        names = tables.causes if target in base.causes else tables.mechanisms
        of = tables.branch_cause if target in base.causes else tables.branch_mechanism
        weights = tables.prior[tables.branch_cause] * tables.branch_share
        for answer in body.answers:
            column = tables.likelihood[sign][:, tables.answers[sign].index(answer)]
            sums = {True: [0.0, 0.0], False: [0.0, 0.0]}
            for b, weight in enumerate(weights):
                side = sums[names[of[b]] == target]
                side[0] += weight * column[b]
                side[1] += weight
            odds = sums[True][0] / sums[True][1] / (sums[False][0] / sums[False][1])
            if answer in body.against:
                assert odds < 1, rule
            elif answer == max(
                (a for a in body.answers if a not in body.against),
                key=lambda a: base.words[body.answers[a]],
            ):
                assert odds > 1, rule


def test_two_causes_that_nothing_tells_apart_are_named(copy: Path) -> None:
    """Alike in every sign, and confirmed only by one check that looks at both."""
    twins = "".join(
        f"  twin_{name}:\n    name: {name} of the twins\n    part: bill hook\n    common: seldom\n"
        "    trial: strand\n    leads: {not_held: usually}\n    why: W.\n    basis: judgement\n"
        "    mend: M.\n"
        for name in ("one", "two")
    )
    add(copy, f"causes:\n{twins}checks:\n  look_at_twins:\n    do: Look.\n    tool: torch\n"
              "    setup: deck_open\n    minutes: 1\n    basis: judgement\n"
              "    confirms: {twin_one: seldom, twin_two: seldom}\n")  # fmt: skip
    report = prove(Reasoner(load_rules(copy)))
    assert report.inseparable == (("twin_one", "twin_two"),)
