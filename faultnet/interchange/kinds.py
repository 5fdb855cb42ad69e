"""Which nodes of a network are components, rails and observations: as told, else a guess by how they hang together."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from faultnet.case.entry import nearest
from faultnet.errors import UsageProblem
from faultnet.interchange.names import Names, nearest_id
from faultnet.interchange.verify import Verified
from faultnet.interchange.written import shown
from faultnet.model.imported import KINDS
from faultnet.schema.network_checks import too_many_states

HEALTHY = ("ok", "normal", "healthy", "good", "works", "working", "no", "false", "absent", "none", "negative", "off")
"""States that mean that nothing is wrong, the first that a component has."""

Kinds = Mapping[str, str]


@dataclass(frozen=True)
class Told:
    """What somebody said about a network: names or ids of nodes by kind, and the healthy states of components."""

    kinds: Mapping[str, Sequence[str]]
    healthy: Mapping[str, str]

    @property
    def says_kinds(self) -> bool:
        return any(self.kinds.values())


def guess_kinds(verified: Verified) -> dict[str, str]:
    """Leaves are observations, roots components, the rest rails. A node by itself is a component."""
    parents = {parent for node in verified.network for parent in node.parents}
    guessed = {}
    for name in verified.order:
        node = verified.network[name]
        if not node.parents and len(node.states) > 1:
            guessed[name] = "component"
        else:
            guessed[name] = "rail" if name in parents or not node.parents else "observation"
    return guessed


def decide_kinds(verified: Verified, names: Names, told: Told) -> dict[str, str]:
    """The kind of every node: as told; of a kind that was told of, no others are guessed, and become rails.

    UsageProblem: a name that is unknown or told twice, or no component.
    """
    kinds = guess_kinds(verified)
    listed = {kind for kind, some in told.kinds.items() if some}
    kinds = {name: "rail" if kind in listed else kind for name, kind in kinds.items()}
    problems: list[str] = []
    said: dict[str, str] = {}
    for kind in KINDS:
        for text in told.kinds.get(kind, ()):
            name = names.find(text)
            if name is None:
                problems.append(f"--{kind} {text}: no such node{_near(text, names)}")
            elif said.setdefault(name, kind) != kind:
                problems.append(f"--{kind} {text}: already told as --{said[name]}")
            else:
                kinds[name] = kind
    return _checked(verified, names, kinds, problems)


def _checked(verified: Verified, names: Names, kinds: dict[str, str], problems: list[str]) -> dict[str, str]:
    components = [name for name, kind in kinds.items() if kind == "component"]
    problems += [
        f"{shown(name)} has a single state; a component needs two, the first of them healthy"
        for name in components
        if len(verified.network[name].states) < 2
    ]
    if not components and not problems:
        problems.append("no node is a component: name what can be at fault with --component A,B")
    if not problems and (
        problem := too_many_states({names.nodes[n]: len(verified.network[n].states) for n in components})
    ):
        problems.append(f"{problem}. With --component A,B only those named are components")
    if problems:
        raise UsageProblem(*problems)
    return kinds


def decide_healthy(verified: Verified, names: Names, kinds: Kinds, told: Told) -> dict[str, str]:
    """The healthy state of every component, under its own name. UsageProblem: an unknown node or state."""
    problems: list[str] = []
    chosen = {n: guess_healthy(verified.network[n].states) for n, kind in kinds.items() if kind == "component"}
    for node, state in told.healthy.items():
        name = names.find(node)
        if name is None:
            problems.append(f"--ok {node}={state}: no such node{_near(node, names)}")
        elif name not in chosen:
            problems.append(f"--ok {node}={state}: {node} is no component")
        else:
            ids = names.states[name]
            own = state if state in ids else next((s for s, id_ in ids.items() if id_ == state), None)
            if own is None:
                listed = ", ".join(ids.values())
                problems.append(f"--ok {node}={state}: no such state; it has {listed}{nearest(state, ids.values())}")
            else:
                chosen[name] = own
    if problems:
        raise UsageProblem(*problems)
    return chosen


def guess_healthy(states: Sequence[str]) -> str:
    """The state that means healthy by its name, else the first."""
    by_id = {nearest_id(state, "state"): state for state in reversed(states)}
    return next((by_id[word] for word in HEALTHY if word in by_id), states[0])


def _near(text: str, names: Names) -> str:
    known: Iterable[str] = [*names.nodes, *names.nodes.values()]
    return nearest(text, dict.fromkeys(known))
