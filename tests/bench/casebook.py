"""What learning gains on streams of cases with a known truth, and what the store costs.

`python -m tests.bench.casebook`

Each stream has a true commonness of causes: the words' shares, each off by a log-normal factor,
and for each of two machine types off once more. Cases are drawn from it, with the opening
signs and three more drawn from the rules. A case is scored by the chance its true cause had
before its first check: with the rule base alone, with what the cases before it taught, and with
the true commonness, which nothing can beat. `closed` is the share of the gap that learning closes.
"""

from __future__ import annotations

import math
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import numpy.typing as npt

from diagnose.case import Case, Machine
from diagnose.casebook import learning
from diagnose.casebook.line import to_line
from diagnose.casebook.scores import calibration_error, reliability
from diagnose.casebook.store import Casebook
from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge import Knowledge, load_rules
from tests.casebook.samples import a_case

Floats = npt.NDArray[np.float64]
TYPES = ("type L", "type S")
STREAMS, LENGTH = 12, 400
SPANS = ((0, 20), (20, 60), (60, 150), (150, 400))
EDGES = (0, 0.01, 0.1, 0.5, 0.9, 1)


class Stream:
    """Cases of one invented world, and the likelihood of what was seen in each."""

    def __init__(self, tables: Tables, seed: int, word_factor: float, type_factor: float) -> None:
        chance = np.random.default_rng(seed)
        overall = _off(chance, tables.prior, word_factor)
        self.truth = {kind: _off(chance, overall, type_factor) for kind in TYPES}
        self.kinds = [TYPES[k] for k in chance.integers(len(TYPES), size=LENGTH)]
        self.causes = [int(chance.choice(len(overall), p=self.truth[k])) for k in self.kinds]
        self.likelihood = [_seen(tables, chance, cause) for cause in self.causes]

    def chances(self, n: int, commonness: Floats) -> Floats:
        """Posterior of case n under a commonness of causes."""
        weights = commonness * self.likelihood[n]
        return weights / weights.sum()


def _off(chance: np.random.Generator, shares: Floats, factor: float) -> Floats:
    moved = shares * np.exp(chance.normal(0, math.log(factor), len(shares)))
    return moved / moved.sum()


def _seen(tables: Tables, chance: np.random.Generator, cause: int) -> Floats:
    """Likelihood of one draw of opening signs and three others, by cause."""
    mine = np.flatnonzero(tables.branch_cause == cause)
    branch = chance.choice(mine, p=tables.branch_share[mine] / tables.branch_share[mine].sum())
    signs = [name for name, sign in tables.base.signs.items() if sign.first is not None]
    others = [name for name in tables.base.signs if name not in signs]
    signs += list(chance.choice(others, 3, replace=False))
    answers = {
        sign: (str(chance.choice(tables.answers[sign], p=tables.likelihood[sign][branch])),)
        for sign in signs
    }
    return tables.posterior(Evidence(answers=answers)).causes / tables.prior


def _learnt(
    base: Knowledge,
    stream: Stream,
    names: tuple[str, ...],
    confirmed: Callable[[Floats, int], bool] = lambda _chances, _cause: True,
) -> list[Floats]:
    """Chances of each case with what the confirmed cases before it had taught."""
    pairs: list[tuple[Case, str]] = []
    found = []
    for n, (kind, cause) in enumerate(zip(stream.kinds, stream.causes, strict=True)):
        prior = learning.learn(base, pairs, kind).prior
        chances = stream.chances(n, np.array([prior[name] for name in names]))
        found.append(chances)
        if confirmed(chances, cause):
            pairs.append((Case(id=str(n), machine=Machine(type=kind)), names[cause]))
    return found


def _log_scores(stream: Stream, chances: list[Floats]) -> Floats:
    return np.array([-math.log(c[cause]) for c, cause in zip(chances, stream.causes, strict=True)])


def _first_suspects(streams: list[Stream], runs: list[list[Floats]], start: int) -> float:
    """Calibration error of the chance said of the first suspect."""
    said = [run[n].max() for run in runs for n in range(start, LENGTH)]
    right = [int(run[n].argmax()) == stream.causes[n] for run, stream in zip(runs, streams,
             strict=True) for n in range(start, LENGTH)]  # fmt: skip
    return calibration_error(reliability(right, said, EDGES))


def _by_cause(streams: list[Stream], runs: list[list[Floats]], start: int) -> float:
    """Half the sum over causes of |chances given, on average, less how often it was the cause|."""
    apart = []
    for stream, run in zip(streams, runs, strict=True):
        happened = np.bincount(stream.causes[start:], minlength=len(run[0])) / (LENGTH - start)
        apart.append(np.abs(np.mean(run[start:], axis=0) - happened).sum() / 2)
    return float(np.mean(apart))


def _plain(tables: Tables, stream: Stream) -> list[Floats]:
    return [stream.chances(n, tables.prior) for n in range(LENGTH)]


