"""Readings in the long answer: volts against the bands of each state, and what each reading says."""

from collections.abc import Iterator, Sequence

from faultnet.case import Case
from faultnet.case.entry import written
from faultnet.case.events import Reading
from faultnet.case.words import state_words
from faultnet.cli.terminal import bold, wrapped
from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.result import ReadingTold
from faultnet.diagnosis.told_by_volts import bands
from faultnet.model import ModeId, Model
from faultnet.readings import middle
from faultnet.readings.likelihood import reading_model
from faultnet.words import times

PLOT_COLUMNS = 44
WEAK, CLEAR = 2.0, 10.0
"""Up to the first ratio a reading is weak evidence between two faults; from the second on it is clear (reasoned)."""


def readings_text(model: Model, case: Case, diagnosis: Diagnosis, numbers: Sequence[int]) -> Iterator[str]:
    """Every reading that counts, as a plot and in words. numbers: of the events, as they are told elsewhere."""
    if not diagnosis.readings:
        return
    yield bold("What the volts say")
    for told in diagnosis.readings:
        event = case.events[told.event]
        assert isinstance(event, Reading)
        yield wrapped(f"{numbers[told.event]}. {written(event, model)}: {_fit(model, event, told)}", 2, 5)
        if not reading_model(model, event.observation).has_channels:
            yield from _plot(model, case, event)
        if told.faults:
            yield wrapped(_between(model, told), 5)
    yield ""


def _fit(model: Model, event: Reading, told: ReadingTold) -> str:
    seen = model.observations[event.observation]
    best, *others = sorted(told.states, key=lambda state: -told.states[state])
    ratio = told.states[best] / max(told.states[others[0]], 1e-9)
    return f"fits {state_words(seen, best)} best, {times(ratio)} as well as {state_words(seen, others[0])}"


def _between(model: Model, told: ReadingTold) -> str:
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


def _plot(model: Model, case: Case, event: Reading) -> Iterator[str]:
    """A line for each state: the volts that hold 90 % of it, and where the reading lies."""
    by_state = bands(model, case, event.observation)
    read = middle(event.reached)
    top = max(*(high for _, high in by_state.values()), read) * 1.02
    width = max(map(len, by_state))

    def column(volts: float) -> int:
        return min(int(volts / top * PLOT_COLUMNS), PLOT_COLUMNS - 1)

    for state, (low, high) in by_state.items():
        line = ["=" if column(low) <= n <= column(high) else " " for n in range(PLOT_COLUMNS)]
        line[column(read)] = "|" if line[column(read)] == " " else "X"
        yield f"     {state:{width}}  {''.join(line).rstrip()}"
    yield f"     {'':{width}}  0 V{'':{PLOT_COLUMNS - 10}}{top:4.0f} V   (|: read)"
