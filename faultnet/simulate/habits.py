"""How people at the bench pick the next test, and when they are convinced."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.case import Case, believe
from faultnet.case.events import Finding
from faultnet.case.normal import normal_states
from faultnet.engine.interface import Belief
from faultnet.errors import ContradictoryEvidence
from faultnet.model import Model
from faultnet.model.work import BenchTest, unmet

FLOW_CHART = ("sound", "flashlight", "loaded_voltage", "open_voltage")
"""The fixed order of a bench procedure: sound, torch, loaded voltage, then with the LED cable out (common practice)."""

WORTH_MAKING_BITS = 0.01


@dataclass(eq=False)
class Knowledge:
    """What a model says of findings: chances of repairs and advice, remembered, since people meet the same again."""

    model: Model
    _faulty: dict[frozenset[tuple[str, str]], Mapping[str, float]] = field(default_factory=dict)
    _advised: dict[tuple[frozenset[tuple[str, str]], frozenset[str]], str] = field(default_factory=dict)

    @cached_property
    def normal(self) -> Mapping[str, str]:
        """What each observation shows of a set that works."""
        return normal_states(self.model)

    def belief(self, seen: Mapping[str, str]) -> Belief | None:
        """The belief after these findings; None where they contradict each other."""
        try:
            return believe(self.model, Case(tuple(Finding(*item) for item in sorted(seen.items()))))
        except ContradictoryEvidence:
            return None

    def repair_chances(self, seen: Mapping[str, str]) -> Mapping[str, float]:
        """How likely each repair is right: P(something it fixes is faulty)."""
        key = frozenset(seen.items())
        if key not in self._faulty:
            belief = self.belief(seen)
            self._faulty[key] = (
                {}
                if belief is None
                else {r.id: 1 - float(belief.joint(r.fixes).flat[0]) for r in self.model.repairs.values()}
            )
        return self._faulty[key]

    def advised(self, seen: Mapping[str, str], left_out: frozenset[str]) -> str:
        """The test with most information for its minutes and hazard, in the trade's order; "" where none tells more."""
        key = (frozenset(seen.items()), left_out)
        if key not in self._advised:
            self._advised[key] = self._best(seen, left_out)
        return self._advised[key]

    def _best(self, seen: Mapping[str, str], left_out: frozenset[str]) -> str:
        belief = self.belief(seen)
        open_tests = {
            test.id: test
            for test in self.model.tests.values()
            if test.id not in left_out and not set(test.reveals) <= set(seen)
        }
        if belief is None or not open_tests:
            return ""
        gains = belief.gains_bits([t.reveals for t in open_tests.values()], self.model.compiled.to_decide)
        worth = [gain / (t.minutes + 4 * t.hazard + 1) for gain, t in zip(gains, open_tests.values(), strict=True)]
        best = int(np.argmax(worth))
        return self._before([*open_tests][best], open_tests, seen) if gains[best] > WORTH_MAKING_BITS else ""

    def _before(self, test: str, open_tests: Mapping[str, BenchTest], seen: Mapping[str, str]) -> str:
        """This test, or what the trade makes before it and is still open."""
        for choice in unmet(open_tests[test].after, [*seen]):
            for earlier in open_tests.values():
                if earlier.id != test and set(earlier.reveals) & set(choice):
                    return self._before(earlier.id, open_tests, seen)
        return test


def next_test(habit: str, known: Knowledge, seen: Mapping[str, str], left_out: frozenset[str]) -> str:
    """The test that somebody with this habit makes next; "" where none is left that they would make."""
    tests = known.model.tests
    open_tests = [t for t in tests.values() if t.id not in left_out and not set(t.reveals) <= set(seen)]
    if habit == "advised":
        return known.advised(seen, left_out)
    if habit == "flow_chart" and all(name in tests for name in FLOW_CHART):
        return next((name for name in FLOW_CHART if name not in left_out and name not in seen), "")
    quick = [t for t in open_tests if t.hazard < 4 and t.money == 0]
    return min(quick, key=lambda t: (t.minutes + 2 * t.hazard, t.id)).id if quick else ""
