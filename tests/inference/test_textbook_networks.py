"""Networks and figures from books, written as small rule bases and put to our own tables.

A book's network may hold several faults at once; here each way they can stand together is one
cause, and the chances of a single fault are sums over these.
"""

from __future__ import annotations

from itertools import product

import pytest

from diagnose.inference import compile_productions
from diagnose.inference.forward import Engine
from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge import Knowledge
from tests.inference.networks import by_pgmpy, by_pyagrum, network_of
from tests.small_base import small_base

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::FutureWarning")
Faults = tuple[bool, ...]


class Book:
    """A rule base whose causes are the ways that some faults can stand together."""

    def __init__(
        self, faults: tuple[str, ...], prior: dict[Faults, float], signs: dict[str, dict]
    ) -> None:
        """signs: sign -> way the faults stand -> chance of each answer."""
        self.names, self.ways = faults, {self._name(way): way for way in prior}
        numbers = [*prior.values()]
        numbers += [p for table in signs.values() for row in table.values() for p in row.values()]
        words = {repr(n): n for n in numbers} | {"never": 1e-12, "almost never": 1e-12, "all": 1.0}
        answers = {sign: tuple(next(iter(table.values()))) for sign, table in signs.items()}
        self.base: Knowledge = small_base(
            causes={
                self._name(way): (repr(chance), {f"by_{self._name(way)}": "all"})
                for way, chance in prior.items()
            },
            signs={sign: (names, {}) for sign, names in answers.items()},
            shows={
                f"{self._name(way)}/{sign}": {a: repr(p) for a, p in row.items()}
                for sign, table in signs.items()
                for way, row in table.items()
            },
            words=words,
        )

    @staticmethod
    def _name(way: Faults) -> str:
        return "way_" + "".join("ny"[fault] for fault in way)

    def chances(self, **seen: str) -> list[float]:
        """Chance of each fault after what was seen, agreed on by three programs."""
        known = Evidence(answers={sign: (answer,) for sign, answer in seen.items()})
        ours = Tables(self.base).posterior(known).by_cause
        network = network_of(self.base, known)
        assert by_pgmpy(network) == pytest.approx(ours, abs=1e-9)
        assert by_pyagrum(network) == pytest.approx(ours, abs=1e-9)
        return [
            sum(chance for name, chance in ours.items() if self.ways[name][i])
            for i in range(len(self.names))
        ]


def yes(chance: float) -> dict[str, float]:
    return {"yes": chance, "no": 1 - chance}


def test_the_chest_clinic() -> None:
    """Visit to Asia: Lauritzen and Spiegelhalter, J. Royal Statistical Society B 50, 1988."""
    prior, breath, picture = {}, {}, {}
    for way in product((False, True), repeat=3):
        tub, lung, bronc = way
        smoking = ((0.1, 0.6), (0.01, 0.3))
        pair = sum(0.5 * (a if lung else 1 - a) * (b if bronc else 1 - b) for a, b in smoking)
        prior[way] = (0.05 if tub else 0.95) * pair  # 0.05 after a visit to Asia
        either = tub or lung
        breath[way] = yes({(1, 1): 0.9, (1, 0): 0.7, (0, 1): 0.8, (0, 0): 0.1}[either, bronc])
        picture[way] = yes(0.98 if either else 0.05)
    clinic = Book(("tub", "lung", "bronc"), prior, {"dysp": breath, "xray": picture})
    assert clinic.chances(dysp="yes") == pytest.approx(
        [0.0877509650, 0.0995251451, 0.8114020716], abs=1e-9
    )
    assert clinic.chances(dysp="yes", xray="yes") == pytest.approx(
        [0.3917117200, 0.4442705078, 0.6288217760], abs=1e-9
    )


def test_the_car_that_does_not_start() -> None:
    """Jensen and Nielsen, Bayesian Networks and Decision Graphs, 2007 (tables from memory)."""
    prior, start, meter = {}, {}, {}
    for way in product((False, True), repeat=2):
        empty, dirty = way
        prior[way] = (0.02 if empty else 0.98) * (0.04 if dirty else 0.96)
        start[way] = yes(0.0 if empty else 0.01 if dirty else 0.99)
        shares = (0.001, 0.001, 0.998) if empty else (0.39, 0.60, 0.01)
        meter[way] = dict(zip(("full", "half", "empty"), shares, strict=True))
    car = Book(("no fuel", "dirty plugs"), prior, {"start": start, "meter": meter})
    assert car.chances(start="no")[1] == pytest.approx(0.5806262460, abs=1e-9)
    assert car.chances(start="no", meter="half")[1] == pytest.approx(0.8043496283, abs=1e-9)


def test_twenty_heads_in_decibans() -> None:
    """General Report on Tunny, 1945, p. 39: 20 heads at factor 2 against 10,000 to 1."""
    tosses = [f"toss_{i}" for i in range(20)]
    base = small_base(
        causes={
            "two_heads": ("one", {"thrown": "all"}),
            "fair": ("ten_thousand", {"fairly_thrown": "all"}),
        },
        signs={toss: (("heads", "tails"), {}) for toss in tosses},
        shows={f"two_heads/{toss}": {"heads": "all", "tails": "none"} for toss in tosses},
        words={"one": 1.0, "ten_thousand": 1e4, "all": 1.0, "none": 0.0, "never": 1e-12,
               "almost never": 1e-12},
    )  # fmt: skip
    concluded = Engine(compile_productions(base)).conclude({t: [("heads",)] for t in tosses})
    decibans = sum(weight.decibans for weight in concluded.weights)
    assert decibans - 40 == pytest.approx(20.206, abs=5e-4)
    chance = Tables(base).posterior(Evidence(answers=concluded.evidence)).by_cause
    assert chance["two_heads"] / chance["fair"] == pytest.approx(104.8576)