def _oracle(stream: Stream) -> list[Floats]:
    return [stream.chances(n, stream.truth[kind]) for n, kind in enumerate(stream.kinds)]


def learning_figures(base: Knowledge) -> None:
    tables = Tables(base)
    for word_factor in (2.0, 4.0):
        streams = [Stream(tables, seed, word_factor, 1.5) for seed in range(STREAMS)]
        alone = [_plain(tables, stream) for stream in streams]
        learnt = [_learnt(base, stream, tables.causes) for stream in streams]
        best = [_oracle(stream) for stream in streams]
        scores = {
            name: np.mean([_log_scores(s, r) for s, r in zip(streams, runs, strict=True)], axis=0)
            for name, runs in (("alone", alone), ("learnt", learnt), ("best", best))
        }
        head = f"words off by a factor {word_factor:g}"
        for low, high in SPANS:
            a, t, b = (scores[name][low:high].mean() for name in ("alone", "learnt", "best"))
            print(f"{head}, cases {low}-{high}, log score alone/learnt/best: "
                  f"{a:.3f} {t:.3f} {b:.3f}, closed: {(a - t) / (a - b):.2f}")  # fmt: skip
        for what, error in (("by cause", _by_cause), ("of the first suspect", _first_suspects)):
            values = [error(streams, runs, 150) for runs in (alone, learnt, best)]
            told = " ".join(f"{value:.3f}" for value in values)
            print(f"{head}, cases 150-400, calibration error {what}, alone/learnt/best: {told}")
    _judgements(base, tables)
    _bias(base, tables)


def _judgements(base: Knowledge, tables: Tables) -> None:
    """How much the two judged figures matter: log score over cases 60 to 400."""
    streams = [Stream(tables, seed, 2.0, 1.5) for seed in range(6)]
    kept = learning.WORD_FACTOR, learning.OTHER_TYPE
    for word_factor, other_type in ((2, 0.5), (1.3, 0.5), (4, 0.5), (2, 0), (2, 1)):
        learning.WORD_FACTOR, learning.OTHER_TYPE = float(word_factor), float(other_type)
        runs = [_learnt(base, stream, tables.causes) for stream in streams]
        score = np.mean([_log_scores(s, r)[60:] for s, r in zip(streams, runs, strict=True)])
        print(f"word factor {word_factor:g}, other type {other_type:g}, log score: {score:.4f}")
    learning.WORD_FACTOR, learning.OTHER_TYPE = kept


def _bias(base: Knowledge, tables: Tables) -> None:
    """Causes that stood outside the first five are confirmed in one case of four only."""
    chance = np.random.default_rng(1)

    def suspected(chances: Floats, cause: int) -> bool:
        rank = int((chances > chances[cause]).sum())
        return rank < 5 or bool(chance.random() < 0.25)

    streams = [Stream(tables, seed, 2.0, 1.5) for seed in range(6)]
    for name, rule in (("all confirmed", lambda _c, _k: True), ("suspects favoured", suspected)):
        runs = [_learnt(base, stream, tables.causes, rule) for stream in streams]
        score = np.mean([_log_scores(s, r)[150:] for s, r in zip(streams, runs, strict=True)])
        print(f"{name}, cases 150-400, log score: {score:.3f}")
    alone = np.mean([_log_scores(s, _plain(tables, s))[150:] for s in streams])
    print(f"rule base alone, cases 150-400, log score: {alone:.3f}")


def store_figures(count: int = 300, many: int = 5_000) -> None:
    cases = [a_case(number) for number in range(many)]
    with tempfile.TemporaryDirectory() as folder:
        with closing(sqlite3.connect(Path(folder) / "raw.db", isolation_level=None)) as raw:
            raw.execute("PRAGMA journal_mode=WAL")
            raw.execute("PRAGMA synchronous=FULL")
            raw.execute("CREATE TABLE lines (id TEXT PRIMARY KEY, line TEXT)")
            start = time.perf_counter()
            for case in cases[:count]:
                raw.execute("INSERT INTO lines VALUES (?, ?)", (case.id, to_line(case)))
            plain = (time.perf_counter() - start) / count
        with Casebook(Path(folder) / "book.db") as book:
            start = time.perf_counter()
            for case in cases[:count]:
                book.add(case)
            ours = (time.perf_counter() - start) / count
            start = time.perf_counter()
            book.add(*cases)
            bulk = time.perf_counter() - start
            start = time.perf_counter()
            entries = len(book.entries())
            reading = time.perf_counter() - start
    print(f"one case acknowledged, ms: {ours * 1e3:.2f}")
    print(f"one case acknowledged, ratio to a bare insert with the same sync: {ours / plain:.1f}")
    print(f"{many} cases imported at once, s: {bulk:.2f}")
    print(f"{entries} cases read back and worked out, s: {reading:.2f}")


def main() -> int:
    learning_figures(load_rules())
    store_figures()
    return 0


if __name__ == "__main__":
    sys.exit(main())
