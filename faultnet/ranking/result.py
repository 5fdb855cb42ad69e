"""What a ranking says."""

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from faultnet.model.work import Choices, Step
from faultnet.repairs import RankedRepair

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Outcome:
    """One outcome of a test: its chance, and the likeliest failure mode once it is seen.

    leading_conditions: of each condition that the model asks, its likeliest state then and that one's chance.
    """

    state: str
    chance: float
    leading_fault: str
    probability: float
    leading_conditions: tuple[tuple[str, str, float], ...] = ()


@dataclass(frozen=True)
class RankedTest:
    """An open test. gain_bits: about the joint state of all components; gain_repair_bits: about which need work, and
    about the conditions that the model asks.

    cost: minutes with set-up at the hourly rate, money and the price of the step's hazard.
    waits_for: the choices of observations that the trade makes first and that are still open; they bind the advice,
    not the list.
    """

    test: str
    label: str
    reveals: tuple[str, ...]
    gain_bits: float
    gain_repair_bits: float
    cost: float
    step: Step
    side_effect: str
    waits_for: Choices
    outcomes: tuple[Outcome, ...]

    @property
    def worth(self) -> float:
        """Repair information per unit of cost."""
        return self.gain_repair_bits / max(self.cost, 1e-6)


@dataclass(frozen=True)
class HeldBack:
    """A test or repair that is not advised at this bench now, and why."""

    kind: str
    id: str
    label: str
    hazard: int
    reason: str
    needs_training: bool


@dataclass(frozen=True)
class Advice:
    """What to do now. kind: `test`, `repair`, `stop` or `hand_over`; id is empty for the last two."""

    kind: str
    id: str
    why: str


@dataclass(frozen=True)
class Ranking:
    """Open tests in the order to consider them, repairs, what is held back, and the advice."""

    tests: tuple[RankedTest, ...]
    repairs: tuple[RankedRepair, ...]
    held_back: tuple[HeldBack, ...]
    advice: Advice

    def to_frame(self) -> "pd.DataFrame":
        """The tests as a table, a row each."""
        import pandas as pd

        rows = [{k: v for k, v in asdict(test).items() if k not in ("outcomes", "step")} for test in self.tests]
        return pd.DataFrame(rows)
