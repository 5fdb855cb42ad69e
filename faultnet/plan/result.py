"""What a plan says: a tree of steps, what it costs, and how sure that is."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from faultnet.model.work import Step
from faultnet.plan.bands import Banded

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Branch:
    """What a step showed, its chance there, and how the plan goes on.

    state: of a test the states seen, joined by +; `works` or `not` after a repair. shown: each observation of a test
    with its state.
    """

    state: str
    chance: float
    then: "PlanStep | None"
    shown: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class PlanStep:
    """A step of a plan. kind: `test`, `repair` or `stop`; id and label of the test or repair.

    reached: the chance that the plan comes here. expected_cost: of going on from here, in money. suspects: the
    likeliest faulty components here with their probabilities. step: set-up, minutes, hazard and cautions; None for
    stopping. harm: the chance that a repair ruins the set.
    """

    kind: str
    id: str
    label: str
    reached: float
    expected_cost: float
    suspects: tuple[tuple[str, float], ...]
    step: Step | None
    branches: tuple[Branch, ...]
    harm: float = 0.0

    def steps(self) -> Iterator["PlanStep"]:
        """This step and all after it, depth first."""
        yield self
        for branch in self.branches:
            if branch.then is not None:
                yield from branch.then.steps()


@dataclass(frozen=True)
class Bounds:
    """Least expected cost, in money: between `lower` and `upper`, where upper is that of a plan in hand."""

    lower: float
    upper: float
    is_exact: bool


@dataclass(frozen=True)
class Plan:
    """The cheapest plan that was found, from where the case stands.

    cost: bounds of the least expected cost under the gates and the trade's order; free: without them, None where it was
    not asked for. bits_per_minute: what that rule would cost. giving_up: what sending the set back costs.
    tests: those the plan chose from. left_out: probability of faults that were not followed. banded: of readings told
    by bands, what that loses. taken_as_done: what the order asks for before a test and no test of the plan shows;
    blocked: repairs for which no test of the plan shows what must be seen first.
    """

    first: PlanStep
    cost: Bounds
    free: Bounds | None
    bits_per_minute: float
    giving_up: float
    tests: tuple[str, ...]
    left_out: float
    banded: Mapping[str, Banded]
    taken_as_done: tuple[str, ...]
    blocked: tuple[str, ...]
    nodes: int
    currency: str = ""

    def to_frame(self) -> "pd.DataFrame":
        """The steps as a table, a row each, depth first; text and numbers only."""
        import pandas as pd

        rows = [
            {
                "kind": step.kind,
                "id": step.id,
                "label": step.label,
                "reached": step.reached,
                "expected_cost": step.expected_cost,
                "minutes": 0.0 if step.step is None else float(step.step.setup_minutes + step.step.minutes),
                "hazard": 0 if step.step is None else step.step.hazard,
            }
            for step in self.first.steps()
        ]
        return pd.DataFrame(rows)
