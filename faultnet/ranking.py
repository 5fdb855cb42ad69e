"""What to do next: every open test priced and ranked, what is held back and why, and one piece of advice."""

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultnet.case.bench import bench_after_events
from faultnet.case.case import Case
from faultnet.diagnosis.explain import believe_or_explain, outcome_names
from faultnet.engine.joint import Belief
from faultnet.model.model import Model
from faultnet.model.work import BenchState, BenchTest, Step, prepare
from faultnet.repairs import RankedRepair, rank_repairs, unmet, untrained_reason
from faultnet.settings import ShopSettings
from faultnet.words import percent

if TYPE_CHECKING:
    import pandas as pd

WORTH_ASKING_BITS = 0.01
"""A test that tells less about which parts need work is not advised for its information."""


@dataclass(frozen=True)
class Outcome:
    """One outcome of a test: its chance, and the likeliest failure mode once it is seen."""

    state: str
    chance: float
    leading_fault: str
    probability: float


@dataclass(frozen=True)
class RankedTest:
    """An open test. gain_bits: about the joint state of all components; gain_repair_bits: about which need work.

    cost: minutes with set-up at the hourly rate, money and the price of the step's hazard.
    waits_for: what the trade does first and is still open; it binds the advice, not the list.
    """

    test: str
    label: str
    gain_bits: float
    gain_repair_bits: float
    cost: float
    step: Step
    side_effect: str
    waits_for: tuple[str, ...]
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


def rank_tests(
    model: Model, case: Case, bench: BenchState | None = None, settings: ShopSettings | None = None
) -> Ranking:
    """Every open test with its exact gains and its price from how the bench stands, and what to do next.

    bench: where the set-up stands; without it, as the tests already made have left it.
    """
    bench, settings = bench or bench_after_events(model, case), settings or ShopSettings()
    belief = believe_or_explain(model, case)
    known, seen = case.known(model), case.ever_seen()
    tests = [
        _rank(model, case, belief, test, known, seen, bench, settings)
        for test in model.tests.values()
        if not set(test.reveals) <= known
    ]
    tests.sort(key=lambda t: (bool(t.waits_for), -t.worth))
    repairs = rank_repairs(model, case, bench, settings, belief)
    allowed = [t for t in tests if settings.may_do(t.step.hazard)]
    held = [
        HeldBack("test", t.test, t.label, t.step.hazard, untrained_reason(t.step.hazard))
        for t in tests
        if t not in allowed
    ]
    held += [HeldBack("repair", r.repair, r.label, r.step.hazard, r.held_because) for r in repairs if r.held_because]
    return Ranking(tuple(tests), repairs, tuple(held), _advise(allowed, repairs, held, settings))


def _rank(
    model: Model,
    case: Case,
    belief: Belief,
    test: BenchTest,
    known: Collection[str],
    seen: Collection[str],
    bench: BenchState,
    settings: ShopSettings,
) -> RankedTest:
    leaves = tuple(leaf for leaf in test.reveals if leaf not in known)
    step = prepare(
        bench,
        test.needs,
        model.setups,
        minutes=test.minutes,
        hazard=test.hazard,
        cautions=test.cautions,
        inches=case.inches,
    )
    return RankedTest(
        test=test.id,
        label=test.label,
        gain_bits=belief.gain_bits(leaves),
        gain_repair_bits=belief.gain_bits(leaves, model.compiled.needs_work),
        cost=settings.price(step.setup_minutes + step.minutes, test.money, step.hazard),
        step=step,
        side_effect=test.side_effect,
        waits_for=unmet(test.after, seen),
        outcomes=_outcomes(model, belief, leaves),
    )


def _outcomes(model: Model, belief: Belief, leaves: Sequence[str]) -> tuple[Outcome, ...]:
    table = belief.outcomes(leaves)
    chances = table.sum(axis=1)
    by_mode = table @ model.compiled.is_mode
    outcomes = []
    for name, chance, modes in zip(outcome_names(model, leaves), chances, by_mode, strict=True):
        first = int(np.argmax(modes))
        probability = float(modes[first] / chance) if chance > 0 else 0.0
        outcomes.append(Outcome(name, float(chance), str(model.modes[first]), probability))
    return tuple(outcomes)


# -- advice ----------------------------------------------------------------------------------------------------------


def _advise(
    allowed: Sequence[RankedTest], repairs: Sequence[RankedRepair], held: Sequence[HeldBack], settings: ShopSettings
) -> Advice:
    sure = [r for r in repairs if r.named_right >= r.gate and settings.may_do(r.step.hazard)]
    for repair in sure:
        if not repair.waits_for:
            return Advice(
                "repair",
                repair.repair,
                f"{percent(repair.named_right)} sure of the part, past the gate of {percent(repair.gate)}",
            )
        if needed := _before(allowed, repair.waits_for):
            return Advice("test", needed.test, f"proves the rest before: {repair.label}")
    best = max(allowed, key=lambda t: t.worth, default=None)
    if best is not None and best.gain_repair_bits >= WORTH_ASKING_BITS:
        earlier = _before(allowed, best.waits_for)
        if earlier is None:
            return Advice("test", best.test, _why(best))
        return Advice("test", earlier.test, f"comes before: {best.label}")
    if any("trained" in back.reason for back in held):
        return Advice("hand_over", "", "what is left is for a trained person: hand over, with the probabilities so far")
    return Advice("stop", "", _why_stop(repairs))


def _why(test: RankedTest) -> str:
    why = f"tells most about which part needs work for what it costs ({test.gain_repair_bits:.2f} bit)"
    return why + (f"; usually after {', '.join(test.waits_for)}" if test.waits_for else "")


def _before(allowed: Sequence[RankedTest], waits_for: Sequence[str]) -> RankedTest | None:
    """The first open test among those waited for, or what that one waits for in turn; None when there is none to do."""
    for choice in waits_for:
        open_tests = [test for test in allowed if test.test in choice.split(" or ")]
        if open_tests:
            earlier = max(open_tests, key=lambda t: t.worth)
            return _before(allowed, earlier.waits_for) or earlier
    return None


def _why_stop(repairs: Sequence[RankedRepair]) -> str:
    likeliest = max(repairs, key=lambda r: r.cures, default=None)
    if likeliest is None:
        return "no open test says much more"
    cure = f"{likeliest.label} ({percent(likeliest.cures)} that the set then works)"
    return f"no open test says much more; the likeliest cure is to {cure}"
