"""A small rule base in one call, for tests that need one of their own.

Its words are the published scale of the shipped base; everything else is invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from diagnose.knowledge import Knowledge, load_rules
from diagnose.knowledge.model import (
    Base,
    Cause,
    Caution,
    Check,
    Means,
    Mechanism,
    Move,
    Setup,
    Shows,
    Sign,
)

Words = Mapping[str, str]
SOMETHING_ELSE = "something_else"
"""The shipped rules' cause for all that nobody wrote down; small bases call theirs so too."""
ROLES = load_rules().roles
INVENTED = {"basis": "judgement", "why": "invented"}


@cache
def scale() -> dict[str, float]:
    """The published frequency words, from word to share."""
    return load_rules().words


def small_base(
    *,
    causes: Mapping[str, tuple[str, Words]],
    signs: Mapping[str, tuple[tuple[str, ...], Words]],
    shows: Mapping[str, Words],
    checks: Mapping[str, tuple[str, float, Words]] | None = None,
    moves: Mapping[tuple[str, str], float] | None = None,
    means: Mapping[str, Mapping[str, object]] | None = None,
    words: Mapping[str, float] | None = None,
) -> Knowledge:
    """A rule base from its essentials; nothing is checked.

    causes: how common, and mechanism -> word; signs: answers, and the usual words;
    shows: `target/sign` -> answer -> word; checks: setup, minutes, cause -> word for overlooking;
    moves: minutes between setups; means: keys as in a rule file.
    """
    mechanisms = dict.fromkeys(m for _, leads in causes.values() for m in leads)
    used = [*(s for pair in moves or {} for s in pair), *(s for s, *_ in (checks or {}).values())]
    setups = dict.fromkeys(["round", *used])
    basis = {"basis": "judgement"}
    return Knowledge(
        roles=ROLES,
        codes={},
        base=Base(
            name="small",
            version="0",
            call_minutes=120,
            failure_rates={ROLES.often.once: 0.01, ROLES.often.untold: 0.05},
            **basis,
        ),
        words=dict(words or scale()),
        standings={ROLES.worth_mending: (0.1, "worth it"), "any": (0.0, "any chance at all")},
        sources={},
        cautions={
            name: Caution(name=name, danger="", first="", **basis)
            for name in (ROLES.make_safe, ROLES.restart)
        },
        setups={name: Setup(name=name, how="", start=name == "round", **basis) for name in setups},
        moves={
            f"{a}_{b}": Move(between=(a, b), minutes=minutes, **basis)
            for (a, b), minutes in (moves or {}).items()
        },
        mechanisms={name: Mechanism(name=name, story="", **basis) for name in mechanisms},
        signs={
            name: Sign(
                ask=name,
                look="",
                answers={a: a for a in answers},
                usual=dict(usual),
                scope="tie",
                minutes=1,
                setup="round",
                **basis,
            )
            for name, (answers, usual) in signs.items()
        },
        settings={},
        causes={
            name: Cause(
                name=name,
                part="",
                common=common,
                leads=dict(leads),
                mend="",
                trial="strand",
                **INVENTED,
            )
            for name, (common, leads) in causes.items()
        },
        checks={
            name: Check(
                do=name, tool="", setup=setup, minutes=minutes, confirms=dict(confirms), **basis
            )
            for name, (setup, minutes, confirms) in (checks or {}).items()
        },
        shows={name: Shows(answers=dict(answers), **INVENTED) for name, answers in shows.items()},
        means={name: Means(**rule, **INVENTED) for name, rule in (means or {}).items()},
    )
