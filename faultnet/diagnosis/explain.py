"""Why a diagnosis says what it says: weights of evidence, surprises, turns and what cannot be told apart."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from itertools import combinations, pairwise
from math import exp, log2

import numpy as np

from faultnet.case.believed import Believed
from faultnet.case.case import Case
from faultnet.case.events import Finding, Reading, RepairOutcome, SoftFinding
from faultnet.case.steps import case_steps, counted_events, volts_of
from faultnet.cpt import Floats
from faultnet.diagnosis.result import NOTABLE_CONFLICT_NATS, Surprise, Turn, Weight
from faultnet.engine.interface import Belief
from faultnet.errors import ContradictoryEvidence
from faultnet.model.model import Model
from faultnet.readings import outlier_density

SURPRISING_FINDING = 0.02
SURPRISING_READING = 0.5
SEPARATING_DISTANCE = 0.05
"""Two faults count as told apart by a test when its outcome distributions differ by more (total variation)."""

MOST_OF_IT = 0.75
"""As many of the events in conflict are named as make up this share of it."""

_TINY = 1e-12
_NO_WEIGHT_BITS = 1e-9
"""A weight smaller than this is rounding."""


def weights_of_evidence(believed: Believed, about: Sequence[str]) -> tuple[Weight, ...]:
    """How each event that counts moved the odds of each of these, in the order entered; they add up.

    What a test altered belongs to its event.
    about: components, of which the odds of being faulty are meant, or `condition.state`.
    """
    model, counted = believed.model, believed.counted
    untils = [*counted[1:], len(believed.case.events)][: len(counted)]
    ways = (believed.steps(counted[:end], altered_before=until) for end, until in enumerate([0, *untils]))
    logs = [[_log_odds_bits(model, belief, name) for name in about] for belief in model.compiled.engine.beliefs(ways)]
    weights: list[Weight] = []
    for number, (before, after) in zip(counted, pairwise(logs), strict=True):
        for name, then, now in zip(about, before, after, strict=True):
            weights.append(Weight(number, name, now - then if abs(now - then) > _NO_WEIGHT_BITS else 0.0))
    return tuple(weights)


def _log_odds_bits(model: Model, belief: Belief, name: str) -> float:
    node, _, state = name.partition(".")
    chance = float(belief.marginal(node)[model.states_of(node).index(state) if state else 0])
    bits = log2(max(chance, _TINY)) - log2(max(1 - chance, _TINY))
    return bits if state else -bits


def surprises(believed: Believed) -> tuple[Surprise, ...]:
    """Findings that were unlikely given all else, readings that look like outliers, and evidence in conflict."""
    case, counted = believed.case, believed.counted
    given_rest = {number: believed.now.log_evidence - rest.log_evidence for number, rest in believed.without.items()}
    found: list[Surprise] = []
    for number, log_chance in given_rest.items():
        event, chance = case.events[number], exp(log_chance)
        if isinstance(event, Reading):
            outlier = min(1.0, outlier_density(believed.model, volts_of(case, event)) / chance)
            if outlier > SURPRISING_READING:
                found.append(Surprise("reading", number, outlier, "chance that it is an outlier"))
        elif isinstance(event, Finding | SoftFinding) and chance < SURPRISING_FINDING:
            found.append(Surprise("finding", number, chance, "chance given everything else"))
    if len(counted) > 1 and not _has_repair(case):
        found.extend(_conflict(believed, given_rest))
    return tuple(found)


def _conflict(believed: Believed, given_rest: Mapping[int, float]) -> Iterator[Surprise]:
    """The conflict of the events (Jensen et al. 1991), where there is any; a notable one with those that pull apart.

    given_rest: the log of each event's chance given all others.
    """
    nothing, *each = [belief.log_evidence for belief in believed.after([(), *((number,) for number in given_rest)])]
    alone = {number: own - nothing for number, own in zip(given_rest, each, strict=True)}
    conflict = sum(alone.values()) - (believed.now.log_evidence - nothing)

    def conflicts_nats(parts: Sequence[Sequence[int]]) -> list[float]:
        together = [belief.log_evidence - nothing for belief in believed.after(parts)]
        return [sum(alone[n] for n in part) - own for part, own in zip(parts, together, strict=True)]

    if conflict >= NOTABLE_CONFLICT_NATS:
        odd_one = max(alone, key=lambda number: alone[number] - given_rest[number])
        apart, nats = _pulling_apart(conflicts_nats, odd_one, alone, conflict)
        yield Surprise("conflict", None, conflict, "nats", apart, nats)
    elif conflict > 0:
        yield Surprise("conflict", None, conflict, "nats")


def _pulling_apart(
    conflicts_nats: Callable[[Sequence[Sequence[int]]], list[float]],
    odd_one: int,
    events: Collection[int],
    conflict: float,
) -> tuple[tuple[int, ...], float]:
    """The odd one with the few events that it is most in conflict with, in the order entered, and their conflict."""
    apart: tuple[int, ...] = (odd_one,)
    nats = 0.0
    while nats < MOST_OF_IT * conflict:
        more = [tuple(sorted((*apart, number))) for number in events if number not in apart]
        apart, nats = max(zip(more, conflicts_nats(more), strict=True), key=lambda one: one[1])
    return apart, nats


def _has_repair(case: Case) -> bool:
    return any(isinstance(event, RepairOutcome) for event in case.events)


def smallest_conflict(model: Model, case: Case) -> tuple[int, ...]:
    """A smallest set of events (by number) that is impossible by itself, -1 standing for the complaint alone."""
    counted = counted_events(model, case)
    for size in range(len(counted) + 1):
        for numbers in combinations(counted, size):
            try:
                model.compiled.engine.belief(case_steps(model, case, numbers))
            except ContradictoryEvidence:
                return numbers
    return ()


def turns(model: Model, belief: Belief, tests: Sequence[str], most: int = 3) -> tuple[Turn, ...]:
    """The likeliest outcomes of these tests that would put another component first."""
    faulty = _faulty(model, belief.targets)
    leading = int(np.argmax(faulty))
    components = list(model.components)
    found: list[Turn] = []
    for test in tests:
        leaves = model.tests[test].reveals
        table = belief.outcomes(leaves)
        chances = table.sum(axis=1)
        for name, row, chance in zip(outcome_names(model, leaves), table, chances, strict=True):
            if chance <= 0:
                continue
            after = _faulty(model, row / chance)
            first = int(np.argmax(after))
            if first != leading:
                found.append(Turn(test, name, float(chance), components[first], float(after[first])))
    return tuple(sorted(found, key=lambda turn: -turn.chance)[:most])


def _faulty(model: Model, joint: Floats) -> Floats:
    """P(faulty) of every component from a distribution over joint states: ``(n_components,)``."""
    by_mode = joint @ model.compiled.is_mode
    starts = np.cumsum([0, *(len(c.modes) for c in model.components.values())])[:-1]
    return np.add.reduceat(by_mode, starts)


def outcome_names(model: Model, leaves: Sequence[str]) -> list[str]:
    """A name for each joint outcome of the leaves, in the engine's order: states joined by `+`."""
    names = [""]
    for leaf in leaves:
        names = [f"{name}+{state}" if name else state for name in names for state in model.observations[leaf].states]
    return names


