"""The parts of a model file under check, and the words for what is wrong with a name."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from faultnet.cpt import ROW_SUM_TOLERANCE
from faultnet.model.nodes import OK
from faultnet.schema import shapes, work_shapes
from faultnet.schema.network_shape import NetworkNodeShape

Path = tuple[str | int, ...]
Finding = tuple[Path, str]

MOST_NAMES_COMPARED = 500


@dataclass
class Parts:
    """The parts of a file that have the right shape, and the ids of all, right or not.

    is_imported: whether the file holds a network from elsewhere instead of parts of its own.
    """

    is_imported: bool = False
    head: dict[str, Any] = field(default_factory=dict)
    components: dict[str, shapes.ComponentShape] = field(default_factory=dict)
    groups: dict[str, shapes.GroupShape] = field(default_factory=dict)
    collateral: dict[int, shapes.CollateralShape] = field(default_factory=dict)
    conditions: dict[str, shapes.ConditionShape] = field(default_factory=dict)
    rails: dict[str, shapes.RailShape] = field(default_factory=dict)
    observations: dict[str, shapes.ObservationShape] = field(default_factory=dict)
    tests: dict[str, work_shapes.BenchTestShape] = field(default_factory=dict)
    repairs: dict[str, work_shapes.RepairShape] = field(default_factory=dict)
    refuse: dict[str, shapes.RefusalShape] = field(default_factory=dict)
    network: dict[str, NetworkNodeShape] = field(default_factory=dict)
    setups: dict[int, work_shapes.SetupShape] = field(default_factory=dict)
    cautions: dict[str, str] = field(default_factory=dict)
    ids: dict[str, list[str]] = field(default_factory=dict)

    def states(self, node: str) -> tuple[str, ...] | None:
        """The states of a node that is written well enough to have some."""
        if node in self.components:
            return (OK, *self.components[node].modes)
        for group in (self.conditions, self.rails, self.observations, self.network):
            if node in group:
                return tuple(group[node].states)
        return None

    def of_kind(self, kind: str) -> list[str]:
        """The nodes of an imported network that are of this kind."""
        return [id_ for id_, node in self.network.items() if node.kind == kind]

    def named(self, *sections: str) -> list[str]:
        return [id_ for section in sections for id_ in self.ids.get(section, [])]


def unknown(what: str, name: str, known: Iterable[str]) -> str:
    """ "unknown X name; did you mean ...?" """
    return f"unknown {what} {shortened(name)}{did_you_mean(name, known)}"


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """The end of a message about a name that is not known: its nearest ones, or nothing when none is near."""
    nearest = get_close_matches(name, list(known)[:MOST_NAMES_COMPARED], n=3, cutoff=0.5)
    return f"; did you mean {' or '.join(nearest)}?" if nearest else ""


def shortened(text: str, most: int = 60) -> str:
    """Text for a message: the first part of it where it is long."""
    return text if len(text) <= most else f"{text[: most - 3]}..."


def repeated(path: Path, names: Sequence[str]) -> Iterator[Finding]:
    """A finding for every name that stands in a list more than once."""
    for name in dict.fromkeys(n for n in names if names.count(n) > 1):
        yield path, f"{name} stands here twice"


def probabilities(path: Path, p: Sequence[float], states: Sequence[str]) -> Iterator[Finding]:
    """What is wrong with a row of probabilities of these states."""
    if len(p) != len(states):
        yield path, f"{len(p)} probabilities for {len(states)} states"
    elif abs(sum(p) - 1) > ROW_SUM_TOLERANCE:
        yield path, f"the probabilities add to {sum(p):.10g}, not 1"
