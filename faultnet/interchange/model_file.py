"""A verified network as one of our own model files: YAML that `load_model` reads without any other library."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats
from faultnet.interchange.kinds import Kinds
from faultnet.interchange.names import Names
from faultnet.interchange.verify import Verified

_SPECIAL = ("true", "false", "null")
"""Ids that YAML would take for something else than text."""

_WIDE = 110


@dataclass(frozen=True, eq=False)
class Imported:
    """A network with everything that was decided about it. healthy: of each component, under its own name."""

    id: str
    title: str
    about: str
    verified: Verified
    names: Names
    kinds: Kinds
    healthy: Mapping[str, str]

    def states(self, node: str) -> tuple[str, ...]:
        """The states of a node in the order of our file: a component's healthy one first."""
        states = self.verified.network[node].states
        first = self.healthy.get(node, states[0])
        return (first, *(state for state in states if state != first))

    def table(self, node: str) -> Floats:
        """P(node | parents) with the states of all in the order of our file: ``(n_combinations, n_states)``."""
        known = self.verified.network[node]
        table = known.cpt.expand()
        for axis, each in enumerate((*known.parents, node)):
            own = self.verified.network[each].states
            table = table.take([own.index(state) for state in self.states(each)], axis=axis)
        return table.reshape(-1, table.shape[-1])

    @property
    def n_numbers(self) -> int:
        """Numbers of all tables."""
        return sum(int(np.prod((*n.cpt.parent_sizes, n.cpt.n_states))) for n in self.verified.network)


def write_model(imported: Imported) -> str:
    """The text of the model file."""
    return "\n".join([*_head(imported), *_network(imported), *_tests(imported), ""])


def _head(imported: Imported) -> Iterator[str]:
    yield f"id: {_word(imported.id)}"
    yield f"title: {quoted(imported.title)}"
    yield f"about: {quoted(imported.about)}"
    yield ""
    yield "# A network from elsewhere: its numbers are used as they are. `kind` says what a node is taken for and may"
    yield "# be changed; the first state of a component is the healthy one. A table has a row for each combination of"
    yield "# the nodes under `given`, the last of them changing fastest."


def _network(imported: Imported) -> Iterator[str]:
    yield "network:"
    names = imported.names
    for node in imported.verified.order:
        ids, states = names.states[node], imported.states(node)
        yield f"  {_word(names.nodes[node])}:"
        yield f"    kind: {imported.kinds[node]}"
        yield f"    label: {quoted(node)}"
        yield f"    states: [{', '.join(_word(ids[state]) for state in states)}]"
        if labels := [f"{_word(ids[state])}: {quoted(state)}" for state in states if ids[state] != state]:
            yield f"    labels: {{{', '.join(labels)}}}"
        if parents := imported.verified.network[node].parents:
            yield f"    given: [{', '.join(_word(names.nodes[parent]) for parent in parents)}]"
        yield "    table:"
        yield from (f"      - [{', '.join(map(_number, row))}]" for row in imported.table(node).tolist())


def _tests(imported: Imported) -> Iterator[str]:
    yield ""
    yield "# Minutes and hazard are set to the least: put in what each test really takes and risks. One with a hazard"
    yield "# needs its `cautions`, and `setups`, as in the models that come with the program."
    seen = [node for node in imported.verified.order if imported.kinds[node] == "observation"]
    yield "tests:" if seen else "tests: {}"
    for node in seen:
        id_ = _word(imported.names.nodes[node])
        yield f"  {id_}: {{label: {quoted(node)}, minutes: 1, hazard: 0, mark: reasoned}}"


def _word(id_: str) -> str:
    return f'"{id_}"' if id_ in _SPECIAL else id_


def _number(value: float) -> str:
    """A number that reads back as the same one."""
    return "0" if value == 0 else "1" if value == 1 else repr(value)


def quoted(text: str) -> str:
    """Text as a YAML scalar in double quotes, in one line; what a terminal or YAML cannot show is written as U+..."""
    return json.dumps(plain(text), ensure_ascii=False)


def plain(text: str, most: int = 2000) -> str:
    """Text with everything that cannot be printed written out as U+..., so that a label is safe to show."""
    return "".join(c if c.isprintable() else f"(U+{ord(c):04X})" for c in text)[:most]


__all__: Sequence[str] = ["Imported", "plain", "quoted", "write_model"]
