"""Brute force: the answers to every question an engine is asked, by adding up all joint states one at a time.

Nothing is taken from faultnet's engine but the two records that evidence is written in. Slow, and meant to be believed
on reading: a *world* is one state number for each hidden node, its weight is a product of CPT entries, and every answer
is a sum over worlds.

* Hidden nodes are those with children and the targets. All others are leaves: readings. A leaf seen twice is two
  readings, independent of each other given its parents; so P(leaf) after a reading of it is about the *next* reading.
* A change multiplies each world into one for each state the changed target may move to. Other targets and all other
  random nodes stay; rules follow their parents.
* While a symptom does not show, leaves behave as in the world in which every target is in its first state.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from math import inf, log, log2

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.network import Network

World = dict[str, int]
Grouping = Mapping[str, Sequence[int]]


class Oracle:
    """What there is to know after some steps. `log_evidence` is -inf where they are impossible together."""

    def __init__(self, network: Network, targets: Sequence[str], steps: Sequence[Step] = ()) -> None:
        self.network = network
        self.targets = tuple(targets)
        parents = {parent for node in network for parent in node.parents}
        self.hidden = [node.id for node in network if node.id in parents or node.id in self.targets]
        self.cpts = {node.id: node.cpt.expand() for node in network}  # (*parent sizes, states)
        self.sizes = {node.id: len(node.states) for node in network}

        worlds = [(world, self.prior(world)) for world in self.every_world()]
        for step in steps:
            if isinstance(step, Likelihood):
                worlds = [(world, weight * self.chance_seen(step, world)) for world, weight in worlds if weight > 0]
            else:
                worlds = [moved for world, weight in worlds if weight > 0 for moved in self.moves(step, world, weight)]
        total = sum(weight for _, weight in worlds)
        self.log_evidence = log(total) if total > 0 else -inf
        self.worlds = [(world, weight / total) for world, weight in worlds if weight > 0]

    # -- what the network says -------------------------------------------------------------------------------------

    def every_world(self) -> Iterator[World]:
        for states in product(*(range(self.sizes[node]) for node in self.hidden)):
            yield dict(zip(self.hidden, states, strict=True))

    def chance(self, node: str, state: int, world: World) -> float:
        """P(node is in this state | its parents as in the world)."""
        parents = tuple(world[parent] for parent in self.network[node].parents)
        return float(self.cpts[node][(*parents, state)])

    def prior(self, world: World) -> float:
        weight = 1.0
        for node, state in world.items():
            weight *= self.chance(node, state, world)
        return weight

    def chance_in_world(self, node: str, state: int, world: World) -> float:
        """A hidden node is in the world's state for certain; a leaf is read from its parents."""
        return float(world[node] == state) if node in world else self.chance(node, state, world)

    def joint_states(self, nodes: Sequence[str], world: World) -> Iterator[tuple[tuple[int, ...], float]]:
        """All joint states of the nodes with their chance in this world."""
        for states in product(*(range(self.sizes[node]) for node in nodes)):
            weight = 1.0
            for node, state in zip(nodes, states, strict=True):
                weight *= self.chance_in_world(node, state, world)
            yield states, weight

    # -- steps -----------------------------------------------------------------------------------------------------

    def chance_seen(self, seen: Likelihood, world: World) -> float:
        shown = self.chance_read(seen, world)
        if seen.showing == 1:
            return shown
        healthy = self.with_rules_settled(world | dict.fromkeys(self.targets, 0))
        return seen.showing * shown + (1 - seen.showing) * self.chance_read(seen, healthy)

    def chance_read(self, seen: Likelihood, world: World) -> float:
        return sum(weight * float(seen.table[states]) for states, weight in self.joint_states(seen.nodes, world))

    def moves(self, made: Change, world: World, weight: float) -> Iterator[tuple[World, float]]:
        for state in range(self.sizes[made.node]):
            chance = float(made.matrix[world[made.node], state])
            yield self.with_rules_settled(world | {made.node: state}), weight * chance

    def with_rules_settled(self, world: World) -> World:
        """The world with every rule in the state its parents give it. A rule that is itself a target is left alone."""
        settled = dict(world)
        for node in self.network:  # parents before children
            if node.is_rule and node.id in settled and node.id not in self.targets:
                chances = [self.chance(node.id, state, settled) for state in range(self.sizes[node.id])]
                settled[node.id] = chances.index(1.0)
        return settled

    # -- answers ---------------------------------------------------------------------------------------------------

    def joint(self, nodes: Sequence[str]) -> Floats:
        """P(states of the nodes | steps): ``(*sizes of nodes,)``."""
        answer = np.zeros([self.sizes[node] for node in nodes])
        for world, weight in self.worlds:
            for states, chance in self.joint_states(nodes, world):
                answer[states] += weight * chance
        return answer

    def gain_bits(self, leaves: Sequence[str], about: Grouping | None = None) -> float:
        """sum P(o, g) log2 [P(o, g) / P(o) P(g)] over outcomes o of the leaves and groups g (default: the targets)."""
        both: defaultdict[tuple[tuple[int, ...], tuple[int, ...]], float] = defaultdict(float)
        for world, weight in self.worlds:
            if about is None:
                group = tuple(world[target] for target in self.targets)
            else:
                group = tuple(groups[world[node]] for node, groups in about.items())
            for outcome, chance in self.joint_states(leaves, world):
                both[outcome, group] += weight * chance
        outcomes: defaultdict[tuple[int, ...], float] = defaultdict(float)
        grouped: defaultdict[tuple[int, ...], float] = defaultdict(float)
        for (outcome, group), p in both.items():
            outcomes[outcome] += p
            grouped[group] += p
        return sum(p * log2(p / (outcomes[o] * grouped[g])) for (o, g), p in both.items() if p > 0)
