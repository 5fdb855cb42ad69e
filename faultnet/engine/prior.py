"""The prior of the targets as one table, from factors that are kept as small as what they speak about."""

from collections.abc import Iterable

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.axes import Axes


def joint_prior(axes: Axes, sides: Iterable[int], summed: frozenset[int]) -> Floats:
    """P(these sides, joint state of the targets) with the `summed` ones summed out: ``(*side sizes or 1, n_joint)``.

    Factors that hang on a side to be summed out are multiplied first, before the others make the table large.
    """
    factors = [_factor(axes, node) for node in (*axes.targets, *(axes.sides[side] for side in sides))]
    first = [factor for factor in factors if any(factor.shape[side] > 1 for side in summed)]
    product: Floats = np.ones((1,) * (len(axes.sides) + len(axes.targets)))
    for factor in first:
        product = product * factor
    product = product.sum(axis=tuple(sorted(summed)), keepdims=True)
    for factor in factors:
        if not any(factor is done for done in first):
            product = product * factor
    return np.ascontiguousarray(product).reshape(*product.shape[: len(axes.sides)], axes.n_joint)


def _factor(axes: Axes, node_id: str) -> Floats:
    """P(own state | parents) with an axis for every side and every target, of size 1 where it does not matter."""
    node = axes.network[node_id]
    targets = _targets_under(axes, (node_id, *node.parents))
    chosen = tuple(slice(None) if target in targets else slice(1) for target in axes.targets)

    def small(index: Ints) -> Ints:
        sizes = axes.target_sizes if index.shape[-1] > 1 else (1,) * len(axes.targets)
        return index.reshape(*index.shape[:-1], *sizes)[(..., *chosen)]

    configuration: Ints = np.zeros((1,) * (len(axes.sides) + len(axes.targets)), dtype=np.intp)
    for parent, size in zip(node.parents, node.cpt.parent_sizes, strict=True):
        configuration = configuration * size + small(axes.index[parent])
    row = node.cpt.row_of.reshape(-1)[configuration]
    factor: Floats = node.cpt.rows[row, small(axes.index[node_id])]
    return factor


def _targets_under(axes: Axes, nodes: Iterable[str]) -> set[str]:
    """The targets that the states of these nodes follow from: themselves, or what is above a rule."""
    found: set[str] = set()
    for node in nodes:
        if node in axes.targets:
            found.add(node)
        elif axes.network[node].is_rule:
            found |= _targets_under(axes, axes.network[node].parents)
    return found
