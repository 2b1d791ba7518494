"""The rule base as a directed graph cause -> mechanism -> sign and cause -> check.

The only module that knows networkx. Nodes are (kind, id); edges carry shares or minutes.
"""

from __future__ import annotations

from collections.abc import Iterator

import networkx as nx
import numpy as np
import numpy.typing as npt

from diagnose.inference.likelihood import answer_shares, mechanism_shares, prior_weights
from diagnose.knowledge.model import Knowledge

Node = tuple[str, str]
CAUSE, MECHANISM, SIGN, CHECK = "cause", "mechanism", "sign", "check"


def cause_graph(base: Knowledge) -> nx.DiGraph:
    """The whole rule base as one graph.

    Cause nodes carry `prior`; cause -> mechanism edges `share`; edges to signs `shares` by answer
    and the `rule`; cause -> check edges `overlooks` and `minutes`.
    """
    graph = nx.DiGraph()
    priors = prior_weights(base)
    for mechanism in base.mechanisms:
        graph.add_node((MECHANISM, mechanism))
    for sign in base.signs:
        graph.add_node((SIGN, sign))
    for cause in base.causes:
        graph.add_node((CAUSE, cause), prior=priors[cause])
        for mechanism, share in mechanism_shares(base, cause).items():
            graph.add_edge((CAUSE, cause), (MECHANISM, mechanism), share=share)
    for name, rule in base.shows.items():
        target, _, sign = name.partition("/")
        kind = MECHANISM if target in base.mechanisms else CAUSE
        shares = answer_shares(base, sign, rule)
        graph.add_edge((kind, target), (SIGN, sign), rule=name, shares=shares)
    for name, check in base.checks.items():
        graph.add_node((CHECK, name), minutes=check.minutes, setup=check.setup)
        for cause, word in check.confirms.items():
            graph.add_edge(
                (CAUSE, cause), (CHECK, name), overlooks=base.words[word], minutes=check.minutes
            )
    return graph


def setup_minutes(base: Knowledge) -> tuple[tuple[str, ...], npt.NDArray[np.float64]]:
    """Setups in order, and the fewest minutes from each to each (n x n, symmetric, inf if none)."""
    graph = nx.Graph()
    graph.add_nodes_from(base.setups)
    for move in base.moves.values():
        graph.add_edge(*move.between, minutes=move.minutes)
    names = tuple(base.setups)
    minutes = np.full((len(names), len(names)), np.inf)
    for start, reached in nx.all_pairs_dijkstra_path_length(graph, weight="minutes"):
        for end, cost in reached.items():
            minutes[names.index(start), names.index(end)] = cost
    return names, minutes


def structural_faults(graph: nx.DiGraph, base: Knowledge) -> Iterator[tuple[str, str]]:
    """What must never be true of a rule base, as (`kind:id`, what is wrong)."""
    if not nx.is_directed_acyclic_graph(graph):
        cycle = " -> ".join(name for (_, name), _ in nx.find_cycle(graph))
        yield "", f"the graph has a cycle: {cycle}"
    reached = {(CAUSE, name) for name in base.causes}
    for source in list(reached):
        reached |= nx.descendants(graph, source)
    for kind, name in graph.nodes:
        if (kind, name) not in reached:
            yield f"{kind}s:{name}", f"no cause leads to the {kind} '{name}'"
    for cause in base.causes:
        kinds = {kind for kind, _ in graph.successors((CAUSE, cause))}
        if CHECK not in kinds and cause != base.roles.something_else:
            yield f"causes:{cause}", f"no check confirms '{cause}'"
    names, minutes = setup_minutes(base)
    start = names.index(base.start_setup)
    for name, cost in zip(names, minutes[start], strict=True):
        if not np.isfinite(cost):
            yield f"setups:{name}", f"no moves lead from '{base.start_setup}' to '{name}'"
    yield from _meaning_cycles(base)


def _meaning_cycles(base: Knowledge) -> Iterator[tuple[str, str]]:
    """Derived signs must not depend on each other in a circle."""
    graph = nx.DiGraph()
    for rule in base.means.values():
        graph.add_edges_from((sign, then) for sign in rule.if_ for then in rule.then)
    for component in nx.strongly_connected_components(graph):
        if len(component) > 1:
            yield "", f"rules derive these signs from each other: {', '.join(sorted(component))}"
