"""What of a network matters for a case: what was seen, and how the likeliest fault leads to it."""

from dataclasses import dataclass
from functools import cached_property

from faultnet.diagnosis import Diagnosis
from faultnet.pictures.graph import Graph
from faultnet.pictures.rows import Edge
from faultnet.pictures.told import Told


@dataclass(frozen=True)
class Emphasis:
    """How much nodes and edges of a graph matter. Without a diagnosis, or with nothing seen, all nodes do."""

    graph: Graph
    told: Told
    diagnosis: Diagnosis | None

    @cached_property
    def quiet(self) -> frozenset[str]:
        """Rails that nothing seen hangs on, observations nobody looked at, conditions nobody gave."""
        if self.diagnosis is None or not self.told.seen:
            return frozenset()
        model = self.graph.model
        below = {node for node in (*model.rails, *model.observations) if node not in self._live}
        return frozenset(below | {node for node in model.conditions if node not in {*self.told.given, *model.asked}})

    def weight_of(self, edge: Edge) -> int:
        """0: it does not matter here; 1: it leads to what was seen; 2: from what the answer is about, too."""
        if self.diagnosis is None or not self.told.seen:
            return int(edge[0] not in self.graph.model.conditions)
        if edge[1] not in self._live or edge[0] in self.quiet:
            return 0
        return 2 if self._leading.issuperset(edge) else 1

    @cached_property
    def _live(self) -> set[str]:
        """What was seen, what can be at fault, and what these hang on."""
        return self.graph.above([*self.told.seen, *self.graph.model.components])

    @cached_property
    def _leading(self) -> set[str]:
        """What hangs on the likeliest component or on what is asked, but through no other component."""
        assert self.diagnosis is not None
        model, leading = self.graph.model, self.diagnosis.leading
        others = [component for component in model.components if component != leading]
        return self.graph.without(others).below([leading, *model.asked])