def inseparable(model: Model, belief: Belief, tests: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Groups of failure modes, each by itself, whose outcomes no open test tells apart.

    Modes that never stand alone, or that are ruled out by now, are in none.
    """
    compiled = model.compiled
    single = compiled.n_faults == 1
    order = [int(np.flatnonzero(single & (compiled.is_mode[:, number] > 0))[0]) for number in range(len(model.modes))]
    alike = np.ones((len(order), len(order)), dtype=bool)
    prior = compiled.engine.prior
    alone = prior.targets[order]
    for test in tests:
        chances = prior.outcomes(model.tests[test].reveals)[:, order] / np.where(alone > 0, alone, 1)
        distance = 0.5 * np.abs(chances[:, :, None] - chances[:, None, :]).sum(axis=0)
        alike &= distance <= SEPARATING_DISTANCE
    possible = (belief.targets[order] > 0) & (alone > 0)
    groups: list[tuple[str, ...]] = []
    left = [n for n in range(len(order)) if possible[n]]
    while left:
        group = [n for n in left if alike[left[0], n]]
        left = [n for n in left if n not in group]
        if len(group) > 1:
            groups.append(tuple(str(model.modes[n]) for n in group))
    return tuple(groups)


def contradiction(model: Model, case: Case) -> ContradictoryEvidence:
    """The error that names the smallest set of events in conflict."""
    from faultnet.case.words import describe_event

    return ContradictoryEvidence([describe_event(model, case.events[n]) for n in smallest_conflict(model, case)])


def belief_or_reason(believed: Believed) -> Belief:
    """What is believed now; when the case is impossible, ContradictoryEvidence names the smallest conflict."""
    try:
        return believed.now
    except ContradictoryEvidence:
        raise contradiction(believed.model, believed.case) from None
