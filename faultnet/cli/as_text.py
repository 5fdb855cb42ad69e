"""An answer as text for a terminal of 80 columns, readable without colour."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from faultnet.case import Case
from faultnet.case.doubts import doubts
from faultnet.case.entry import written
from faultnet.case.events import set_aside
from faultnet.case.words import describe_event, made_again, nominal_words, state_words
from faultnet.cli.kinds import (
    better_fit_text,
    kinds,
    legend,
    measured,
    measured_line,
    onward,
)
from faultnet.cli.price import price_text
from faultnet.cli.terminal import bold, table, wrapped, wrapped_table
from faultnet.cli.volts import readings_text
from faultnet.cli.ways import ways_text
from faultnet.diagnosis import BetterFit, Diagnosis
from faultnet.files.finder import is_shipped
from faultnet.model import ModeId, Model
from faultnet.model.words import disclaimer, numbers_words
from faultnet.model.work import Caution, Step
from faultnet.ranking import RankedTest, Ranking
from faultnet.repairs import RankedRepair
from faultnet.telling.answer import (
    ENDINGS,
    MODES_FROM,
    NOT_DRAWN,
    WORTH_SHOWING,
    leading_words,
    on_top_words,
    said_and_typed,
    surprise_words,
    weighed_words,
)
from faultnet.words import fixed, in_words, minutes, odds_factor, percent

TRAINED_ONLY = "for a trained person, and this bench is not marked as trained; if it is: --trained"


def answer_text(
    model: Model,
    case: Case,
    diagnosis: Diagnosis,
    ranking: Ranking,
    *,
    full: bool,
    sort: str = "cost",
    fits_better: BetterFit | None = None,
    numbers: Sequence[int] | None = None,
) -> str:
    """The whole answer of `faultnet next`; first that the findings fit another complaint better, where they do.

    numbers: of the events, where they are not 1, 2, 3.
    """
    numbers = numbers or range(1, len(case.events) + 1)
    lines = [] if fits_better is None else list(better_fit_text(fits_better))
    lines += [
        bold(f"{model.title}"),
        model_line(model, full=full),
        "",
    ]
    lines += [*understood(model, case, numbers), ""]
    lines += [*kinds(model, diagnosis), *standing(model, diagnosis), ""]
    lines += list(_notes(model, case, diagnosis, numbers))
    lines += [bold("Do this next"), *advice(model, ranking), "", *onward(model, diagnosis)]
    lines += [*ways_text(model, ranking, sort, full=full), *price_text(model, case, ranking, full=full)]
    if full:
        lines += list(reasons(model, case, diagnosis, numbers))
    lines += list(_held_back(ranking))
    lines.append(wrapped(disclaimer(model), 0))
    return "\n".join(lines)


def model_line(model: Model, *, full: bool = False) -> str:
    """Which model answers, and whether its numbers are the shop's own."""
    return wrapped(f"model {_origin(model, full=full)}: {numbers_words(model)}", 2, 4)


def _origin(model: Model, *, full: bool) -> str:
    """The version; of a file of one's own also which file and the digest of its content, so that two can be told apart.

    A copy keeps the id, and so the version, of what it was copied from.
    """
    if not model.file or is_shipped(Path(model.file)):
        return f"{model.version} ({model.digest})" if full and model.digest else model.version
    return f"{model.version} from {model.file} ({model.digest})"


def understood(model: Model, case: Case, numbers: Sequence[int]) -> Iterator[str]:
    """Every entry as it was understood."""
    yield bold("Understood")
    if model.brought_in_for is None:
        pass
    elif case.with_complaint and not model.complaint:
        yield "  the set does not work as it should"
    elif case.with_complaint and not case.tells(model.complaint):
        seen = model.observations[model.complaint]
        yield f"  complaint: {state_words(seen, model.complaint_state)}"
    for condition, state in case.given.items():
        yield f"  given: {model.conditions[condition].label}: {model.conditions[condition].words(state)}"
    replaced = case.superseded(model)
    for number, event in enumerate(case.events):
        note = " -- replaced by a later entry" if number in replaced else ""
        if reason := set_aside(event):
            note = f" -- set aside: {reason}"
        note += "".join(f" -- {doubt}" for doubt in (*doubts(event, model), *made_again(case, number)))
        yield wrapped(f"{numbers[number]}. {describe_event(model, event)}{note}", 2, 5)
    if case.nominal is not None:
        yield wrapped(f"nominal voltage: {nominal_words(case.nominal)}", 2, 5)


