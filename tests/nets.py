"""Awkward networks and evidence about them, for every engine and every library to agree on.

`NETS[name]()` gives a network and the nodes asked about; `EVIDENCE[name](rng, network, targets)` gives steps. All
random numbers come from seeds written here or passed in.
"""

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Rule, Table
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.network import Cpt, Network, Node

Rng = np.random.Generator
Net = tuple[Network, tuple[str, ...]]


# -- making nodes --------------------------------------------------------------------------------------------------


def make_node(node_id: str, parents: Sequence[str], cpt: Cpt) -> Node:
    """A node with states s0, s1, ..."""
    return Node(node_id, tuple(f"s{number}" for number in range(cpt.n_states)), tuple(parents), cpt)


def binary(node_id: str, parents: Sequence[str], p_yes: npt.ArrayLike) -> Node:
    """A node with states no, yes; p_yes: ``(2,) * number of parents``, indexed by no = 0, yes = 1."""
    p = np.asarray(p_yes, dtype=float)
    return Node(node_id, ("no", "yes"), tuple(parents), Table.full(np.stack([1 - p, p], axis=-1)))


def rule(node_id: str, parents: Sequence[str], sizes: Sequence[int], n_states: int, of: Callable[..., int]) -> Node:
    """A deterministic node; `of` takes a state number for each parent."""
    state_of = np.empty(tuple(sizes), dtype=np.intp)
    for states in np.ndindex(*sizes):
        state_of[states] = of(*states)
    return make_node(node_id, parents, Rule(state_of, n_states))


