"""A replay as lines and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from statistics import fmean, median
from typing import Any

from diagnose.casebook.changes import Changes, Effect
from diagnose.casebook.paths import Paths
from diagnose.casebook.regression import Regression
from diagnose.casebook.replay import FIRST, Replay
from diagnose.casebook.scores import Bin, calibration_error
from diagnose.knowledge.model import Knowledge
from diagnose.say import Block, Gap, Para, Rows, Words, lines, said

MOST_EFFECTS = 10


def edges_of(base: Knowledge) -> tuple[list[float], list[str]]:
    """The bins of the reliability diagram: the limits of the standing words, lowest first."""
    standings = sorted((least, word) for word, (least, _) in base.standings.items())
    return [*(least for least, _ in standings), 1.0], [word for _, word in standings]


def regression_lines(base: Knowledge, found: Regression) -> list[str]:
    """A whole run: scores, reliability, minutes, what rule changes did, cases left out."""
    if not found.alone.judged:
        return lines([Para(said("casebook.none_readable")), *_left_out(found.alone)])
    parts = (
        lines(_scores(base, found.alone, found.learnt)),
        lines(_reliability(base, found.alone)),
        lines(_minutes(list(found.minutes.values()))),
        lines(_changes(found.changes)),
        lines(_left_out(found.alone)),
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


def _scores(base: Knowledge, replayed: Replay, learnt: Replay | None) -> Iterator[Block]:
    """How often the confirmed cause was suspected, and how good the chances were."""
    runs = [run for run in (replayed, learnt) if run is not None]
    n, k = len(replayed.judged), len(base.causes)
    heads = [said("casebook.rules_alone"), said("casebook.with_learning")][: len(runs)]
    even = (said("casebook.even_chances", score=score) for score in (1 - 1 / k, math.log(k)))
    rows: list[tuple[Words, ...]] = [
        ("", *heads, ""),
        (said("casebook.cause_first"),
         *(said("casebook.of", number=r.first, all=n) for r in runs), ""),
        (said("casebook.among_first", places=FIRST),
         *(said("casebook.of", number=r.among_first, all=n) for r in runs), ""),
        (said("casebook.brier"), *(said("casebook.score", score=r.brier) for r in runs),
         next(even)),
        (said("casebook.log_score"), *(said("casebook.score", score=r.log_score) for r in runs),
         next(even)),
    ]  # fmt: skip
    cases = said("count.solved_case", n=n)
    yield Para(said("casebook.judged", cases=cases, version=base.version))
    yield from (Gap(), Rows(tuple(rows)))


def _reliability(base: Knowledge, replayed: Replay) -> Iterator[Block]:
    """The reliability diagram: what was said, and how often it was so."""
    edges, words = edges_of(base)
    bins = replayed.reliability(edges)
    rows = (_bin_row(words[edges.index(b.low)], b) for b in reversed(bins))
    cases, causes = len(replayed.judged), len(base.causes)
    yield Para(said("casebook.reliability", cases=cases, causes=causes))
    heads = (
        said("casebook.col_said"), said("casebook.col_chance"), said("casebook.col_so_in"),
        said("casebook.col_n"), said("casebook.col_interval"),
    )  # fmt: skip
    yield Rows(tuple(rows), heads)
    yield Para(said("casebook.distance", error=calibration_error(bins)), 2)


def _bin_row(word: str, b: Bin) -> tuple[Words, ...]:
    low, high = b.interval
    bar = "." * round(low * 20) + "=" * max(1, round(high * 20) - round(low * 20))
    chance, share = (said("casebook.score", score=score) for score in (b.mean_chance, b.share))
    return word, chance, share, str(b.n), said("casebook.interval", low=low, high=high, bar=bar)


def _minutes(minutes: Sequence[Paths]) -> Iterator[Block]:
    """Minutes to the fault by the planner, as checked, by a printed chart, and by the clock."""
    if not minutes:
        return
    ours = [p.planned for p in minutes]
    ways: tuple[tuple[Words, list[float]], ...] = (
        (said("casebook.our_planner"), ours),
        (said("casebook.as_checked"), [p.recorded + p.called for p in minutes]),
        (said("casebook.printed_chart"), [p.chart for p in minutes]),
    )
    rows: list[tuple[Words, ...]] = [
        (
            name,
            said("casebook.figure", value=fmean(each)),
            said("casebook.figure", value=median(each)),
            said("casebook.ratio", value=fmean(each) / fmean(ours)),
        )
        for name, each in ways
    ]
    heads = (
        "", said("casebook.col_mean"), said("casebook.col_median"), said("casebook.col_to_ours"),
    )  # fmt: skip
    yield Para(said("casebook.minutes", cases=said("count.case", n=len(minutes))))
    yield Rows(tuple(rows), heads)
    clocked = [(p.taken, p.recorded) for p in minutes if p.taken is not None]
    if clocked:
        taken, priced = fmean(t for t, _ in clocked), fmean(r for _, r in clocked)
        told = said("casebook.by_clock", taken=taken, n=len(clocked), times=taken / priced)
        yield Para(told, 2)


def _changes(changes: Changes | None) -> Iterator[Block]:
    """Which rule changes since the last replay made which case better or worse."""
    if changes is None:
        yield Para(said("casebook.nothing_kept"))
        return
    rules, since = said("count.rule", n=len(changes.rules)), changes.since[:10]
    if not changes.effects:
        yield Para(said("casebook.nothing_moved", rules=rules, since=since))
        return
    worse = sum(effect.gain < 0 for effect in changes.effects)
    better = len(changes.effects) - worse
    worse_said = said("count.case", n=worse)
    yield Para(said("casebook.moved", rules=rules, since=since, worse=worse_said, better=better))
    for effect in _most_telling(changes.effects):
        (was, was_rank), (now, rank) = effect.before, effect.now
        told = said(
            "casebook.worse" if effect.gain < 0 else "casebook.better",
            case=effect.case_id, cause=effect.cause, was_rank=was_rank, rank=rank, was=was,
            now=now,
        )  # fmt: skip
        yield Para(told, 2)
        for key, gain in effect.by[:3]:
            yield Para(said("casebook.by_rule", rule=key, gain=gain), 6)
    left = len(changes.effects) - MOST_EFFECTS
    if left > 0:
        yield Para(said("casebook.more_in_json", number=left), 2)


def _most_telling(effects: Sequence[Effect]) -> list[Effect]:
    return sorted(sorted(effects, key=lambda e: -abs(e.gain))[:MOST_EFFECTS], key=lambda e: e.gain)


def _left_out(replayed: Replay) -> Iterator[Block]:
    """Cases that these rules cannot read."""
    for case_id, why in replayed.left_out:
        yield Para(said("casebook.left_out", case=case_id, why=why))
