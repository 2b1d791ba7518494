"""What the rules say of an act: its cautions, the looks it destroys, whether the machine runs.

An act is a sign asked, a check done or a cause set right. Session and drill ask here, so that
both say the same.
"""

from __future__ import annotations

from typing import Literal

from diagnose.knowledge.model import Check, Knowledge, Sign

Kind = Literal["ask", "check", "mend"]


def cautions_of(base: Knowledge, act: str) -> tuple[str, ...]:
    """Cautions of a sign or a check, those of its place first, each once.

    A question where the search begins is put to the driver or to a bale on the ground, away from
    the machine: it has its own cautions only. Raises KeyError for an unknown id.
    """
    body = _body(base, act)
    away = isinstance(body, Sign) and body.setup == base.start_setup
    place = [] if away else base.setups[body.setup].cautions
    return tuple(dict.fromkeys([*place, *body.cautions]))


def mending_cautions(base: Knowledge, cause: str, finder: str | None = None) -> tuple[str, ...]:
    """Cautions of setting a cause right: those of the check that found it, or of its best finder
    where none is named, and its own."""
    found_by = finder or best_finder(base, cause)
    return tuple(dict.fromkeys([*cautions_of(base, found_by), *base.causes[cause].cautions]))


def best_finder(base: Knowledge, cause: str) -> str:
    """The check that overlooks a cause least, the first of equals. Every cause has one but what
    nobody wrote down, for which this raises ValueError."""
    checks = base.links.finders[cause]
    return min(checks, key=lambda check: base.words[base.checks[check].confirms[cause]])


def again_cautions(base: Knowledge, cause: str) -> tuple[str, ...]:
    """Cautions of the checks to go through again after a cause was set right."""
    checks = (item for item in base.causes[cause].again if item in base.checks)
    return tuple(dict.fromkeys(c for check in checks for c in cautions_of(base, check)))


def place_of(base: Knowledge, here: str, act: str) -> str:
    """Where a sign is asked or a check done. What is asked or told of the bale is so from where
    one stands; a check is done in its own place, even where a search begins."""
    body = _body(base, act)
    told = isinstance(body, Sign) and body.setup == base.start_setup
    return here if told else body.setup


def place_after(base: Knowledge, here: str, act: str) -> str:
    """Where it leaves one; an act for which the machine runs leaves one at the start."""
    return base.start_setup if runs(base, act) else place_of(base, here, act)


def runs(base: Knowledge, act: str) -> bool:
    """The machine runs for this sign or check, and is made safe anew after it."""
    return base.roles.restart in _body(base, act).cautions


def undone(base: Knowledge, act: str) -> frozenset[str]:
    """Cautions whose precaution is gone after this sign or check: all of them where the machine
    ran, else what its own cautions undo, as block and lock are off while one turns."""
    if runs(base, act):
        return frozenset(base.cautions)
    own = (base.cautions[name].undoes for name in cautions_of(base, act))
    return frozenset(name for undoes in own for name in undoes)


def destroyed(base: Knowledge, act: str, here: str | None = None) -> tuple[str, ...]:
    """Signs that nobody can look at any more after this sign or check, in the order of the rules.

    Getting into its setup destroys too, unless one stands `here` in it already. What an act looks
    at itself is not destroyed before it is looked at.
    """
    gone = {*act_destroys(base, act), *way_destroys(base, act, here)}
    return tuple(sign for sign in base.signs if sign in gone)


def act_destroys(base: Knowledge, act: str) -> tuple[str, ...]:
    """Signs that the act itself wipes, pulls or turns away, at the knotter where it is done."""
    return tuple(sign for sign in _body(base, act).destroys if sign != act)


def way_destroys(base: Knowledge, act: str, here: str | None) -> tuple[str, ...]:
    """Signs lost by getting into the act's setup, at every knotter; none where one stands in it."""
    setup = _body(base, act).setup
    way = () if setup == here else base.setups[setup].destroys
    return tuple(sign for sign in way if sign != act)


def precautions(base: Knowledge, kind: Kind, name: str) -> tuple[str, ...]:
    """Cautions to be confirmed before a sign is asked, a check done or a cause set right: made
    safe first, then in the order of the rules. None for what is asked away from the machine.

    Raises KeyError for an unknown id.
    """
    cautions = mending_cautions(base, name) if kind == "mend" else cautions_of(base, name)
    if kind == "ask" and not cautions:
        return ()
    wanted = [n for n, caution in base.cautions.items() if caution.confirm and n in cautions]
    return tuple(dict.fromkeys([base.roles.make_safe, *wanted]))


def _body(base: Knowledge, act: str) -> Sign | Check:
    return base.checks[act] if act in base.checks else base.signs[act]


def per_knotter(base: Knowledge, act: str) -> bool:
    """Whether a sign or a check is of one knotter, or of the whole machine."""
    body = _body(base, act)
    return body.per == "knotter" if isinstance(body, Check) else body.scope != "bale"
