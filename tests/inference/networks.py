"""The rule base as a Bayesian network in two reference libraries, pgmpy and pyAgrum.

The conditional tables are worked out here from the rule base's words, not by `diagnose`.
Nodes: `cause`, one `tie i` for the mechanism of each bad tie, `sign @ i`, and `check @ j`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from diagnose.inference.tables import Evidence
from diagnose.knowledge import Knowledge

Table = np.ndarray
CLEARED = "nothing found"


@dataclass
class Network:
    """Nodes with their states, parents and P(node | parents), states on the first axis."""

    states: dict[str, list[str]] = field(default_factory=dict)
    parents: dict[str, tuple[str, ...]] = field(default_factory=dict)
    tables: dict[str, Table] = field(default_factory=dict)
    seen: dict[str, Table] = field(default_factory=dict)
    """0 or 1 for each state of an observed node."""

    def add(self, name: str, states: list[str], parents: tuple[str, ...], table: Table) -> None:
        self.states[name], self.parents[name], self.tables[name] = states, parents, table

    def see(self, name: str, answers: tuple[str, ...]) -> None:
        self.seen[name] = np.array([float(state in answers) for state in self.states[name]])


def network_of(base: Knowledge, evidence: Evidence, whole: bool = False) -> Network:
    """The network with the nodes that the evidence speaks of, or the whole, and the evidence."""
    net, causes, mechanisms = Network(), list(base.causes), list(base.mechanisms)
    common = np.array([base.words[base.causes[c].common] for c in causes])
    net.add("cause", causes, (), common / common.sum())
    leads = np.array(
        [[base.words.get(base.causes[c].leads.get(m, ""), 0.0) for c in causes] for m in mechanisms]
    )
    net.add("tie", mechanisms, ("cause",), leads / leads.sum(axis=0))
    for sign, given in evidence.answers.items():
        net.add(sign, list(base.signs[sign].answers), ("cause", "tie"), _answers(base, sign))
        net.see(sign, given)
    if whole:
        for sign in base.signs.keys() - evidence.answers.keys():
            answers = list(base.signs[sign].answers)
            net.add(sign, answers, ("cause", "tie"), _answers(base, sign))
        for check in base.checks.keys() - dict(evidence.results).keys():
            states = [CLEARED, *base.checks[check].confirms]
            net.add(check, states, ("cause",), _results(base, check))
    for number, (check, found) in enumerate(evidence.results):
        name = f"{check} @ {number}"
        net.add(name, [CLEARED, *base.checks[check].confirms], ("cause",), _results(base, check))
        net.see(name, (found or CLEARED,))
    return net


def _answers(base: Knowledge, sign: str) -> Table:
    """P(answer | cause, mechanism): the cause's rule, else the mechanism's, else as usual."""
    table = np.empty((len(base.signs[sign].answers), len(base.causes), len(base.mechanisms)))
    for c, cause in enumerate(base.causes):
        for m, mechanism in enumerate(base.mechanisms):
            rule = base.shows.get(f"{cause}/{sign}") or base.shows.get(f"{mechanism}/{sign}")
            words = rule.answers if rule else base.signs[sign].usual
            table[:, c, m] = shares(base, list(base.signs[sign].answers), words)
    return table


def shares(base: Knowledge, answers: list[str], words: Mapping[str, str]) -> Table:
    """Named answers have their word's share; the others divide the rest, at least `never`."""
    given = {answer: base.words[word] for answer, word in words.items()}
    unnamed = len(answers) - len(given)
    rest = max((1 - sum(given.values())) / unnamed, base.words["never"]) if unnamed else 0.0
    row = np.array([given.get(answer, rest) for answer in answers])
    return row / row.sum()


def _results(base: Knowledge, check: str) -> Table:
    """P(result | cause): finds the fault or overlooks it, and seldom finds one that is another."""
    confirms = {c: base.words[w] for c, w in base.checks[check].confirms.items()}
    wrong = base.words[base.roles.false_find]
    table = np.zeros((1 + len(confirms), len(base.causes)))
    for c, cause in enumerate(base.causes):
        missed = confirms.get(cause, 1.0)
        others = [f for f in confirms if f != cause]
        for f, found in enumerate(confirms, 1):
            table[f, c] = 1 - missed if found == cause else missed * wrong / len(others)
        table[0, c] = 1 - table[1:, c].sum()
    return table


Query = Callable[[], dict[str, float]]
"""Takes the evidence in and gives P(cause | evidence); the model is made before."""


def pgmpy_query(net: Network) -> Query:
    """By variable elimination."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    model = DiscreteBayesianNetwork([(p, n) for n, ps in net.parents.items() for p in ps])
    model.add_nodes_from(net.states)
    for name, parents in net.parents.items():
        states = net.states[name]
        model.add_cpds(
            TabularCPD(
                name,
                len(states),
                net.tables[name].reshape(len(states), -1),
                evidence=list(parents),
                evidence_card=[len(net.states[p]) for p in parents],
                state_names={n: net.states[n] for n in (name, *parents)},
            )
        )
    certain = {
        name: net.states[name][int(seen.argmax())]
        for name, seen in net.seen.items()
        if seen.sum() == 1
    }
    one_of = [
        TabularCPD(name, len(seen), seen[:, None], state_names={name: net.states[name]})
        for name, seen in net.seen.items()
        if name not in certain
    ]
    elimination = VariableElimination(model)

    def query() -> dict[str, float]:
        result = elimination.query(
            ["cause"], certain, virtual_evidence=one_of or None, show_progress=False
        )
        order = result.state_names["cause"]
        return dict(zip(order, result.values.tolist(), strict=True))

    return query


def pyagrum_query(net: Network, only_cause: bool = False) -> Query:
    """By lazy propagation; `only_cause` tells it that no other node is asked about."""
    import pyagrum

    model = pyagrum.BayesNet()
    for name, states in net.states.items():
        model.add(pyagrum.LabelizedVariable(name, name, states))
    for name, parents in net.parents.items():
        for parent in parents:
            model.addArc(parent, name)
        # The library's own axes: last parent first, the node itself last.
        own = np.moveaxis(net.tables[name], 0, -1)
        order = [p for p in reversed(model.cpt(name).names) if p != name]
        axes = [*(parents.index(p) for p in order), len(parents)]
        model.cpt(name)[:] = np.ascontiguousarray(np.transpose(own, axes))
    inference = pyagrum.LazyPropagation(model)
    if only_cause:
        inference.addTarget("cause")
    seen = {name: seen.tolist() for name, seen in net.seen.items()}

    def query() -> dict[str, float]:
        inference.eraseAllEvidence()
        inference.setEvidence(seen)
        inference.makeInference()
        posterior = inference.posterior("cause").toarray()
        return dict(zip(net.states["cause"], posterior.tolist(), strict=True))

    return query


def by_pgmpy(net: Network) -> dict[str, float]:
    return pgmpy_query(net)()


def by_pyagrum(net: Network) -> dict[str, float]:
    return pyagrum_query(net)()
