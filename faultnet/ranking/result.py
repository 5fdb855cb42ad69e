"""What a ranking says."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan
from typing import TYPE_CHECKING

from faultnet.model.work import BenchState, Choices, Step, choices_in_words
from faultnet.repairs import Money, RankedRepair
from faultnet.settings import ShopSettings

if TYPE_CHECKING:
    import pandas as pd


_TEST_COLUMNS = {
    "test": "str",
    "label": "str",
    "reveals": "str",
    "gain_bits": "float64",
    "gain_repair_bits": "float64",
    "minutes": "float64",
    "setup_minutes": "float64",
    "cost": "float64",
    "expected_total": "float64",
    "evsi": "float64",
    "hazard": "int64",
    "waits_for": "str",
    "held_because": "str",
    "on_top": "float64",
}


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

    cost: minutes with set-up at the hourly rate, money and the price of the step's hazard. expected_total: of the whole
    job where it is made first and repairs alone follow each of its outcomes; evsi: what knowing its outcome would save,
    before its cost (expected value of sample information). None where the model has no repairs to tell it by.
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
    expected_total: float | None = None
    evsi: float | None = None

    @property
    def worth(self) -> float:
        """Repair information per unit of cost."""
        return self.gain_repair_bits / self.divisor

    @property
    def divisor(self) -> float:
        """Its cost, or next to nothing where it costs nothing: what its gain is divided by."""
        return max(self.cost, 1e-6)


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
    """What to do now. kind: `test`, `repair`, `stop` or `hand_over`; id is empty for the last two.

    verdict: how the job ends where it ends now, `not_worth_repairing` or `no_fault_found`, else "".
    costs: of advice that looks ahead the bounds of the least expected cost; None where it looks one step ahead.
    """

    kind: str
    id: str
    why: str
    verdict: str = ""
    costs: tuple[float, float] | None = None


@dataclass(frozen=True)
class Ranking:
    """Open tests in the order to consider them, repairs, what is held back, and the advice.

    bench and settings: how the set was taken to stand, and what steps were priced and gated with. money: what the case
    costs by repairs alone, None where the model has none to tell it by. on_top: of the tests that are not held back,
    in what share of draws of the model's numbers each would be the one to make next; empty where nobody asked.
    """

    tests: tuple[RankedTest, ...]
    repairs: tuple[RankedRepair, ...]
    held_back: tuple[HeldBack, ...]
    advice: Advice
    bench: BenchState = field(default_factory=BenchState)
    settings: ShopSettings = field(default_factory=ShopSettings)
    money: Money | None = None
    on_top: Mapping[str, float] = field(default_factory=dict)

    @property
    def held_because(self) -> dict[tuple[str, str], str]:
        """Why each test and repair that is held back is, by kind and id."""
        return {(held.kind, held.id): held.reason for held in self.held_back}

    @property
    def advised_test(self) -> RankedTest | None:
        """The test that is advised, if it is one."""
        return next((t for t in self.tests if self.advice.kind == "test" and t.test == self.advice.id), None)

    def to_frame(self) -> "pd.DataFrame":
        """The tests as a table, a row each, named as in the JSON answer; text and numbers only."""
        import pandas as pd

        rows = [
            (
                test.test,
                test.label,
                "+".join(test.reveals),
                test.gain_bits,
                test.gain_repair_bits,
                float(test.step.minutes),
                float(test.step.setup_minutes),
                test.cost,
                nan if test.expected_total is None else test.expected_total,
                nan if test.evsi is None else test.evsi,
                test.step.hazard,
                choices_in_words(test.waits_for),
                self.held_because.get(("test", test.test), ""),
                self.on_top.get(test.test, nan),
            )
            for test in self.tests
        ]
        return pd.DataFrame(rows, columns=list(_TEST_COLUMNS)).astype(_TEST_COLUMNS)
