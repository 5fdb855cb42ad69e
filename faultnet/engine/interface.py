"""What every exact engine answers, and the choice between the two.

`table` is one table of joint states (`joint`), fast for one bench model; `tree` is a junction tree (`junction`), for
networks whose table would be too large and for batches of cases. Both give the same numbers.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Protocol

from faultnet.cpt import Floats, Ints
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.engine.joint import JointEngine, compile_joint
from faultnet.engine.junction import JunctionEngine, compile_junction
from faultnet.network import Network

ENGINES = ("auto", "table", "tree")


class Belief(Protocol):
    """What is believed after some evidence; see `faultnet.engine.joint.Belief` for each answer's shape and unit."""

    @property
    def log_evidence(self) -> float: ...

    @property
    def steps(self) -> tuple[Step, ...]: ...

    @property
    def targets(self) -> Floats: ...

    @property
    def entropy_bits(self) -> float: ...

    @property
    def gains_are_local(self) -> bool: ...

    def observe(self, seen: Likelihood) -> "Belief": ...

    def change(self, made: Change) -> "Belief": ...

    def marginal(self, node: str) -> Floats: ...

    def joint(self, nodes: Sequence[str]) -> Floats: ...

    def joint_by_label(self, nodes: Sequence[str], label: Ints) -> Floats: ...

    def outcomes(self, leaves: Sequence[str]) -> Floats: ...

    def gain_bits(self, leaves: Sequence[str], about: Mapping[str, Sequence[int]] | None = None) -> float: ...

    def gains_bits(
        self, tests: Sequence[Sequence[str]], about: Mapping[str, Sequence[int]] | None = None
    ) -> list[float]: ...


class Engine(Protocol):
    """A network compiled for questions about its targets."""

    @property
    def network(self) -> Network: ...

    @property
    def targets(self) -> tuple[str, ...]: ...

    @property
    def prior(self) -> Belief: ...

    def belief(self, steps: Iterable[Step]) -> Belief: ...

    def beliefs(self, ways: Iterable[Sequence[Step]]) -> Iterator[Belief]: ...

    def describe(self) -> str: ...


def compile_engine(network: Network, targets: Sequence[str] | None = None, kind: str = "auto") -> Engine:
    """The engine of this kind; `auto` takes the table where it fits and the tree elsewhere.

    ValueError: no such kind, or too large for the kind (for `auto`: for both; the clique that is too wide is named).
    """
    if kind not in ENGINES:
        raise ValueError(f"an engine is one of {', '.join(ENGINES)}, not {kind}")
    if kind != "tree":
        try:
            table: JointEngine = compile_joint(network, targets)
        except ValueError:
            if kind == "table":
                raise
        else:
            return table
    tree: JunctionEngine = compile_junction(network, targets)
    return tree
