"""Two-pass propagation over a plan, a batch of cases at once, in numpy (Jensen, Lauritzen & Olesen 1990)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.plan import Edge, Plan


@dataclass(frozen=True, eq=False)
class Evidence:
    """What a batch of cases saw of one scope.

    tables: ``(n_kinds, entries of the scope)``, one row for each likelihood that occurs; kinds: ``(n_cases,)``, the row
    that each case saw, -1 for nothing.
    """

    scope: tuple[str, ...]
    tables: Floats
    kinds: Ints


@dataclass(frozen=True, eq=False)
class Propagated:
    """Clique beliefs of a batch: beliefs[k] is ``(n_cases, n_states)``, each row summing to 1.

    log_evidence: ``(n_cases,)``, in nats; -inf (and beliefs of 0) where the evidence is impossible.
    """

    beliefs: tuple[Floats, ...]
    log_evidence: Floats


def propagate(plan: Plan, evidence: Sequence[Evidence], n_cases: int) -> Propagated:
    """Beliefs of every clique for every case of a batch."""
    tables = entered(plan, evidence, n_cases)
    log_evidence = np.zeros(n_cases)
    messages: list[Floats | None] = [None] * len(tables)
    for number, edge in enumerate(plan.edges):
        # by the largest entry, not the sum: factors with negative entries (noisy-OR in parts) may sum to 0 on the way
        scale = np.abs(tables[number]).max(axis=1) if edge is not None else tables[number].sum(axis=1)
        with np.errstate(divide="ignore"):
            log_evidence += np.log(np.maximum(scale, 0))
        tables[number] = tables[number] / np.where(scale > 0, scale, 1)[:, None]
        if edge is not None:
            sent = edge.from_child(tables[number])
            messages[number] = sent
            parent = plan.tree.parent[number]
            tables[parent] = tables[parent] * sent[:, edge.parent]
    for number in reversed(range(len(tables))):
        edge, message = plan.edges[number], messages[number]
        if edge is not None and message is not None:
            tables[number] = _received(tables[number], tables[plan.tree.parent[number]], message, edge)
    return Propagated(tuple(tables), log_evidence)


def entered(plan: Plan, evidence: Sequence[Evidence], n_cases: int) -> list[Floats]:
    """The cliques' tables with the evidence multiplied in: ``(n_cases, n_states)`` each."""
    tables = [np.broadcast_to(base, (n_cases, len(base))) for base in plan.base]
    for seen in evidence:
        home = plan.home(seen.scope)
        if home is None:
            raise ValueError(f"no clique holds {', '.join(seen.scope)}")
        rows = np.concatenate([seen.tables, np.ones((1, seen.tables.shape[1]))])
        tables[home] = tables[home] * rows[:, plan.index(home, seen.scope)][seen.kinds]
    return tables


def _received(table: Floats, parent: Floats, sent: Floats, edge: Edge) -> Floats:
    """A clique's belief from what it sent and what its parent now believes; 0 where nothing was sent."""
    back = edge.from_parent(parent)
    ratio = np.divide(back, sent, out=np.zeros_like(back), where=sent != 0)
    received: Floats = table * ratio[:, edge.child]
    return received
