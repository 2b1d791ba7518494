"""`diagnose schema`: the JSON Schema of what every `--json` prints, and of a case file."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import import_module
from typing import Any

import click

from diagnose.errors import InputError, nearest
from diagnose.say.text import table

KINDS = {
    "case": ("diagnose.case", "Case", "a bad bale as a file keeps it: --save, --case"),
    "bale": ("diagnose.views.diagnosis", "DiagnosisView", "diagnose bale --case FILE --json"),
    "sheet": ("diagnose.sheet.view", "SheetView", "diagnose sheet FILE --json"),
    "twine": ("diagnose.twine.report", "TwineView", "diagnose twine --json"),
    "log": ("diagnose.log.view", "LogView", "diagnose log FILES --json"),
    "cases": ("diagnose.casebook.view", "CasesView", "diagnose cases list, search --json"),
    "solved": ("diagnose.casebook.view", "CaseView", "diagnose cases show ID --json"),
    "learned": ("diagnose.casebook.view", "LearnedView", "diagnose cases learned --json"),
    "replay": ("diagnose.casebook.view", "ReplayView", "diagnose cases replay --json"),
    "progress": ("diagnose.train.view", "ProgressView", "diagnose train progress --json"),
    "rules": ("diagnose.rulebook.view", "ListingView", "diagnose rules list --json"),
    "rule": ("diagnose.rulebook.view", "ItemView", "diagnose rules show NAME --json"),
    "proofs": ("diagnose.rulebook.view", "CheckView", "diagnose rules check --json"),
}
"""Kind -> the module and class that say it, and where it is met."""


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("kind", required=False)
def schema(kind: str | None) -> int:
    """The JSON Schema (2020-12) of KIND; without KIND, what there is."""
    if kind is None:
        click.echo("\n".join(table(((name, met) for name, (*_, met) in KINDS.items()), indent=0)))
        return 0
    if kind not in KINDS:
        raise InputError(f"there is no '{kind}'{nearest(kind, KINDS)}; diagnose schema lists all")
    click.echo(json.dumps(schema_of(kind), ensure_ascii=False, indent=1))
    return 0


def schema_of(kind: str) -> dict[str, Any]:
    """Raises KeyError for an unknown kind."""
    module, name, _ = KINDS[kind]
    from diagnose.say.view import schema as made

    view: Callable[..., Any] = getattr(import_module(module), name)
    return made(view)  # type: ignore[arg-type]
