"""The reasons behind an answer, in words."""

from collections.abc import Iterator
from dataclasses import dataclass

from faultnet.case.events import Reading
from faultnet.case.words import describe_event
from faultnet.model import ModeId, Model
from faultnet.telling.answer import between_words, fit_words, on_top_words, outcome_words, weighed_words
from faultnet.words import fixed, odds_factor, percent
from faultnet.workshop.looking import Look


@dataclass(frozen=True)
class Moved:
    """What one entry did to the odds of each of the leading components, as factors."""

    event: str
    factors: tuple[str, ...]


@dataclass(frozen=True)
class Reasons:
    """All of it. advice: why this, and how sure the order is; components: what `moved` is about.

    explanations: with their chances; turns: what would change the verdict.
    """

    advice: str
    components: tuple[str, ...]
    moved: tuple[Moved, ...]
    readings: tuple[str, ...]
    explanations: tuple[tuple[str, str], ...]
    open_bits: str
    turns: tuple[str, ...]
    inseparable: tuple[str, ...]
    skipped: tuple[str, ...]


def reasons_of(found: Look) -> Reasons:
    """The reasons of an answer."""
    model, diagnosis = found.bench.model, found.diagnosis
    components = list(dict.fromkeys(w.component for w in diagnosis.weights))[: 1 if model.asked else None]
    labels = {test.id: test.label for test in model.tests.values()}
    return Reasons(
        found.ranking.advice.why + on_top_words(found.ranking, labels),
        tuple(weighed_words(model, component) for component in components),
        tuple(_moved(found, components)),
        tuple(_readings(found)),
        tuple((percent(e.probability), _named(model, e.faults)) for e in diagnosis.explanations),
        fixed(diagnosis.entropy_bits, 2),
        tuple(
            f"{labels[turn.test]}: {outcome_words(model, turn.test, turn.outcome)} ({percent(turn.chance)}) would put "
            f"{model.components[turn.leading].label} first, {percent(turn.probability)}"
            for turn in diagnosis.turns
        ),
        tuple(" / ".join(_mode(model, each) for each in group) for group in diagnosis.inseparable),
        tuple(f"{labels[test]}{': ' + why if why else ''}" for test, why in found.bench.case.skipped.items()),
    )


def _moved(found: Look, components: list[str]) -> Iterator[Moved]:
    numbers, case = found.bench.replayed.numbers, found.bench.case
    for event in dict.fromkeys(w.event for w in found.diagnosis.weights):
        bits = {w.component: w.bits for w in found.diagnosis.weights if w.event == event}
        words = f"{numbers[event]}. {describe_event(found.bench.model, case.events[event])}"
        yield Moved(words, tuple(odds_factor(bits[component]) for component in components))


def _readings(found: Look) -> Iterator[str]:
    model, numbers = found.bench.model, found.bench.replayed.numbers
    for told in found.diagnosis.readings:
        event = found.bench.case.events[told.event]
        assert isinstance(event, Reading)
        between = f"; {between_words(model, told)}" if told.faults else ""
        yield f"{numbers[told.event]}. {describe_event(model, event)}: {fit_words(model, event, told)}{between}"


def _named(model: Model, faults: tuple[str, ...]) -> str:
    return " and ".join(_mode(model, fault) for fault in faults) or "nothing faulty"


def _mode(model: Model, name: str) -> str:
    return model.mode_label(ModeId.parse(name))
