"""Many cases at once: the same evidence scopes, other findings in each.

`run_batch` answers for every case with the joint distribution of some scopes (marginals, families) and the log
evidence, by numba where it is wanted and by numpy otherwise; both are exact and agree to rounding.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate
from math import prod

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.cliques import CliqueTree
from faultnet.engine.plan import Edge, Plan, Sums
from faultnet.engine.propagate import Evidence, propagate

NUMPY_CASES_AT_ONCE = 256
PARALLEL_FROM_CASES = 5_000
"""Below this, starting threads costs more than they save."""


@dataclass(frozen=True, eq=False)
class Answers:
    """What a batch was asked: log_evidence ``(n_cases,)`` in nats, -inf where the evidence is impossible.

    joints: for each scope asked ``(n_cases, *sizes of scope)``, summing to 1 (0 where impossible).
    """

    log_evidence: Floats
    joints: tuple[Floats, ...]


def run_batch(
    plan: Plan, evidence: Sequence[Evidence], asked: Sequence[tuple[str, ...]], n_cases: int, *, use_numba: bool = True
) -> Answers:
    """Answers of every case about every scope asked; each scope must lie in a clique of the plan (ValueError)."""
    for scope in asked:
        _home(plan, scope)
    widths = [prod(plan.sizes[v] for v in scope) for scope in asked]
    work = _by_numba if use_numba else _by_numpy
    log_evidence, flat = work(plan, evidence, asked, widths, n_cases)
    starts = [0, *accumulate(widths)]
    shapes = [[plan.sizes[v] for v in scope] for scope in asked]
    joints = [flat[:, a:b].reshape(n_cases, *shape) for a, b, shape in zip(starts, starts[1:], shapes, strict=False)]
    return Answers(log_evidence, tuple(joints))


def _home(plan: Plan, scope: tuple[str, ...]) -> int:
    home = plan.home(scope)
    if home is None:
        raise ValueError(f"no clique holds {', '.join(scope)}")
    return home


# -- numpy -----------------------------------------------------------------------------------------------------------


def _by_numpy(
    plan: Plan, evidence: Sequence[Evidence], asked: Sequence[tuple[str, ...]], widths: Sequence[int], n_cases: int
) -> tuple[Floats, Floats]:
    homes = [_home(plan, scope) for scope in asked]
    sums = [Sums.of(plan.index(home, s), width) for home, s, width in zip(homes, asked, widths, strict=True)]
    log_evidence, flat = np.empty(n_cases), np.empty((n_cases, sum(widths)))
    for first in range(0, n_cases, NUMPY_CASES_AT_ONCE):
        part = slice(first, min(first + NUMPY_CASES_AT_ONCE, n_cases))
        some = [Evidence(e.scope, e.tables, e.kinds[part]) for e in evidence]
        done = propagate(plan, some, part.stop - part.start)
        log_evidence[part] = done.log_evidence
        answers = [add_up(done.beliefs[home]) for home, add_up in zip(homes, sums, strict=True)]
        flat[part] = np.concatenate(answers, axis=1) if answers else flat[part]
    return log_evidence, flat


# -- numba -----------------------------------------------------------------------------------------------------------


def _by_numba(
    plan: Plan, evidence: Sequence[Evidence], asked: Sequence[tuple[str, ...]], widths: Sequence[int], n_cases: int
) -> tuple[Floats, Floats]:
    from numba import get_num_threads

    from faultnet.engine.kernels import run

    plan = conditional(rooted(plan, asked))
    homes = [_home(plan, scope) for scope in asked]
    kinds = np.stack([e.kinds for e in evidence], axis=1) if evidence else np.empty((n_cases, 0))
    n_parts = get_num_threads() if n_cases >= PARALLEL_FROM_CASES else 1
    questions = (*_entries(plan, homes, asked), _starts(widths), _ints(widths))
    return run(
        _flat_plan(plan, homes), _flat_evidence(plan, evidence), questions, kinds.astype(np.int32), sum(widths), n_parts
    )


def rooted(plan: Plan, asked: Sequence[tuple[str, ...]]) -> Plan:
    """The same trees, each with the clique as its root that answers most, so that little has to be sent back."""
    links: dict[int, list[tuple[int, Edge]]] = {k: [] for k in range(len(plan.base))}
    for k, edge in enumerate(plan.edges):
        if edge is not None:
            links[k].append((plan.tree.parent[k], edge))
            links[plan.tree.parent[k]].append((k, Edge(edge.size, edge.parent, edge.child)))
    answers = [sum(set(scope) <= set(clique) for scope in asked) for clique in plan.tree.cliques]
    order: list[int] = []
    towards: dict[int, int] = {}
    edges: dict[int, Edge | None] = {}
    for root in sorted(links, key=lambda k: (-answers[k], k if answers[k] else -k)):  # else the last, as it was
        if root in towards:
            continue
        tree = [root]
        towards[root], edges[root] = -1, None
        for k in tree:
            for other, edge in links[k]:
                if other not in towards:
                    towards[other], edges[other] = k, Edge(edge.size, edge.parent, edge.child)
                    tree.append(other)
        order += tree
    order.reverse()
    place = {k: number for number, k in enumerate(order)}
    parent = tuple(place[towards[k]] if towards[k] >= 0 else -1 for k in order)
    return Plan(
        plan.sizes,
        CliqueTree(tuple(plan.tree.cliques[k] for k in order), parent),
        tuple(plan.states[k] for k in order),
        tuple(plan.base[k] for k in order),
        tuple(edges[k] for k in order),
    )


def conditional(plan: Plan) -> Plan:
    """The same distribution, every clique conditional on its separator: messages of ones where nothing is seen."""
    base = list(plan.base)
    for k, edge in enumerate(plan.edges):
        if edge is not None:
            message = edge.from_child(base[k][None])[0]
            base[plan.tree.parent[k]] = base[plan.tree.parent[k]] * message[edge.parent]
            there = message[edge.child]
            base[k] = np.divide(base[k], there, out=np.zeros_like(base[k]), where=there != 0)
    return replace(plan, base=tuple(base), _indexes={})


def _flat_plan(plan: Plan, homes: Sequence[int]) -> tuple[Floats | Ints, ...]:
    """The plan as flat arrays, in the order the kernels take them."""
    sizes = [len(base) for base in plan.base]
    nothing = np.empty(0, dtype=np.intp)
    child = [np.zeros(n, dtype=np.intp) if e is None else e.child for n, e in zip(sizes, plan.edges, strict=True)]
    to_parent = [nothing if edge is None else edge.parent for edge in plan.edges]
    edge_sizes = [0 if edge is None else edge.size for edge in plan.edges]
    return (
        np.concatenate(plan.base),
        _ints([0, *accumulate(sizes)]),
        _ints(plan.tree.parent),
        _starts(edge_sizes),
        _ints(edge_sizes),
        _joined(child),
        _joined(to_parent),
        _starts(len(entry) for entry in to_parent),
        _needed(plan, homes),
    )


def _needed(plan: Plan, homes: Sequence[int]) -> Ints:
    """1 for every clique on the way from a root to one that is asked."""
    needed = np.zeros(len(plan.base), dtype=np.int32)
    for home in homes:
        while home >= 0:
            needed[home] = 1
            home = plan.tree.parent[home]
    return needed.astype(np.int32)


def _flat_evidence(plan: Plan, evidence: Sequence[Evidence]) -> tuple[Floats | Ints, ...]:
    homes = [_home(plan, seen.scope) for seen in evidence]
    return (
        *_entries(plan, homes, [seen.scope for seen in evidence]),
        np.concatenate([seen.tables.reshape(-1) for seen in evidence]) if evidence else np.empty(0),
        _starts(seen.tables.size for seen in evidence),
        _ints([seen.tables.shape[1] for seen in evidence]),
    )


def _entries(plan: Plan, homes: Sequence[int], scopes: Sequence[tuple[str, ...]]) -> tuple[Ints, Ints, Ints]:
    """Home cliques, entries of the scopes' tables for every state of their homes joined, and where each begins."""
    indexes = [plan.index(home, scope) for home, scope in zip(homes, scopes, strict=True)]
    return _ints(homes), _joined(indexes), _starts(len(index) for index in indexes)


def _ints(values: Sequence[int]) -> Ints:
    return np.array(values, dtype=np.int32)


def _joined(indexes: Sequence[Ints]) -> Ints:
    whole = np.concatenate(indexes) if indexes else np.empty(0)
    return whole.astype(np.uint32)


def _starts(lengths: Iterable[int]) -> Ints:
    listed = list(lengths)
    return _ints([0, *accumulate(listed)][: len(listed)])
