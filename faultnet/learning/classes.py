"""Worlds that no evidence of a kind can tell apart, taken together.

Two worlds are the same for a pattern if its leaves use the same rows in both, before and after whatever its repairs and
tests changed. Most of the thousands of joint states of the components fall together like this, so a pattern is weighed
over a few hundred classes in place of all worlds, and the result is the same.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints
from faultnet.learning.layout import Layout, summed
from faultnet.learning.program import Group

_Names = npt.NDArray[np.uint64]

_MIXER = np.uint64(0x9E3779B97F4A7C15)


@dataclass(frozen=True, eq=False)
class Classes:
    """Classes of worlds. standing, root: a world of each, ``(n_classes,)``.

    label, root_of: the class and the root state of every *part*, worlds with the same root state in one class,
    ``(n_parts,)``; part_of, standing_of: the part and the standing of each world, ``(n_worlds,)``.
    """

    standing: Ints
    root: Ints
    label: Ints
    root_of: Ints
    part_of: Ints
    standing_of: Ints

    @property
    def n_classes(self) -> int:
        return len(self.root)

    def only(self, used: npt.NDArray[np.bool_]) -> "Classes":
        """These classes alone, numbered anew."""
        number = np.cumsum(used) - 1
        parts = used[self.label]
        part_number = np.cumsum(parts) - 1
        worlds = parts[self.part_of]
        return Classes(
            standing=self.standing[used],
            root=self.root[used],
            label=number[self.label[parts]],
            root_of=self.root_of[parts],
            part_of=part_number[self.part_of[worlds]],
            standing_of=self.standing_of[worlds],
        )

    def part_chances(self, chances: Floats) -> Floats:
        """The chance of the standings of each part together: ``(n_parts,)``. chances: ``(n_standings,)``."""
        return summed(self.part_of, chances[self.standing_of], len(self.label))

    def masses(self, part_chances: Floats, prior: Floats) -> Floats:
        """The prior of every class: ``(n_classes,)``. prior: of the root states, ``(n_roots,)``."""
        return summed(self.label, part_chances * prior[self.root_of], self.n_classes)


def classes_of(
    layout: Layout, group: Group, looked_at: Collection[int], doubtful: Collection[int], kept: Ints
) -> Classes:
    """The classes for patterns of a group.

    looked_at: numbers of the nodes that evidence is about; doubtful: of those that were seen while the symptom may not
    have shown, so that what they show of a healthy set counts as well; kept: the root states that matter, in ascending
    order.
    """
    standings = _standings(layout, group)
    reached = _reachable(layout, kept, group.changed)
    leaves, healthy = ([n for n in nodes if layout.sides_of_leaf[n] <= group.sides] for nodes in (looked_at, doubtful))
    names = _named_worlds(layout, leaves, healthy, group.changed, standings, reached)
    names = names[:, np.searchsorted(reached, kept)]
    _, first, label = np.unique(names, return_index=True, return_inverse=True)
    label = label.reshape(-1)
    standing_of, root_number = (
        np.tile(standings, (len(kept), 1)).T.reshape(-1),
        np.tile(np.arange(len(kept)), len(standings)),
    )
    parts, part_of = np.unique(label * np.int64(len(kept)) + root_number, return_inverse=True)
    return Classes(
        standing=standing_of[first],
        root=kept[root_number[first]],
        label=parts // len(kept),
        root_of=kept[parts % len(kept)],
        part_of=part_of.reshape(-1),
        standing_of=standing_of,
    )


def _standings(layout: Layout, group: Group) -> Ints:
    """The standings that are told apart: sides that do not matter stay in their first state, given ones in theirs."""
    given = dict(group.given)
    idle = {name: layout.model.states_of(name)[0] for name in layout.free if name not in group.sides}
    return np.flatnonzero(layout.fits({**idle, **given}))


def _reachable(layout: Layout, kept: Ints, changed: Collection[int]) -> Ints:
    """The kept root states, and those they can be changed into."""
    reached = kept
    for component in changed:
        size, stride = layout.engine.axes.target_sizes[component], int(layout.strides[component])
        own = (reached // stride) % size
        reached = np.unique(np.concatenate([reached + (state - own) * stride for state in range(size)]))
    return reached


def _named_worlds(
    layout: Layout,
    leaves: Collection[int],
    healthy: Collection[int],
    changed: Collection[int],
    standings: Ints,
    reached: Ints,
) -> Ints:
    """A name for every world, the same where nothing tells two apart, now or after any change: partition refinement.

    ``(n_standings, n_reached)``.
    """
    names = np.zeros((len(standings), len(reached)), dtype=np.uint64)
    where = np.ix_(standings, reached)
    for leaf in leaves:
        names = _mixed(names, layout.row_of[leaf][where].astype(np.uint64))
    for leaf in healthy:
        of_healthy = np.ix_(standings, reached // layout.n_joint * layout.n_joint)
        names = _mixed(names, layout.row_of[leaf][of_healthy].astype(np.uint64))
    for component in changed:
        size, stride = layout.engine.axes.target_sizes[component], int(layout.strides[component])
        names = _mixed(names, ((reached // stride) % size).astype(np.uint64)[None])
    moves = [places for component in changed for places in _moves(layout, component, reached)]
    n_names = 0
    while moves and (now := len(np.unique(names))) > n_names:
        n_names = now
        for places in moves:
            names = _mixed(names, names[:, places])
    return names.view(np.int64)


def _moves(layout: Layout, component: int, reached: Ints) -> list[Ints]:
    """For every state of a component, where each root state stands once the component is put into it."""
    size, stride = layout.engine.axes.target_sizes[component], int(layout.strides[component])
    own = (reached // stride) % size
    return [np.searchsorted(reached, reached + (state - own) * stride) for state in range(size)]


def _mixed(names: _Names, more: _Names) -> _Names:
    """Names that tell apart what either tells apart: 64-bit hashes (as in splitmix64), two of which never met yet."""
    mixed = (names * np.uint64(3) + more + np.uint64(1)) * _MIXER  # not symmetric: a world may be mixed with itself
    mixed ^= mixed >> np.uint64(29)
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    final: _Names = mixed ^ (mixed >> np.uint64(32))
    return final
