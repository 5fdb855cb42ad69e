"""As text: the kind of trouble, which model goes on from it, and that another complaint fits better."""

from collections.abc import Iterator

from faultnet.case.entry import written
from faultnet.cli.terminal import bar, bar_legend, bold, wrapped
from faultnet.diagnosis import BetterFit, Diagnosis
from faultnet.model import Model
from faultnet.telling.answer import GO_ON_FROM, WORTH_SHOWING
from faultnet.words import in_words, percent, percent_range, to_one

_MeasuredState = tuple[str, float, float | None, float | None]


def better_fit_text(fit: BetterFit) -> Iterator[str]:
    """That these findings fit another complaint better, by how much, and what to ask instead."""
    typed = " ".join(written(event) for event in fit.events)
    yield wrapped(
        f"These findings fit another complaint better: {fit.label} {to_one(fit.ratio)} over {fit.complaint_label} "
        f"(faultnet next {fit.model} {typed}).",
        0,
        2,
    )
    yield ""


def kinds(model: Model, diagnosis: Diagnosis) -> Iterator[str]:
    """The states of the conditions that the model asks, with their intervals."""
    for condition in model.asked:
        known = model.conditions[condition]
        yield bold(f"Which {known.label}") + f"  {bar_legend()}"
        yield from measured(
            [
                (known.words(c.state), c.probability, c.low, c.high)
                for c in diagnosis.conditions
                if c.condition == condition
            ]
        )
        yield ""


def legend(model: Model) -> str:
    """What stands beside a heading above bars."""
    return bar_legend(with_intervals=not model.is_imported)


def measured(states: list[_MeasuredState]) -> Iterator[str]:
    """A bar for each state that is likely enough to show, the likeliest first, and what the others have together."""
    shown = [s for s in sorted(states, key=lambda s: -s[1]) if s[1] >= WORTH_SHOWING]
    width = max(len(label) for label, *_ in shown)
    for label, chance, low, high in shown:
        yield measured_line(label.ljust(width), chance, low, high)
    if len(shown) < len(states):
        yield f"  all others together: {percent(sum(s[1] for s in states if s not in shown))}"


def measured_line(label: str, chance: float, low: float | None, high: float | None) -> str:
    """One line: a bar, the chance, its interval where it has one, and the chance in words."""
    interval = "" if low is None or high is None else f"{f'({percent_range(low, high)})':<11} "
    return f"  {label}  {bar(chance, 14)} {percent(chance):>5}  {interval}{in_words(chance)}"


def onward(model: Model, diagnosis: Diagnosis) -> Iterator[str]:
    """Which model goes on from the likeliest kind of trouble, or that there is none."""
    told = diagnosis.next_model
    if told is None:
        return
    yield bold("Which model next")
    likeliest = f"{model.conditions[told.condition].words(told.state)} {percent(told.probability)}"
    if told.probability < GO_ON_FROM:
        likeliest = f"not sure enough yet; so far {likeliest}"
    if told.models:
        yield wrapped(f"{likeliest}: go on with", 2, 4)
        for name, when in told.models.items():
            yield wrapped(f"faultnet next {name}, {when}", 4, 6)
    elif not told.refused:
        yield wrapped(f"{likeliest}: no model for this kind of trouble yet", 2, 4)
    else:
        yield wrapped(f"{likeliest}: no model fits this set", 2, 4)
    for condition, state, chance, why in told.refused:
        known = model.conditions[condition]
        is_sure = not told.models and chance > 0.5
        sets = "" if is_sure else f" ({percent(chance)} of sets)"
        if told.models or is_sure:
            yield wrapped(f"none where the {known.label} is {known.words(state)}{sets}: {why}", 4, 6)
    yield ""
