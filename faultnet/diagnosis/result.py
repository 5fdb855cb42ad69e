"""What a diagnosis says."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


NOTABLE_CONFLICT_NATS = 0.5
"""A conflict from here on is shown (reasoned): together 1.6 times less likely than each by itself."""


@dataclass(frozen=True)
class Fault:
    """P(component in this state), its interval, and where the numbers come from: `seed`, or how many jobs.

    `imported` numbers are used as they are and have no interval: low and high are None.
    """

    component: str
    mode: str
    probability: float
    low: float | None
    high: float | None
    source: str
    jobs: int


@dataclass(frozen=True)
class ConditionState:
    """P(asked condition in this state), its interval, and where the numbers come from, as of a `Fault`."""

    condition: str
    state: str
    probability: float
    low: float
    high: float
    source: str
    jobs: int


@dataclass(frozen=True)
class NextModel:
    """Where to go on, from the likeliest state of an asked condition.

    models: the models that fit, each with when it is the one; empty where there is none yet, or where the set is
    refused. refused: what would leave no model, as condition, state, its chance and why.
    """

    condition: str
    state: str
    probability: float
    models: Mapping[str, str]
    refused: tuple[tuple[str, str, float, str], ...]


@dataclass(frozen=True)
class Explanation:
    """A joint state of all components: the faults it holds (none: nothing is faulty) and its probability."""

    faults: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Weight:
    """How much one event moved the odds that a component is faulty, in bits: +1 doubles the odds (Good 1950).

    In a model that asks a condition: the odds of one of its states, and component is `condition.state`.
    """

    event: int
    component: str
    bits: float


@dataclass(frozen=True)
class ReadingTold:
    """What the reading numbered `event` says.

    states: how likely it is in each state, the best being 1. faults: how likely it is with each of the likeliest
    failure modes, given everything else that was entered, the best being 1; empty once a repair touched what it hangs
    on.
    """

    event: int
    states: Mapping[str, float]
    faults: Mapping[str, float]


@dataclass(frozen=True)
class Surprise:
    """Something that fits the model badly. kind: `finding` or `reading` (event says which), or `conflict`.

    value and unit: the finding's chance given all else; the chance that a reading is an outlier; nats of conflict
    (above 0: the findings are less likely together than each by itself). apart: of a conflict of some size, the events
    that pull apart; apart_nats: the conflict of these alone.
    """

    kind: str
    event: int | None
    value: float
    unit: str
    apart: tuple[int, ...] = ()
    apart_nats: float = 0.0

    @property
    def is_notable(self) -> bool:
        """Whether people need to see it: a conflict of a few tenths of a nat is what any job has."""
        return self.kind != "conflict" or self.value >= NOTABLE_CONFLICT_NATS


@dataclass(frozen=True)
class Turn:
    """An outcome of an open test that would put another component first."""

    test: str
    outcome: str
    chance: float
    leading: str
    probability: float


@dataclass(frozen=True)
class Diagnosis:
    """Where a set stands: see the fields' types. log_evidence in nats (readings count as densities in 1/V).

    faults: of each component its healthy state first. interval_draws and seed: of the intervals, the draws that allowed
    the evidence (0 where there are no intervals), and what they can be repeated with.
    """

    model: str
    version: str
    log_evidence: float
    entropy_bits: float
    faults: tuple[Fault, ...]
    conditions: tuple[ConditionState, ...]
    next_model: NextModel | None
    explanations: tuple[Explanation, ...]
    groups: Mapping[str, float]
    nothing_found: float
    two_or_more: float
    weights: tuple[Weight, ...]
    readings: tuple[ReadingTold, ...]
    surprises: tuple[Surprise, ...]
    turns: tuple[Turn, ...]
    inseparable: tuple[tuple[str, ...], ...]
    interval_draws: int
    seed: int = 0

    def faulty(self, component: str) -> float:
        """P(component faulty)."""
        return sum(f.probability for f in self.of(component)[1:])

    def faulty_between(self, component: str) -> tuple[float, float] | None:
        """The 90 % interval of that chance; None where the numbers have none."""
        ok, *_ = self.of(component)
        return None if ok.low is None or ok.high is None else (1 - ok.high, 1 - ok.low)

    def of(self, component: str) -> list[Fault]:
        """Every state of a component, the healthy one first."""
        return [fault for fault in self.faults if fault.component == component]

    def likeliest(self, condition: str) -> ConditionState:
        """The likeliest state of an asked condition."""
        return max((c for c in self.conditions if c.condition == condition), key=lambda c: c.probability)

    @property
    def leading(self) -> str:
        """The component most likely faulty."""
        return max(dict.fromkeys(f.component for f in self.faults), key=self.faulty)

    def to_frame(self) -> "pd.DataFrame":
        """The faults as a table, a row for each component and mode; the columns are the fields of `Fault`."""
        import pandas as pd

        return pd.DataFrame([asdict(fault) for fault in self.faults], columns=[f.name for f in fields(Fault)])