class Draw:
    """Nodes with drawn tables. Keeps the sizes, so that a child need not repeat them."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.nodes: dict[str, Node] = {}

    def table(self, node_id: str, n_states: int, *parents: str) -> None:
        sizes = self.sizes(parents)
        self.add(make_node(node_id, parents, Table.full(self.rng.dirichlet(np.ones(n_states), size=sizes))))

    def shared(self, node_id: str, n_states: int, n_rows: int, *parents: str) -> None:
        """Fewer rows than combinations of parents."""
        rows = self.rng.dirichlet(np.ones(n_states), size=n_rows)
        self.add(make_node(node_id, parents, Table(rows, self.rng.integers(n_rows, size=self.sizes(parents)))))

    def zeros(self, node_id: str, n_states: int, *parents: str) -> None:
        """A table in which about a third of the entries are 0."""
        sizes = self.sizes(parents)
        weights = self.rng.dirichlet(np.ones(n_states), size=sizes) * (self.rng.random((*sizes, n_states)) < 2 / 3)
        weights[..., 0] += weights.sum(axis=-1) == 0
        self.add(make_node(node_id, parents, Table.full(weights / weights.sum(axis=-1, keepdims=True))))

    def rule(self, node_id: str, n_states: int, *parents: str) -> None:
        state_of = np.asarray(self.rng.integers(n_states, size=self.sizes(parents)), dtype=np.intp)
        self.add(make_node(node_id, parents, Rule(state_of, n_states)))

    def add(self, made: Node) -> None:
        self.nodes[made.id] = made

    def sizes(self, parents: Sequence[str]) -> tuple[int, ...]:
        return tuple(len(self.nodes[parent].states) for parent in parents)

    def network(self) -> Network:
        return Network.of(self.nodes.values())


# -- the table of nets ---------------------------------------------------------------------------------------------


def one_node() -> Net:
    return Network.of([make_node("a", (), Table.full([0.2, 0.5, 0.3]))]), ("a",)


def _chain() -> Network:
    draw = Draw(1)
    draw.table("a", 2)
    draw.table("b", 3, "a")
    draw.table("c", 2, "b")
    draw.table("d", 3, "c")
    return draw.network()


def chain() -> Net:
    return _chain(), ("a", "b", "c")


def chain_asked_at_its_end() -> Net:
    """The target is a leaf, everything above it a coupled side."""
    return _chain(), ("d",)


def tree() -> Net:
    draw = Draw(2)
    draw.table("root", 3)
    for branch in ("left", "right"):
        draw.table(branch, 2, "root")
        draw.table(f"{branch}_a", 2, branch)
        draw.table(f"{branch}_b", 3, branch)
    return draw.network(), ("root", "left", "right")


def diamond() -> Net:
    """A loop in the undirected graph."""
    draw = Draw(3)
    draw.table("top", 2)
    draw.table("left", 3, "top")
    draw.table("right", 2, "top")
    draw.table("bottom", 2, "left", "right")
    draw.table("reading", 3, "bottom")
    draw.table("other", 2, "left", "bottom")
    return draw.network(), ("top", "left", "right", "bottom")


def diamond_asked_at_its_bottom() -> Net:
    return diamond()[0], ("bottom",)


def disconnected() -> Net:
    """Two parts that know nothing of each other, and a node that nothing points to or from."""
    draw = Draw(4)
    draw.table("a", 2)
    draw.table("a_reading", 3, "a")
    draw.table("alone", 4)
    draw.table("b", 3)
    draw.table("side", 2)
    draw.table("b_reading", 2, "side", "b")
    return draw.network(), ("a", "b")


def rules() -> Net:
    """Rules over targets, over a rule, as a leaf, and one that never changes."""
    draw = Draw(5)
    for target in ("a", "b", "c"):
        draw.table(target, 2)
    draw.add(rule("some", ("a", "b"), (2, 2), 2, lambda a, b: int(a + b > 0)))
    draw.add(rule("how_many", ("some", "c"), (2, 2), 3, lambda some, c: some + c))
    draw.add(rule("constant", (), (), 2, lambda: 1))
    draw.table("reading", 3, "how_many", "constant")
    draw.table("other", 2, "some")
    draw.add(rule("exact", ("a", "how_many"), (2, 3), 3, lambda a, n: (a + n) % 3))
    return draw.network(), ("a", "b", "c")


def rule_as_target() -> Net:
    return rules()[0], ("how_many", "a")


def hidden_between() -> Net:
    """A random node between targets and readings that nobody asks about."""
    draw = Draw(6)
    draw.table("a", 2)
    draw.table("b", 3)
    draw.table("between", 3, "a", "b")
    draw.table("reading", 2, "between")
    draw.table("other", 3, "between", "a")
    return draw.network(), ("a", "b")


def independent_sides() -> Net:
    draw = Draw(7)
    draw.table("a", 2)
    draw.table("b", 2)
    draw.table("policy", 3)
    draw.table("age", 2)
    draw.table("unused", 2)
    draw.table("one", 2, "a", "policy")
    draw.table("two", 3, "policy", "b", "age")
    draw.table("three", 2, "b")
    draw.table("four", 2, "unused")
    return draw.network(), ("a", "b")


def coupled_sides() -> Net:
    """A side above a target, a side above a side, a side below a target, a side below a rule, and one on its own."""
    draw = Draw(8)
    draw.table("age", 2)
    draw.table("a", 3, "age")
    draw.table("b", 2)
    draw.table("place", 2)
    draw.table("use", 2, "place")
    draw.add(rule("mixed", ("b", "use"), (2, 2), 2, lambda b, use: b ^ use))
    draw.table("worn", 2, "mixed")
    draw.table("free", 2)
    draw.table("one", 2, "age", "a")
    draw.table("two", 3, "worn", "free")
    draw.table("three", 2, "use", "b", "free")
    draw.table("four", 2, "mixed", "place")
    return draw.network(), ("a", "b")


def coupled_sides_permuted() -> Net:
    network, targets = coupled_sides()
    return permuted(network), targets


def single_state() -> Net:
    """Nodes with one state as target, side, rule and leaf."""
    draw = Draw(9)
    draw.table("a", 1)
    draw.table("b", 2, "a")
    draw.table("side", 1, "b")
    draw.add(rule("fixed", ("b",), (2,), 1, lambda _b: 0))
    draw.table("reading", 3, "side", "b", "a", "fixed")
    draw.table("dull", 1, "b")
    return draw.network(), ("a", "b")


def wide_leaf() -> Net:
    """Six parents, 144 combinations, four written rows."""
    draw = Draw(10)
    parents = ("a", "b", "c", "d", "e", "f")
    for parent, size in zip(parents, (2, 3, 2, 3, 2, 2), strict=True):
        draw.table(parent, size)
    draw.shared("wide", 3, 4, *parents)
    draw.shared("narrow", 2, 2, "e", "a")
    return draw.network(), ("a", "b", "c", "d")


def with_zeros() -> Net:
    """Tables that hold much impossible."""
    draw = Draw(11)
    draw.zeros("a", 3)
    draw.zeros("side", 3, "a")
    draw.zeros("b", 3, "side")
    draw.zeros("c", 2)
    draw.zeros("one", 3, "a", "side")
    draw.zeros("two", 3, "b", "c")
    return draw.network(), ("a", "b", "c")


NETS: dict[str, Callable[[], Net]] = {
    make.__name__: make
    for make in (
        one_node,
        chain,
        chain_asked_at_its_end,
        tree,
        diamond,
        diamond_asked_at_its_bottom,
        disconnected,
        rules,
        rule_as_target,
        hidden_between,
        independent_sides,
        coupled_sides,
        coupled_sides_permuted,
        single_state,
        wide_leaf,
        with_zeros,
    )
}


def random_net(seed: int) -> Net:
    """Three to seven nodes of one to three states with up to three parents; tables, shared rows, zeros and rules."""
    draw = Draw(seed)
    rng = draw.rng
    n_nodes = int(rng.integers(3, 8))
    for number in range(n_nodes):
        n_parents = min(number, int(rng.integers(0, 4)))
        parents = [f"n{parent}" for parent in rng.choice(number, n_parents, replace=False)] if n_parents else []
        n_states = int(rng.choice([1, 2, 3], p=[0.05, 0.6, 0.35]))
        kind = rng.choice(["table", "shared", "zeros", "rule"], p=[0.5, 0.15, 0.15, 0.2])
        if kind == "shared":
            draw.shared(f"n{number}", n_states, 2, *parents)
        else:
            {"table": draw.table, "zeros": draw.zeros, "rule": draw.rule}[kind](f"n{number}", n_states, *parents)
    targets = rng.choice(n_nodes, int(rng.integers(1, 4)), replace=False)
    return draw.network(), tuple(f"n{target}" for target in targets)


def permuted(network: Network) -> Network:
    """The same network with the states of every node in reverse order and its parents as well."""

    def turned(old: Node) -> Node:
        # (*parents, states): reverse each axis (states), then the order of the parent axes.
        array = old.cpt.expand()[(slice(None, None, -1),) * (len(old.parents) + 1)]
        array = array.transpose(*reversed(range(len(old.parents))), len(old.parents))
        cpt = Rule(array.argmax(axis=-1), len(old.states)) if old.is_rule else Table.full(array)
        return Node(old.id, old.states[::-1], old.parents[::-1], cpt)

    return Network.of(map(turned, network))


# -- evidence ------------------------------------------------------------------------------------------------------


def leaves_of(network: Network, targets: Sequence[str]) -> list[str]:
    """Nodes that are neither parents nor targets."""
    return [n.id for n in network if n.id not in network.with_children and n.id not in targets]


def size(network: Network, node_id: str) -> int:
    return len(network[node_id].states)


def draw_world(rng: Rng, network: Network) -> dict[str, int]:
    """One state for every node, drawn from the network, so that what it says is possible."""
    world: dict[str, int] = {}
    for each in network:
        row = each.cpt.expand()[tuple(world[parent] for parent in each.parents)]
        world[each.id] = int(rng.choice(len(row), p=row))
    return world


def seen_state(network: Network, node_id: str, state: int, showing: float = 1.0) -> Likelihood:
    return Likelihood((node_id,), np.eye(size(network, node_id))[state], showing)


def some(rng: Rng, names: Sequence[str], most: int) -> list[str]:
    return [str(name) for name in rng.permutation(list(names))[:most]]


def nothing(_rng: Rng, _network: Network, _targets: Sequence[str]) -> list[Step]:
    return []


def hard(rng: Rng, network: Network, _targets: Sequence[str]) -> list[Step]:
    world = draw_world(rng, network)
    return [seen_state(network, each, world[each]) for each in some(rng, list(world), 3)]


def hard_leaves(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    world = draw_world(rng, network)
    return [seen_state(network, each, world[each]) for each in leaves_of(network, targets)]


def soft(rng: Rng, network: Network, _targets: Sequence[str]) -> list[Step]:
    chosen = some(rng, [n.id for n in network], 4)
    return [Likelihood((each,), rng.uniform(0.05, 3, size(network, each))) for each in chosen]


def _several(rng: Rng, network: Network, nodes: Sequence[str], showing: float = 1.0) -> Likelihood:
    return Likelihood(tuple(nodes), rng.uniform(0.05, 1, [size(network, n) for n in nodes]), showing)


def several_nodes(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    """Likelihoods over leaves together, over anything together, and over one leaf read twice."""
    leaves = leaves_of(network, targets)
    steps: list[Step] = [_several(rng, network, some(rng, [n.id for n in network], 3))]
    if leaves:
        steps += [_several(rng, network, some(rng, leaves, 2)), _several(rng, network, [leaves[0], leaves[0]])]
    return steps


def repeated(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    """The same leaf read three times, not always with the same outcome."""
    leaf = (leaves_of(network, targets) or list(targets))[-1]
    soft_reading = Likelihood((leaf,), rng.uniform(0.05, 1, size(network, leaf)))
    hard_reading = seen_state(network, leaf, draw_world(rng, network)[leaf])
    return [hard_reading, soft_reading, hard_reading]


def _change(rng: Rng, network: Network, node_id: str) -> Change:
    n_states = size(network, node_id)
    return Change(node_id, rng.dirichlet(np.ones(n_states), size=n_states))


def changed(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    """Readings, a target changed, the same readings again, another change, and one more reading."""
    first, last = targets[0], targets[-1]
    before = soft(rng, network, targets)
    return [*before, _change(rng, network, first), *before, _change(rng, network, last), *before[:1]]


def replaced(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    """A part replaced by one that works for certain: state 0 whatever it was."""
    matrix = np.zeros((size(network, targets[0]),) * 2)
    matrix[:, 0] = 1
    return [*hard_leaves(rng, network, targets), Change(targets[0], matrix), *soft(rng, network, targets)]


def changed_first(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    """A change before anything was seen."""
    return [_change(rng, network, targets[-1]), *soft(rng, network, targets)]


def never_showing(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    """Nothing shows, so only what is known about the sides may move."""
    leaves = leaves_of(network, targets) or list(targets)
    return [_several(rng, network, [leaf], 0.0) for leaf in leaves]


def half_showing(rng: Rng, network: Network, targets: Sequence[str]) -> list[Step]:
    world = draw_world(rng, network)
    leaves = leaves_of(network, targets)
    steps: list[Step] = [seen_state(network, leaf, world[leaf], 0.5) for leaf in some(rng, leaves, 2)]
    steps.append(_several(rng, network, some(rng, [n.id for n in network], 2), 0.5))
    return [*steps, _change(rng, network, targets[0]), *steps[:1]]


EVIDENCE: dict[str, Callable[[Rng, Network, Sequence[str]], list[Step]]] = {
    make.__name__: make
    for make in (
        nothing,
        hard,
        hard_leaves,
        soft,
        several_nodes,
        repeated,
        changed,
        replaced,
        changed_first,
        never_showing,
        half_showing,
    )
}


def draw_grouping(rng: Rng, network: Network, hidden: Sequence[str]) -> dict[str, tuple[int, ...]]:
    """Up to three hidden nodes, each told apart only by "state 0 or not"."""
    return {each: (0,) + (1,) * (size(network, each) - 1) for each in some(rng, hidden, 3)}


def likelihoods_only(steps: Sequence[Step]) -> list[Likelihood]:
    return [step for step in steps if isinstance(step, Likelihood)]


def flat(network: Network, node_id: str, height: float = 1.0) -> Likelihood:
    table: Floats = np.full(size(network, node_id), height)
    return Likelihood((node_id,), table)
