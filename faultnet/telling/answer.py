"""An answer's sentences: how an advice ends a job, what a test may show, what surprises, what a reading says."""

from collections.abc import Mapping, Sequence
from math import exp

from faultnet.case import Case
from faultnet.case.entry import find_state
from faultnet.case.events import Reading
from faultnet.case.words import describe_event, state_words
from faultnet.diagnosis import Surprise
from faultnet.diagnosis.result import ReadingTold
from faultnet.model import ModeId, Model
from faultnet.model.nodes import Observation
from faultnet.ranking import Outcome, Ranking
from faultnet.words import percent, times

ENDINGS = {
    "stop": "Stop testing",
    "hand_over": "Hand over",
    "not_worth_repairing": "Verdict",
    "no_fault_found": "Verdict",
}
"""How an advice that ends a job is headed, by its verdict, else its kind."""

NOT_DRAWN = (
    "The intervals hold 90 % of what the answer would be if shares, table rows, links, conditions and collateral were "
    "as uncertain as the few jobs they are worth. Not varied, and so not in them: how well a repair works, what it "
    "may harm, and which volts go with which state."
)

MODES_FROM, WORTH_SHOWING = 0.03, 0.02
"""How likely a component must be for its failure modes to be listed, and how likely one of these."""

GO_ON_FROM = 0.75
"""How likely a kind of trouble must be before its model is said to go on (reasoned)."""

SURE_ENOUGH, WORTH_NAMING = 0.9, 0.1
"""An advice that is the same in more draws needs no words; what is advised in fewer is not named beside it."""

WEAK, CLEAR = 2.0, 10.0
"""Up to the first ratio a reading is weak evidence between two faults; from the second on it is clear (reasoned)."""

PRICE_HOLDS = (
    "In it: bench time so far ({spent:.0f} with parts fitted), labour and parts of the repairs that each fault "
    "needs. Not in it: tests to come, tax, margin. Low and high: 10 and 90 % of the courses that end repaired, by the "
    "chances above and parts anywhere between their two prices."
)


def on_top_words(ranking: Ranking, labels: Mapping[str, str] | None = None) -> str:
    """How often the advised test would be advised with the numbers behind it drawn anew, and what else would be.

    labels: of tests, where they are not told by their ids.
    """
    own = ranking.on_top.get(ranking.advice.id)
    if own is None or own >= SURE_ENOUGH:
        return ""
    share, other = max((n, test) for test, n in ranking.on_top.items() if test != ranking.advice.id)
    said = f"; the same in {percent(own)} of draws of the numbers behind it"
    return said + (f", {(labels or {}).get(other, other)} in {percent(share)}" if share >= WORTH_NAMING else "")


def said_and_typed(seen: Observation, state: str) -> str:
    """A state as people say it, with the name to type where that is another: "no flash [none]"."""
    said = state_words(seen, state)
    return state if find_state(seen, said) == state else f"{said} [{state}]"


def outcome_words(model: Model, test: str, state: str) -> str:
    """What a test showed, in words: "dark", or of several observations "present and no light"."""
    pairs = zip(model.tests[test].reveals, state.split("+"), strict=True)
    return " and ".join(state_words(model.visible[leaf], one) for leaf, one in pairs)


def leading_words(model: Model, outcome: Outcome) -> str:
    """What is likeliest once this is seen: the states of what the model asks, else the failure mode."""
    asked = [f"{percent(chance)} {model.conditions[c].words(state)}" for c, state, chance in outcome.leading_conditions]
    fault = f"{percent(outcome.probability)} {model.mode_label(ModeId.parse(outcome.leading_fault))}"
    return ", ".join(asked) or fault


def surprise_words(model: Model, case: Case, surprise: Surprise, numbers: Sequence[int]) -> str:
    """What fits the model badly, and what to do about it. numbers: of the events, as they are told elsewhere."""
    if surprise.event is None:
        apart = "; ".join(
            f"{numbers[number]}. {describe_event(model, case.events[number])}" for number in surprise.apart
        )
        less_likely = f"together {times(exp(surprise.apart_nats))} less likely than each by itself"
        return f"these findings fit each other badly: {apart}; {less_likely}. Look again at one of them?"
    event = f"{numbers[surprise.event]}. {describe_event(model, case.events[surprise.event])}"
    if surprise.kind == "reading":
        return f"{event} fits badly; {percent(surprise.value)} that it is a slip or a stray reading"
    return f"{event} was unlikely given all else ({percent(surprise.value)}); look again?"


def weighed_words(model: Model, name: str) -> str:
    """What a weight of evidence is about: a component, or a state of a condition."""
    condition, _, state = name.partition(".")
    return model.conditions[condition].words(state) if state else model.components[name].label


def fit_words(model: Model, event: Reading, told: ReadingTold) -> str:
    """Which state a reading fits best, and how much better than the next."""
    seen = model.observations[event.observation]
    best, *others = sorted(told.states, key=lambda state: -told.states[state])
    ratio = told.states[best] / max(told.states[others[0]], 1e-9)
    return f"fits {state_words(seen, best)} best, {times(ratio)} as well as {state_words(seen, others[0])}"


def between_words(model: Model, told: ReadingTold) -> str:
    """What the reading tells between the likeliest faults, in words."""
    best, *others = sorted(told.faults, key=lambda mode: -told.faults[mode])
    labels = {mode: model.mode_label(ModeId.parse(mode)) for mode in told.faults}
    ratios = {mode: told.faults[best] / max(told.faults[mode], 1e-9) for mode in others}
    alike = [labels[mode] for mode in others if ratios[mode] < WEAK]
    said = f"given all else, it fits with {labels[best]}"
    if alike:
        said += f" about as well as with {' or '.join(alike)} (weak evidence between them)"
    better = [f"{times(r)} better than with {labels[m]}{_clearly(r)}" for m, r in ratios.items() if r >= WEAK]
    return said + (" " if not alike else ", ") * bool(better) + ", ".join(better)


def _clearly(ratio: float) -> str:
    return " (clear)" if ratio >= CLEAR else ""
