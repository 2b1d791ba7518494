"""A replay in lines of 80 columns and as plain data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, median
from typing import Any

from diagnose.casebook.changes import Changes, Effect
from diagnose.casebook.paths import Paths
from diagnose.casebook.regression import Regression
from diagnose.casebook.replay import FIRST, Replay
from diagnose.casebook.scores import Bin, calibration_error
from diagnose.knowledge.model import Knowledge
from diagnose.say.text import count, table, wrapped

MOST_EFFECTS = 10


def edges_of(base: Knowledge) -> tuple[list[float], list[str]]:
    """The bins of the reliability diagram: the limits of the standing words, lowest first."""
    standings = sorted((least, word) for word, (least, _) in base.standings.items())
    return [*(least for least, _ in standings), 1.0], [word for _, word in standings]


def regression_lines(base: Knowledge, found: Regression) -> list[str]:
    """A whole run: scores, reliability, minutes, what rule changes did, cases left out."""
    if not found.alone.judged:
        return ["None of the solved cases can be read with these rules.", *_left_out(found.alone)]
    parts = (
        _score_lines(base, found.alone, found.learnt),
        _reliability_lines(base, found.alone),
        _minutes_lines(list(found.minutes.values())),
        _change_lines(found.changes),
        _left_out(found.alone),
    )
    return [line for part in parts if part for line in (*part, "")][:-1]


def regression_data(base: Knowledge, found: Regression) -> dict[str, Any]:
    """Everything a run found, for other programs."""
    minutes, changes = found.minutes, found.changes
    return {
        "rules": base.version,
        "digest": base.digest,
        "rules_alone": _scores_data(base, found.alone),
        "with_learning": _scores_data(base, found.learnt) if found.learnt else None,
        "left_out": [{"id": case_id, "why": why} for case_id, why in found.alone.left_out],
        "cases": [
            {
                "id": one.case.id,
                "cause": one.cause,
                "rank": one.rank,
                "chance": one.chance,
                "minutes": vars(minutes[one.case.id]) if one.case.id in minutes else None,
            }
            for one in found.alone.judged
        ],
        "changes": changes
        and {
            "since": changes.since,
            "rules": dict(changes.rules),
            "effects": [{**vars(e), "by": dict(e.by), "gain": e.gain} for e in changes.effects],
        },
    }


def _scores_data(base: Knowledge, replayed: Replay) -> dict[str, Any]:
    if not replayed.judged:
        return {"n": 0}
    bins = replayed.reliability(edges_of(base)[0])
    return {
        "n": len(replayed.judged),
        "first": replayed.first,
        "among_first_three": replayed.among_first,
        "brier": replayed.brier,
        "log_score": replayed.log_score,
        "calibration_error": calibration_error(bins),
        "reliability": [{**vars(b), "share": b.share, "interval": b.interval} for b in bins],
    }


def _score_lines(base: Knowledge, replayed: Replay, learnt: Replay | None) -> list[str]:
    """How often the confirmed cause was suspected, and how good the chances were."""
    runs = [run for run in (replayed, learnt) if run is not None]
    n, k = len(replayed.judged), len(base.causes)
    heads = ["rules alone", "with learning"][: len(runs)]
    rows = [
        ("", *heads, ""),
        ("confirmed cause first", *(f"{r.first} of {n}" for r in runs), ""),
        (f"among the first {FIRST}", *(f"{r.among_first} of {n}" for r in runs), ""),
        ("Brier score", *(f"{r.brier:.3f}" for r in runs), f"(even chances {1 - 1 / k:.3f})"),
        ("log score", *(f"{r.log_score:.3f}" for r in runs), f"(even chances {math.log(k):.3f})"),
    ]  # fmt: skip
    lines = wrapped(
        f"{count(n, 'solved case')} through rules {base.version}, each judged by what was "
        "seen before its first check. Scores: 0 is best."
    )
    return [*lines, "", *table(rows)]


def _reliability_lines(base: Knowledge, replayed: Replay) -> list[str]:
    """The reliability diagram: what was said, and how often it was so."""
    edges, words = edges_of(base)
    bins = replayed.reliability(edges)
    rows: list[tuple[str, ...]] = [("said", "chance", "so in", "n", "95 % interval")]
    rows += [_bin_row(words[edges.index(b.low)], b) for b in reversed(bins)]
    return [
        *wrapped(
            f"Reliability, rules alone: all {len(replayed.judged)} x {len(base.causes)} chances "
            "given, by standing word; mean chance said, and share that was so."
        ),
        *table(rows),
        *wrapped(f"Mean distance, weighted by n: {calibration_error(bins):.3f}.", 2),
    ]


def _bin_row(word: str, b: Bin) -> tuple[str, ...]:
    low, high = b.interval
    bar = "." * round(low * 20) + "=" * max(1, round(high * 20) - round(low * 20))
    return word, f"{b.mean_chance:.3f}", f"{b.share:.3f}", str(b.n), f"{low:.3f}-{high:.3f} {bar}"


def _minutes_lines(minutes: Sequence[Paths]) -> list[str]:
    """Minutes to the fault by the planner, as checked, by a printed chart, and by the clock."""
    if not minutes:
        return []
    ways = {
        "our planner": [p.planned for p in minutes],
        "as it was checked": [p.recorded + p.called for p in minutes],
        "a printed chart": [p.chart for p in minutes],
    }
    ours = ways["our planner"]
    rows = [("", "mean", "median", "mean to ours")]
    rows += [
        (name, f"{fmean(each):.1f}", f"{median(each):.1f}", f"{fmean(each) / fmean(ours):.2f}")
        for name, each in ways.items()
    ]
    lines = wrapped(
        f"Minutes to the fault in {count(len(minutes), 'case')}, all at the rule base's prices, "
        "ways and calls included:"
    )
    lines += table(rows)
    clocked = [(p.taken, p.recorded) for p in minutes if p.taken is not None]
    if clocked:
        taken, priced = fmean(t for t, _ in clocked), fmean(r for _, r in clocked)
        lines += wrapped(
            f"By the clock {taken:.1f} minutes on average (n = {len(clocked)}), "
            f"{taken / priced:.2f} times what the rule base says for the same steps.", 2,
        )  # fmt: skip
    return lines


def _change_lines(changes: Changes | None) -> list[str]:
    """Which rule changes since the last replay made which case better or worse."""
    if changes is None:
        return wrapped("No replay with other rules is kept yet; this one is, to compare with.")
    since = changes.since[:10]
    if not changes.effects:
        return wrapped(
            f"{count(len(changes.rules), 'rule')} changed since the replay of {since}; no case "
            "is notably better or worse."
        )
    worse = sum(effect.gain < 0 for effect in changes.effects)
    lines = wrapped(
        f"{count(len(changes.rules), 'rule')} changed since the replay of {since}: "
        f"{count(worse, 'case')} worse, {len(changes.effects) - worse} better."
    )
    for effect in _most_telling(changes.effects):
        (was, rank_was), (now, rank) = effect.before, effect.now
        lines += wrapped(
            f"{'worse' if effect.gain < 0 else 'better'}: {effect.case_id} {effect.cause}, place "
            f"{rank_was} -> {rank}, chance {was:.3f} -> {now:.3f}", first="  ",
        )  # fmt: skip
        for key, gain in effect.by[:3]:
            lines += wrapped(f"by {key} ({gain:+.2f})", first="      ")
    left = len(changes.effects) - MOST_EFFECTS
    return lines + (wrapped(f"and {left} more; --json lists all.", 2) if left > 0 else [])


def _most_telling(effects: Sequence[Effect]) -> list[Effect]:
    return sorted(sorted(effects, key=lambda e: -abs(e.gain))[:MOST_EFFECTS], key=lambda e: e.gain)


def _left_out(replayed: Replay) -> list[str]:
    """Cases that these rules cannot read."""
    return [
        line
        for case_id, why in replayed.left_out
        for line in wrapped(f"left out: {case_id}: {why}")
    ]