def standing(model: Model, diagnosis: Diagnosis, *, likely_only: bool = False) -> Iterator[str]:
    """Where things stand: a bar for each component, its interval, its likely modes; of a single one, for each mode.

    likely_only: components below `MODES_FROM` are named in one line.
    """
    if len(model.components) == 1:
        yield from _modes(model, diagnosis)
        return
    yield bold("Where things stand") + f"  {legend(model)}"
    width = max(len(c.label) for c in model.components.values())
    in_order = sorted(model.components, key=lambda c: -diagnosis.faulty(c))
    rest = [c for c in in_order if likely_only and diagnosis.faulty(c) < MODES_FROM]
    for component in (c for c in in_order if c not in rest):
        chance = diagnosis.faulty(component)
        _, *modes = diagnosis.of(component)
        ends = diagnosis.faulty_between(component) or (None, None)
        yield measured_line(model.components[component].label.ljust(width), chance, *ends)
        likely = sorted((f for f in modes if f.probability >= WORTH_SHOWING), key=lambda f: -f.probability)
        if len(modes) > 1 and likely and chance >= MODES_FROM:
            named = {m.id: m.label for m in model.components[component].modes}
            yield wrapped(", ".join(f"{named[f.mode]} {percent(f.probability)}" for f in likely), 6)
    if rest:
        unlikely = ", ".join(model.components[c].label for c in rest)
        yield wrapped(f"each below {percent(MODES_FROM)}: {unlikely}", 2, 4)
    together = [f"{model.groups[g].label} {percent(p)} ({in_words(p)})" for g, p in diagnosis.groups.items()]
    if together:
        yield wrapped(f"together: {', '.join(together)}", 2, 4)
    several, nothing = percent(diagnosis.two_or_more), percent(diagnosis.nothing_found)
    yield f"  two or more parts faulty: {several}; nothing faulty: {nothing}"


def _modes(model: Model, diagnosis: Diagnosis) -> Iterator[str]:
    """Where a model of a single component stands: a bar for each failure mode."""
    (component,) = model.components.values()
    heading = f"Which {component.label} first" if model.asked else "Where things stand"
    yield bold(heading) + f"  {legend(model)}"
    labels = {mode.id: mode.label for mode in component.modes}
    yield from measured([(labels[f.mode], f.probability, f.low, f.high) for f in diagnosis.faults if f.mode in labels])
    if diagnosis.nothing_found > 0:
        yield f"  nothing faulty: {percent(diagnosis.nothing_found)}"


def _notes(model: Model, case: Case, diagnosis: Diagnosis, numbers: Sequence[int]) -> Iterator[str]:
    notable = [surprise for surprise in diagnosis.surprises if surprise.is_notable]
    if not notable:
        return
    yield bold("Surprises")
    yield from (wrapped(surprise_words(model, case, surprise, numbers), 2, 4) for surprise in notable)
    yield ""


def advice(
    model: Model, ranking: Ranking, shown: set[Caution] | None = None, keys: Sequence[str] = ()
) -> Iterator[str]:
    """What to do now, with set-up, cautions and what each outcome would mean.

    Cautions in `shown` were printed before and are only named; those printed now are added to it. keys: what to press
    for each outcome of an advised test, where one key says it.
    """
    told = ranking.advice
    if told.kind == "test":
        test = next(t for t in ranking.tests if t.test == told.id)
        yield from step_of_test(model, test, told.why + on_top_words(ranking), shown, keys)
    elif told.kind == "repair":
        repair = next(r for r in ranking.repairs if r.repair == told.id)
        yield from repair_step(repair, told.why, shown, ranking.settings.currency)
    else:
        yield wrapped(ENDINGS.get(told.verdict or told.kind, told.kind) + f": {told.why}.", 2, 4)


