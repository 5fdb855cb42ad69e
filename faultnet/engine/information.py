"""Entropy and mutual information in bits (Shannon 1948)."""

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats

_TINY = 1e-300
_FEW = 4096
"""Longer dot products may be spread over threads, which stalls on a busy machine; other sums are not."""


def entropy_bits(probabilities: npt.ArrayLike) -> float:
    """-sum p log2 p over all entries, with 0 log 0 = 0."""
    p = np.asarray(probabilities, dtype=float)
    logs = np.maximum(p, _TINY)
    np.log2(logs, out=logs)
    if p.size <= _FEW:
        return -float(np.vdot(p, logs))
    return -float(np.einsum("i,i->", p.reshape(-1), logs.reshape(-1)))


def row_entropies_bits(rows: Floats) -> Floats:
    """The entropy of each row: ``(n, states) -> (n,)``."""
    result: Floats = -np.einsum("ij,ij->i", rows, np.log2(np.maximum(rows, _TINY)))
    return result


def mutual_information_bits(joint: Floats) -> float:
    """I(row ; column) of a joint distribution ``(n, m)``, at least 0."""
    gain = entropy_bits(np.add.reduce(joint, axis=1)) + entropy_bits(np.add.reduce(joint, axis=0)) - entropy_bits(joint)
    return max(0.0, gain)


def mutual_informations_bits(joints: Floats) -> Floats:
    """The same of several at once, each scaled to sum to 1: ``(n, rows, columns) -> (n,)``."""
    chances = joints / np.add.reduce(joints.reshape(len(joints), -1), axis=1)[:, None, None]
    apart = row_entropies_bits(chances.sum(axis=2)) + row_entropies_bits(chances.sum(axis=1))
    gains: Floats = np.maximum(apart - row_entropies_bits(chances.reshape(len(chances), -1)), 0.0)
    return gains
