"""Ways of working on a set: what to do next, given what was seen so far."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from faultnet.case import Case, believe
from faultnet.case.events import Finding, RepairOutcome, Seen
from faultnet.errors import ContradictoryEvidence
from faultnet.evaluate.past import PastJob
from faultnet.model import Model
from faultnet.model.work import BenchState, size_class
from faultnet.plan import PlanStep, make_plan
from faultnet.ranking import rank_tests
from faultnet.settings import ShopSettings

Move = tuple[str, str]
"""`test` or `repair` with an id, or `stop`."""

LOOKS = 60
"""How often a whole plan is looked at again, before the best one so far is taken: some seconds."""

STOP: Move = ("stop", "")


class Rule(Protocol):
    """A way of working; where it does not need an argument, it still takes it."""

    def start(self, job: PastJob) -> None:
        """Begin with a set."""
        ...

    def move(self, case: Case, bench: BenchState) -> Move:
        """What to do next. case: what was seen so far, and tests whose result nobody recorded as skipped."""
        ...


def likeliest_state(model: Model, case: Case, seen: Seen) -> str:
    """The state that something seen most likely is; of volts, by all that is known of the set."""
    if isinstance(seen, Finding):
        return seen.state
    try:
        chances = believe(model, case).marginal(seen.observation)
    except ContradictoryEvidence:
        return ""
    return model.visible[seen.observation].states[int(np.argmax(chances))]


@dataclass
class Advice:
    """The advice of faultnet, one step at a time."""

    model: Model
    settings: ShopSettings

    def start(self, job: PastJob) -> None:
        """Nothing to get ready."""

    def move(self, case: Case, bench: BenchState) -> Move:
        """The advice."""
        try:
            told = rank_tests(self.model, case, bench, self.settings).advice
        except ContradictoryEvidence:
            return STOP
        return (told.kind, told.id) if told.kind in ("test", "repair") else STOP


@dataclass
class WholePlan:
    """The plan of least expected cost, made once for each size of set; off its tree, the advice."""

    model: Model
    settings: ShopSettings
    looks: int = LOOKS
    _plans: dict[int, PlanStep] = field(default_factory=dict)
    _at: PlanStep | None = None

    def start(self, job: PastJob) -> None:
        """Take the plan for the set's size."""
        size = size_class(job.case.inches)
        if size not in self._plans:
            looks = iter(range(self.looks))
            plan = make_plan(
                self.model,
                Case(inches=job.case.inches),
                settings=self.settings,
                keep_going=lambda: next(looks, None) is not None,
                keep_comparing=None,
            )
            self._plans[size] = plan.first
        self._at = self._plans[size]

    def move(self, case: Case, bench: BenchState) -> Move:
        """The next step of the tree, along what was seen."""
        while self._at is not None:
            at = self._at
            if at.kind == "stop":
                return STOP
            made = self._made(at, case)
            if made is None:
                if at.kind == "test" and at.id in case.skipped:
                    self._at = None
                    break
                return at.kind, at.id
            self._at = next((branch.then for branch in at.branches if branch.state == made), None)
        return Advice(self.model, self.settings).move(case, bench)

    def _made(self, at: PlanStep, case: Case) -> str | None:
        """What a step of the tree showed; None where it was not made."""
        if at.kind == "repair":
            tried = any(isinstance(event, RepairOutcome) and at.id in event.made for event in case.events)
            return "not" if tried else None
        reveals = self.model.tests[at.id].reveals
        seen = {e.observation: e for e in case.events if not isinstance(e, RepairOutcome)}
        if not all(name in seen for name in reveals):
            return None
        return "+".join(likeliest_state(self.model, case, seen[name]) for name in reveals)


@dataclass
class AsDone:
    """What the shop did, in its order."""

    model: Model
    _moves: list[Move] = field(default_factory=list)

    def start(self, job: PastJob) -> None:
        """Take the job's own order."""
        moves: dict[Move, None] = {}
        for event in job.case.events:
            if isinstance(event, RepairOutcome):
                moves.update({("repair", made): None for made in event.made})
            elif (test := self.model.revealed_by.get(event.observation)) is not None:
                moves[("test", test.id)] = None
        self._moves = [*moves]

    def move(self, case: Case, bench: BenchState) -> Move:  # noqa: ARG002 - as done, whatever was seen
        """The next of it."""
        return self._moves.pop(0) if self._moves else STOP


@dataclass
class FlowChart:
    """The fixed procedure: sound and torch, the loaded voltage, then unplugged, then replace (common practice, no
    source). A driver that rises without its LEDs is alive, so the strips are to blame; else the driver, or the supply.
    """

    model: Model
    tests: Sequence[str] = ("sound", "flashlight", "loaded_voltage", "open_voltage")
    alive: Mapping[str, Sequence[str]] = field(
        default_factory=lambda: {"open_voltage": ("rises_then_off", "sustained_high")}
    )
    if_alive: Sequence[str] = ("replace_strips", "replace_driver", "replace_supply")
    if_dead: Sequence[str] = ("replace_driver", "replace_supply", "replace_strips")

    def start(self, job: PastJob) -> None:
        """Nothing to get ready."""

    def move(self, case: Case, bench: BenchState) -> Move:  # noqa: ARG002 - the chart knows no set-up
        """The next test of the chart, then what it says to replace."""
        seen = {e.observation: e for e in case.events if not isinstance(e, RepairOutcome)}
        for name in self.tests:
            if name in self.model.tests and name not in seen and name not in case.skipped:
                return "test", name
        is_alive = any(
            name in seen and likeliest_state(self.model, case, seen[name]) in states
            for name, states in self.alive.items()
        )
        tried = {made for e in case.events if isinstance(e, RepairOutcome) for made in e.made}
        order = self.if_alive if is_alive else self.if_dead
        return next((("repair", r) for r in order if r in self.model.repairs and r not in tried), STOP)