def step_of_test(
    model: Model, test: RankedTest, why: str, shown: set[Caution] | None = None, keys: Sequence[str] = ()
) -> Iterator[str]:
    """A test with what goes with it, and what each outcome would mean. keys: as for `advice`."""
    yield "  " + bold(test.label) + f"  [{test.test}]"
    if model.tests[test.test].how:
        yield wrapped(model.tests[test.test].how, 4)
    yield wrapped(f"why: {why}", 4, 9)
    yield from _effort(test.step, shown)
    if test.side_effect:
        yield wrapped(f"note: {test.side_effect}", 4, 10)
    rows = []
    for number, outcome in enumerate(test.outcomes):
        names = [
            said_and_typed(model.observations[leaf], state)
            for leaf, state in zip(test.reveals, outcome.state.split("+"), strict=True)
        ]
        key = f"{keys[number]}  " if keys else ""
        rows.append((key + " + ".join(names), percent(outcome.chance), f"-> {leading_words(model, outcome)}"))
    yield "    what you may see -> what is then likeliest:"
    yield from wrapped_table(rows, "lrl", 6)


def repair_step(repair: RankedRepair, why: str, shown: set[Caution] | None = None, currency: str = "") -> Iterator[str]:
    """A repair with what goes with it."""
    yield "  " + bold(repair.label) + f"  [{repair.repair}]"
    yield wrapped(f"why: {why}; chance that the set works afterwards {percent(repair.cures)}", 4, 9)
    parts = f"{repair.parts_low:g} to {repair.parts_high:g} {currency}".rstrip()
    yield wrapped(f"parts {parts}. {repair.advice}", 4)
    yield from _effort(repair.step, shown)


def _effort(step: Step, shown: set[Caution] | None) -> Iterator[str]:
    setup = f" (first: {', '.join(step.setup)}: {minutes(step.setup_minutes)})" if step.setup else ""
    yield wrapped(f"takes {minutes(step.minutes)}{setup}; hazard {step.hazard} of 4", 4)
    known = shown or set()
    for caution in step.cautions:
        if caution not in known:
            yield wrapped(f"! {caution.text}", 4, 6)
    if again := [caution.id.replace("_", " ") for caution in step.cautions if caution in known]:
        yield wrapped(f"! as before: {', '.join(again)}", 4, 6)
    if shown is not None:
        shown.update(step.cautions)


def reasons(model: Model, case: Case, diagnosis: Diagnosis, numbers: Sequence[int]) -> Iterator[str]:
    """Why: how each entry moved the odds, what the volts say, what explains it all, what would change it."""
    if diagnosis.weights:
        yield bold("Why") + "  (how each entry moved the odds)"
        components = list(dict.fromkeys(w.component for w in diagnosis.weights))[: 1 if model.asked else None]
        rows = [("", *(weighed_words(model, c) for c in components))]
        for event in dict.fromkeys(w.event for w in diagnosis.weights):
            bits = {w.component: w.bits for w in diagnosis.weights if w.event == event}
            name = f"{numbers[event]}. {written(case.events[event], model)}"
            rows.append((name if len(name) < 40 else name[:37] + "...", *(odds_factor(bits[c]) for c in components)))
        yield from table(rows, "l" + "r" * len(components))
        yield ""
    yield from readings_text(model, case, diagnosis, numbers)
    yield bold("Likeliest explanations")
    for explanation in diagnosis.explanations:
        named = " and ".join(model.mode_label(ModeId.parse(f)) for f in explanation.faults) or "nothing faulty"
        yield wrapped(f"{percent(explanation.probability):>5}  {named}", 2, 9)
    yield f"  {fixed(diagnosis.entropy_bits, 2)} bit open; log evidence {fixed(diagnosis.log_evidence, 3)} nats"
    yield ""
    if diagnosis.turns:
        yield bold("What would change the verdict most")
        for turn in diagnosis.turns:
            outcome = f"{turn.test}={turn.outcome} ({percent(turn.chance)})"
            label = model.components[turn.leading].label
            yield wrapped(f"{outcome} would put {label} first, {percent(turn.probability)}", 2, 4)
        yield ""
    if diagnosis.inseparable:
        yield bold("No open test tells apart")
        for group in diagnosis.inseparable:
            yield wrapped(" / ".join(group), 2, 4)
        yield ""
    if not model.is_imported:
        yield wrapped(NOT_DRAWN, 0)
        yield ""


def _held_back(ranking: Ranking) -> Iterator[str]:
    held = [h for h in ranking.held_back if h.kind == "test"]
    if not held:
        return
    yield bold("Held back")
    by_reason: dict[str, list[str]] = {}
    for item in held:
        by_reason.setdefault(TRAINED_ONLY if item.needs_training else item.reason, []).append(item.id)
    for reason, ids in by_reason.items():
        yield wrapped(f"{', '.join(ids)}: {reason}", 2, 4)
    yield ""
