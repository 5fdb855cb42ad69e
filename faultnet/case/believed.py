"""A case and what its model believes of it, each item weighed once however many parts of the case are asked about."""

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import NamedTuple

from faultnet.case.case import Case
from faultnet.case.events import Reading
from faultnet.case.order import Order
from faultnet.case.sequence import Item, items_in
from faultnet.case.steps import before_the_bench, item_steps
from faultnet.engine.evidence import Step
from faultnet.engine.interface import Belief
from faultnet.model.model import Model


class Without(NamedTuple):
    """What would be believed without an event. belief: kept of readings only, since it may be large."""

    log_evidence: float
    belief: Belief | None


class Believed:
    """What a model believes of a case. Made for one answer; what is asked of it is remembered for the rest of that."""

    def __init__(self, model: Model, case: Case) -> None:
        self.model, self.case = model, case
        self._steps: dict[Item, list[Step]] = {}

    @cached_property
    def now(self) -> Belief:
        """What is believed of the set now. ContradictoryEvidence when the events are impossible together."""
        return self.model.compiled.engine.belief(self.steps())

    @cached_property
    def counted(self) -> tuple[int, ...]:
        """The numbers of the events that count."""
        return tuple(sorted(self._order.place))

    def steps(self, counted: Iterable[int] | None = None, *, altered_before: int | None = None) -> list[Step]:
        """As `case_steps`: the same step for the same item, whatever else is asked about."""
        items = items_in(self._order, self.case, counted, altered_before=altered_before)
        return [*self._before, *(step for item in items for step in self._of(item))]

    def after(self, parts: Iterable[Iterable[int]]) -> Iterator[Belief]:
        """What would be believed by each of these parts of the case alone: numbers of the events that it is made of."""
        return self.model.compiled.engine.beliefs(map(self.steps, parts))

    @cached_property
    def without(self) -> Mapping[int, Without]:
        """What would be believed without each of the events that count."""
        rests = self.after([n for n in self.counted if n != number] for number in self.counted)
        return {
            number: Without(rest.log_evidence, rest if isinstance(self.case.events[number], Reading) else None)
            for number, rest in zip(self.counted, rests, strict=True)
        }

    @cached_property
    def _order(self) -> Order:
        return self.case.order(self.model)

    @cached_property
    def _before(self) -> list[Step]:
        return before_the_bench(self.model, self.case)

    def _of(self, item: Item) -> list[Step]:
        if item not in self._steps:
            self._steps[item] = item_steps(self.model, self.case, item)
        return self._steps[item]
