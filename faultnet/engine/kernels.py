"""Propagation compiled with numba: the same two passes, one case after the other, without temporary arrays.

Imported only by `faultnet.engine.batch`, late: importing numba takes a third of a second and compiling a few.

The tables come in conditional form (`faultnet.engine.batch.conditional`): without evidence below it a clique sends a
message of ones, so cliques that a case has nothing to say about cost it nothing.
"""

import numpy as np
from numba import njit, prange

from faultnet.cpt import Floats, Ints


@njit(cache=True, nogil=True)
def _multiply(table, values, entry):  # type: ignore[no-untyped-def]
    for i in range(len(table)):
        table[i] *= values[entry[i]]


@njit(cache=True, nogil=True)
def _add_up(table, sums, entry):  # type: ignore[no-untyped-def]
    sums[:] = 0.0
    for i in range(len(table)):
        sums[entry[i]] += table[i]


@njit(cache=True, nogil=True)
def _enter(tables, active, plan, seen, kinds):  # type: ignore[no-untyped-def]
    """Start the cliques that this case concerns, or that are asked, and multiply its evidence in."""
    base, start, parent, needed = plan[0], plan[1], plan[2], plan[8]
    seen_clique, seen_entry, seen_start, seen_tables, table_start, table_width = seen
    n_cliques = len(parent)
    for k in range(n_cliques):
        active[k] = parent[k] < 0
    for e in range(len(seen_clique)):
        if kinds[e] >= 0:
            active[seen_clique[e]] = True
    for k in range(n_cliques):
        if active[k] and parent[k] >= 0:
            active[parent[k]] = True
    for k in range(n_cliques):
        if active[k] or needed[k]:
            tables[start[k] : start[k + 1]] = base[start[k] : start[k + 1]]
    for e in range(len(seen_clique)):
        if kinds[e] >= 0:
            k = seen_clique[e]
            row = table_start[e] + kinds[e] * table_width[e]
            n = start[k + 1] - start[k]
            entry = seen_entry[seen_start[e] : seen_start[e] + n]
            _multiply(tables[start[k] : start[k + 1]], seen_tables[row : row + table_width[e]], entry)


@njit(cache=True, nogil=True)
def _collect(tables, active, sent, plan):  # type: ignore[no-untyped-def]
    """Messages towards the roots; returns the log evidence, -inf when it is impossible."""
    _, start, parent, edge_start, edge_size, child_entry, parent_entry, parent_entry_start, needed = plan
    log_evidence = 0.0
    for k in range(len(parent)):
        if parent[k] < 0:
            root = tables[start[k] : start[k + 1]]
            total = root.sum()
            if not total > 0:
                return -np.inf
            root /= total
            log_evidence += np.log(total)
            continue
        message = sent[edge_start[k] : edge_start[k] + edge_size[k]]
        if not active[k]:
            message[:] = 1.0
            continue
        table = tables[start[k] : start[k + 1]]
        _add_up(table, message, child_entry[start[k] : start[k + 1]])
        scale = np.abs(message).max()
        if not scale > 0:
            return -np.inf
        log_evidence += np.log(scale)
        message /= scale
        if needed[k]:
            table /= scale
        p = parent[k]
        n = start[p + 1] - start[p]
        _multiply(
            tables[start[p] : start[p + 1]], message, parent_entry[parent_entry_start[k] : parent_entry_start[k] + n]
        )
    return log_evidence


@njit(cache=True, nogil=True)
def _distribute(tables, sent, back, plan):  # type: ignore[no-untyped-def]
    """Messages back to the cliques that are asked, or stand between them and their root."""
    _, start, parent, edge_start, edge_size, child_entry, parent_entry, parent_entry_start, needed = plan
    for k in range(len(parent) - 1, -1, -1):
        if not needed[k] or parent[k] < 0:
            continue
        p = parent[k]
        n = start[p + 1] - start[p]
        message = back[: edge_size[k]]
        _add_up(
            tables[start[p] : start[p + 1]], message, parent_entry[parent_entry_start[k] : parent_entry_start[k] + n]
        )
        before = sent[edge_start[k] : edge_start[k] + edge_size[k]]
        for s in range(len(message)):
            message[s] = message[s] / before[s] if before[s] != 0 else 0.0
        _multiply(tables[start[k] : start[k + 1]], message, child_entry[start[k] : start[k + 1]])


@njit(cache=True, nogil=True)
def _answer(tables, start, asked, answers):  # type: ignore[no-untyped-def]
    """Sums of the beliefs that were asked for."""
    asked_clique, asked_entry, asked_start, answer_start, answer_width = asked
    for q in range(len(asked_clique)):
        k = asked_clique[q]
        n = start[k + 1] - start[k]
        into = answers[answer_start[q] : answer_start[q] + answer_width[q]]
        _add_up(tables[start[k] : start[k + 1]], into, asked_entry[asked_start[q] : asked_start[q] + n])


@njit(cache=True, nogil=True)
def run_serial(plan, seen, asked, kinds, log_evidence, answers):  # type: ignore[no-untyped-def]
    """All cases on one core."""
    n_entries = max(1, plan[4].sum())
    tables, sent, back = np.empty(len(plan[0])), np.empty(n_entries), np.empty(n_entries)
    active = np.empty(len(plan[2]), dtype=np.bool_)
    for b in range(len(kinds)):
        _enter(tables, active, plan, seen, kinds[b])
        log_evidence[b] = _collect(tables, active, sent, plan)
        if log_evidence[b] == -np.inf:
            answers[b] = 0.0
            continue
        _distribute(tables, sent, back, plan)
        _answer(tables, plan[1], asked, answers[b])


@njit(cache=True, nogil=True, parallel=True)
def run_parallel(plan, seen, asked, kinds, log_evidence, answers, n_parts):  # type: ignore[no-untyped-def]
    """The same on all cores, in as many parts as said."""
    n = len(kinds)
    for part in prange(n_parts):
        first, last = part * n // n_parts, (part + 1) * n // n_parts
        run_serial(plan, seen, asked, kinds[first:last], log_evidence[first:last], answers[first:last])


Arrays = tuple[Floats | Ints, ...]


def run(plan: Arrays, seen: Arrays, asked: Arrays, kinds: Ints, n_answers: int, n_parts: int) -> tuple[Floats, Floats]:
    """Log evidence ``(n_cases,)`` and answers ``(n_cases, n_answers)`` of every case."""
    log_evidence, answers = np.empty(len(kinds)), np.empty((len(kinds), n_answers))
    if n_parts == 1:
        run_serial(plan, seen, asked, kinds, log_evidence, answers)
    else:
        run_parallel(plan, seen, asked, kinds, log_evidence, answers, n_parts)
    return log_evidence, answers
