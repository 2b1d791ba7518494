"""The rule base as its keepers read it: every item a page, every command an answer."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.cli.main import cli
from diagnose.errors import InputError
from diagnose.knowledge import Knowledge
from diagnose.rulebook.pages import KINDS, append_rule, find, item_data, page_lines, scaffold
from diagnose.say.text import in_columns

ONE_OF_EACH = {
    "mechanisms": "not_laid", "signs": "hangs", "causes": "hook_worn", "checks": "look_at_hook",
    "settings": "hook_clamp_spring", "setups": "deck_open", "cautions": "make_safe",
    "sources": "iso_4254_11", "codes": "tie_missed", "shows": "not_held/hangs",
    "means": "not_turned_means_all",
}  # fmt: skip


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli, ["rules", *arguments])


@pytest.mark.parametrize(("kind", "name"), ONE_OF_EACH.items())
def test_every_kind_of_item_has_a_page_with_basis_and_place(
    base: Knowledge, kind: str, name: str
) -> None:
    told = " ".join(" ".join(page_lines(base, name)).split())
    data = item_data(base, name)
    assert (data["kind"], data["id"]) == (kind, name)
    assert data["file"].endswith(".yaml")
    assert f"{data['file']}" in told
    if kind != "sources":
        assert "Basis: " in told
    printed = run("show", name)
    assert printed.exit_code == 0
    assert " ".join(printed.output.split()) == told
    assert json.loads(run("show", name, "--json").output)["id"] == name


def test_a_page_tells_what_its_kind_is_read_for(base: Knowledge) -> None:
    def page(name: str) -> str:
        return " ".join(" ".join(page_lines(base, name)).split())

    look = base.checks["look_at_hook"]
    assert look.do.split(".")[0] in page("look_at_hook")
    assert base.causes["hook_worn"].mend in page("hook_worn")
    assert "Bale: " in page("hook_worn")
    assert all(rule in page("hangs") for rule in base.links.rules_on["hangs"])
    assert base.settings["hook_clamp_spring"].where in page("hook_clamp_spring")
    assert base.signs["hangs"].ask in page("not_held/hangs")
    assert "If: " in page("not_turned_means_all")
    assert "Then: " in page("not_turned_means_all")
    assert base.codes["tie_missed"].says in page("tie_missed")
    assert base.cautions["make_safe"].first.split(".")[0] in page("make_safe")


@pytest.mark.parametrize("wide", [40, 60, 80])
def test_every_page_fits(base: Knowledge, wide: int) -> None:
    with in_columns(wide):
        for name in ONE_OF_EACH.values():
            long = [line for line in page_lines(base, name) if len(line) > wide]
            assert not long, long


def test_a_list_holds_every_item_and_words_narrow_it(base: Knowledge) -> None:
    every = json.loads(run("list", "--json").output)["items"]
    assert {row["kind"] for row in every} == set(KINDS)
    assert len(every) == sum(len(getattr(base, kind)) for kind in KINDS)
    few = json.loads(run("list", "hook", "worn", "--json").output)["items"]
    assert 0 < len(few) < len(every)
    assert all("hook" in str(row).lower() and "worn" in str(row).lower() for row in few)
    assert "Nothing in the rule base holds these words." in run("list", "no such words").output


def test_an_unknown_name_tells_the_nearest(base: Knowledge) -> None:
    with pytest.raises(InputError, match="did you mean 'hook_worn'"):
        find(base, "hook_wron")


def test_a_rule_is_begun_with_its_answers_and_words(base: Knowledge, tmp_path: Path) -> None:
    text = scaffold(base, "hook_rough/density")
    assert "hook_rough/density:" in text
    assert all(answer in text for answer in base.signs["density"].answers)
    assert "if:" in scaffold(base, "knots_mean_something")
    for wrong, why in (
        ("hook_worn/since", "is there already"),
        ("hook_wron/density", "did you mean 'hook_worn'"),
        ("hook_worn/densty", "did you mean 'density'"),
    ):
        with pytest.raises(InputError, match=why):
            scaffold(base, wrong)
    path = tmp_path / "own.yaml"
    path.write_text("rules:\n", encoding="utf-8")
    append_rule(path, text)
    assert "hook_rough/density:" in path.read_text(encoding="utf-8")
    begun = run("new", "hook_rough/windrow", "--in", str(path))
    assert begun.exit_code == 0
    assert "hook_rough/windrow:" in path.read_text(encoding="utf-8")
    assert "hook_rough/cleaned" in run("new", "hook_rough/cleaned").output
