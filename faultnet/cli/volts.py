"""Readings in the long answer: volts against the bands of each state, and what each reading says."""

from collections.abc import Iterator, Sequence

from faultnet.case import Case
from faultnet.case.entry import written
from faultnet.case.events import Reading
from faultnet.cli.terminal import bold, wrapped
from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.told_by_volts import bands
from faultnet.model import Model
from faultnet.readings import middle
from faultnet.readings.likelihood import reading_model
from faultnet.telling.answer import between_words, fit_words

PLOT_COLUMNS = 44


def readings_text(model: Model, case: Case, diagnosis: Diagnosis, numbers: Sequence[int]) -> Iterator[str]:
    """Every reading that counts, as a plot and in words. numbers: of the events, as they are told elsewhere."""
    if not diagnosis.readings:
        return
    yield bold("What the volts say")
    for told in diagnosis.readings:
        event = case.events[told.event]
        assert isinstance(event, Reading)
        yield wrapped(f"{numbers[told.event]}. {written(event, model)}: {fit_words(model, event, told)}", 2, 5)
        if not reading_model(model, event.observation).has_channels:
            yield from _plot(model, case, event)
        if told.faults:
            yield wrapped(between_words(model, told), 5)
    yield ""


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
