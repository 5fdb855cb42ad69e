"""A step at the bench: what to prepare, what to look out for, what may be seen, and what that would mean."""

from dataclasses import dataclass

from faultnet.case.words import state_words
from faultnet.model import Model
from faultnet.model.work import HAZARDS, Step
from faultnet.ranking import RankedTest
from faultnet.repairs import RankedRepair
from faultnet.telling.answer import leading_words
from faultnet.words import minutes, percent

READ_FIRST_FROM = 2
"""From this hazard on (powered, or the panel opened) answers are only taken where the cautions were read first."""


@dataclass(frozen=True)
class Effort:
    """What a step takes. hazard: 0 to 4, with its words; setup: what to do first, in order."""

    hazard: int
    hazard_words: str
    minutes: str
    setup: tuple[str, ...]
    setup_minutes: str
    cautions: tuple[str, ...]

    @property
    def is_read_first(self) -> bool:
        """Whether its cautions have to be read before it is shown."""
        return self.hazard >= READ_FIRST_FROM


@dataclass(frozen=True)
class Seen:
    """One thing that a test may show. event: what is entered for it.

    chance and leads_to in words, "" for one of several observations of a test.
    """

    event: str
    said: str
    chance: str
    leads_to: str


@dataclass(frozen=True)
class Looked:
    """What a test shows of one observation. takes_volts: whether it may be read in volts as well."""

    id: str
    label: str
    states: tuple[Seen, ...]
    takes_volts: bool


@dataclass(frozen=True)
class BenchStep:
    """A test to make. why: as the advice says, "" where it was chosen by hand."""

    id: str
    label: str
    how: str
    why: str
    effort: Effort
    side_effect: str
    looked: tuple[Looked, ...]


def effort_of(step: Step) -> Effort:
    """What a step takes, in words."""
    return Effort(
        step.hazard,
        HAZARDS[step.hazard],
        minutes(step.minutes),
        step.setup,
        minutes(step.setup_minutes),
        tuple(caution.text for caution in step.cautions),
    )


def bench_step(model: Model, test: RankedTest, why: str = "") -> BenchStep:
    """A test as it is shown."""
    known = model.tests[test.test]
    looked = tuple(
        Looked(
            leaf,
            model.visible[leaf].label,
            _states(model, test, leaf),
            takes_volts(model, leaf),
        )
        for leaf in test.reveals
    )
    return BenchStep(test.test, test.label, known.how, why, effort_of(test.step), test.side_effect, looked)


def takes_volts(model: Model, leaf: str) -> bool:
    """Whether an observation is read in volts."""
    return model.visible[leaf].reading is not None


def _states(model: Model, test: RankedTest, leaf: str) -> tuple[Seen, ...]:
    seen = model.visible[leaf]
    if len(test.reveals) > 1:
        return tuple(Seen(f"{leaf}={state}", state_words(seen, state), "", "") for state in seen.states)
    return tuple(
        Seen(f"{leaf}={o.state}", state_words(seen, o.state), percent(o.chance), leading_words(model, o))
        for o in test.outcomes
    )


@dataclass(frozen=True)
class RepairStep:
    """A repair to make. parts: their price; held: why not yet, "" where nothing holds it."""

    id: str
    label: str
    advice: str
    cures: str
    sure: str
    parts: str
    held: str
    effort: Effort


def repair_step(repair: RankedRepair, currency: str) -> RepairStep:
    """A repair as it is shown."""
    parts = f"{repair.parts_low:g} to {repair.parts_high:g} {currency}".rstrip() if repair.parts_high else ""
    return RepairStep(
        repair.repair,
        repair.label,
        repair.advice,
        percent(repair.cures),
        percent(repair.named_right),
        parts,
        repair.held_because,
        effort_of(repair.step),
    )
