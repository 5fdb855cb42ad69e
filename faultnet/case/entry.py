"""What people type about a set, as events: `sound=present`, `loaded_voltage=36.8,37.1`, `replace_strips=not`."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from difflib import get_close_matches

from faultnet.case.events import SYMPTOM_SHOWING, Event, Finding, Reading, RepairOutcome, Seen, SoftFinding
from faultnet.case.points import NUMBER, looks_like_volts, parse_points, written_number, written_points
from faultnet.errors import UsageProblem
from faultnet.model.model import Model
from faultnet.model.neighbours import Refusal
from faultnet.model.nodes import Observation
from faultnet.model.volts import MOST_CHANNELS
from faultnet.readings import METERS

_HOLDS = ("steady", "max", "settled")
_AGAINST = ("chassis", "hot")
_SET_WORKS: Mapping[str, bool] = {"works": True, "yes": True, "not": False, "no": False}
"""How a repair ended: whether the set works after it."""


def parse_events(
    model: Model, texts: Iterable[str], meters: Collection[str] = METERS, symptom: str = "showing"
) -> tuple[Event, ...]:
    """The events of these texts in order. UsageProblem lists everything that cannot be understood.

    meters: those that may be named after `@meter:`. symptom: whether it showed, where an event does not say.
    """
    events: list[Event] = []
    problems: list[str] = []
    for text in texts:
        try:
            events.append(parse_event(model, text, meters, symptom))
        except UsageProblem as error:
            problems.extend(error.problems)
    if problems:
        raise UsageProblem(*problems)
    return tuple(events)


def parse_event(model: Model, text: str, meters: Collection[str] = METERS, symptom: str = "showing") -> Event:
    """The event of one text such as `open_voltage=0@settled`. UsageProblem says everything that is wrong with it."""
    name, equals, rest = text.partition("=")
    if not equals or not rest.strip():
        raise UsageProblem(f"{text}: write NAME=STATE, NAME=VOLTS or REPAIR=works/not")
    value, _, circumstances = rest.partition("@")
    value, several = value.strip(), name.split("+")
    observations, repairs = observation_names(model), repair_names(model)
    if len(several) > 1:
        return _repairs(_known_repairs(model, several), value, circumstances, text)
    name = _plain(name)
    if name in repairs and name not in observations:
        return _repairs([repairs[name]], value, circumstances, text)
    if name not in observations:
        raise UsageProblem(f"{text}: unknown observation or repair {name}" + _hint(model, name))
    seen = model.visible[observations[name]]
    problems: list[str] = []
    told = _circumstances(circumstances, seen, meters, symptom, problems)
    event = _seen(model, seen, value, told, problems)
    if problems or event is None:
        raise UsageProblem(*(f"{text}: {problem}" for problem in problems))
    return event


def _hint(model: Model, name: str) -> str:
    """What an unknown name may be instead."""
    conditions = [*model.conditions, *model.refusals]
    if name in component_names(model):
        return " (a part: enter what was seen of it, or a repair with its outcome)"
    if name in conditions:
        return f" (a condition: give it with --given {name}=STATE)"
    return nearest(name, [*observation_names(model), *repair_names(model), *conditions])


def _seen(
    model: Model, seen: Observation, value: str, told: Mapping[str, str], problems: list[str]
) -> Finding | SoftFinding | Reading | None:
    """What was seen or read; None, with problems added, when it cannot be understood."""
    if ":" in value:
        return SoftFinding(seen.id, _soft(seen, value, problems), told["symptom"], told["by"])
    if (state := find_state(seen, value)) is not None:
        return Finding(seen.id, state, told["symptom"], told["by"])
    if not looks_like_volts(value):
        problems.append(f"unknown state {value} of {seen.id}; it has {_listed(seen)}" + nearest(value, seen.states))
        return None
    if seen.reading is None:
        problems.append(f"{seen.id} takes no volts; it has {_listed(seen)}. {_taking_volts(model)}")
        return None
    try:
        points = parse_points(value)
    except UsageProblem as error:
        problems.extend(error.problems)
        return None
    if seen.reading.has_channels and len(points) > MOST_CHANNELS:
        problems.append(f"{len(points)} channels are more than {MOST_CHANNELS}; each point is a channel here")
    hold = told["hold"] or seen.reading.default_hold
    return Reading(seen.id, points, hold, told["against"], told["symptom"], told["by"], told["meter"])


def _taking_volts(model: Model) -> str:
    """Which observations are read in volts."""
    named = [seen.id for seen in model.observations.values() if seen.reading is not None]
    return f"Volts go with {', '.join(named)}" if named else f"Nothing in {model.id} is read in volts"


def written(event: Event, model: Model | None = None) -> str:
    """An event as it can be typed; a soft finding that leaves one state as that state, without its likelihood.

    model: spares the hold that the observation has in any case.
    """
    if isinstance(event, RepairOutcome):
        return f"{'+'.join(event.repairs)}={'works' if event.works else 'not'}"
    told = _told(event, model)
    return f"{event.observation}={_written_value(event)}" + (f"@{'+'.join(told)}" if told else "")


def _written_value(event: Seen) -> str:
    if isinstance(event, Finding):
        return event.state
    if isinstance(event, Reading):
        return written_points(event.points)
    if len(event.likelihoods) == 1:
        return event.likelihoods[0][0]
    return soft_text(event)


def soft_text(event: SoftFinding) -> str:
    """The likelihoods of a soft finding as they can be typed."""
    return ",".join(f"{state}:{written_number(value)}" for state, value in event.likelihoods)


def _told(event: Seen, model: Model | None) -> list[str]:
    """The circumstances of an event that are not the usual ones."""
    told = []
    if isinstance(event, Reading):
        reading = None if model is None else model.visible[event.observation].reading
        told += [event.hold] if reading is None or event.hold != reading.default_hold else []
        told += [event.against] if event.against != "chassis" else []
        told += [f"meter:{event.meter}"] if event.meter else []
    told += [event.symptom] if event.symptom != "showing" else []
    return told + ([f"by:{event.by}"] if event.by else [])


def observation_names(model: Model) -> Mapping[str, str]:
    """Every name an observation can be typed under, with its id."""
    return model.names_of_observations


def component_names(model: Model) -> frozenset[str]:
    """Every name a component goes by."""
    return frozenset(name for c in model.components.values() for name in (c.id, c.short, *c.also))


def repair_names(model: Model) -> Mapping[str, str]:
    """Every name a repair can be typed under, with its id."""
    return model.names_of_repairs


def parse_given(model: Model, texts: Iterable[str]) -> dict[str, str]:
    """Conditions and their states from texts such as `age_band=over_10_years`.

    UsageProblem: a slip, or a set that the model does not fit. What only says that it fits is no evidence: left out.
    """
    given: dict[str, str] = {}
    problems: list[str] = []
    for text in texts:
        typed, _, chosen = text.partition("=")
        name, state = _plain(typed), _plain(chosen)
        if name in model.refusals:
            problems.extend(_refused(model, model.refusals[name], state, text))
        elif name not in model.conditions:
            known = [*model.conditions, *model.refusals]
            problems.append(f"{text}: unknown condition {name}" + nearest(name, known))
        elif state not in model.conditions[name].states:
            problems.append(f"{text}: " + _no_state(state, name, model.conditions[name].states))
        else:
            given[name] = state
    if problems:
        raise UsageProblem(*problems)
    return given


def _refused(model: Model, refusal: Refusal, state: str, text: str) -> list[str]:
    """Why the model does not fit a set in which this is so, or that there is no such state; nothing when it fits."""
    if state in refusal.fits:
        return []
    if state in refusal.refused:
        return [f"{text}: {model.id} does not fit this set. {refusal.refused[state]}"]
    return [f"{text}: " + _no_state(state, refusal.id, [*refusal.fits, *refusal.refused])]


def _no_state(state: str, name: str, states: Sequence[str]) -> str:
    listed = ", ".join(states)
    if not state:
        return f"write {name}=STATE; the states are {listed}"
    return f"unknown state {state} of {name}; it has {listed}" + nearest(state, states)


def find_state(seen: Observation, text: str) -> str | None:
    """The state with this name; `-` counts as `_`, capitals as small letters."""
    name = _plain(text)
    return name if name in seen.states else None


def _plain(text: str) -> str:
    """A name however it was typed: `Flash-then-off` is `flash_then_off`."""
    return text.strip().lower().replace("-", "_").replace(" ", "_")


def nearest(name: str, known: Iterable[str]) -> str:
    """ "; did you mean ...?" for a misspelt name, or nothing."""
    close = get_close_matches(name, list(known), n=3, cutoff=0.5)
    return f"; did you mean {' or '.join(close)}?" if close else ""


def _listed(seen: Observation) -> str:
    volts = " (or volts)" if seen.reading else ""
    return ", ".join(seen.states) + volts


def _known_repairs(model: Model, names: Sequence[str]) -> list[str | UsageProblem]:
    """The ids of repairs typed with `+` between them; what is wrong with a name stands in its place."""
    repairs, observations = repair_names(model), observation_names(model)
    found: list[str | UsageProblem] = []
    for name in map(_plain, names):
        if name in repairs:
            found.append(repairs[name])
        elif not name:
            found.append(UsageProblem("a repair is missing beside the +"))
        elif name in observations:
            found.append(UsageProblem(f"{name} is no repair, and + joins repairs; enter it by itself"))
        else:
            found.append(UsageProblem(f"unknown repair {name}" + nearest(name, repairs)))
    return found


def _repairs(names: Sequence[str | UsageProblem], value: str, circumstances: str, text: str) -> RepairOutcome:
    """Repairs made at once with their outcome. UsageProblem says everything that is wrong."""
    ending, repairs = _plain(value), [name for name in names if isinstance(name, str)]
    problems = [f"{text}: {problem}" for name in names if isinstance(name, UsageProblem) for problem in name.problems]
    if ending not in _SET_WORKS:
        named = "+".join(repairs) or "REPAIR"
        problems.append(f"{text}: a repair ends in {named}=works or {named}=not: whether the set works after it")
    if circumstances:
        problems.append(f"{text}: a repair goes without circumstances; leave out @{circumstances}")
    if problems:
        raise UsageProblem(*problems)
    return RepairOutcome(repairs, _SET_WORKS[ending])


def _meter(word: str, seen: Observation, meters: Collection[str], problems: list[str]) -> str:
    name = _plain(word.removeprefix("meter:"))
    if seen.reading is None:
        problems.append(f"{word} goes with a reading in volts, and {seen.id} is none")
    if name not in meters:
        problems.append(f"unknown meter {name}; known are {', '.join(meters)}" + nearest(name, meters))
    return name


def _circumstances(
    text: str, seen: Observation, meters: Collection[str], symptom: str, problems: list[str]
) -> dict[str, str]:
    """The circumstances after `@`, usual where nothing is said; what cannot be understood is added to the problems."""
    told = {"hold": "", "against": "chassis", "symptom": symptom, "by": "", "meter": ""}
    kinds: Mapping[str, Sequence[str]] = {"hold": _HOLDS, "against": _AGAINST, "symptom": tuple(SYMPTOM_SHOWING)}
    for word in filter(None, map(str.strip, text.split("+"))):
        if word.startswith("by:") and len(word) > 3:
            told["by"] = word[3:]
            continue
        if word.startswith("meter:"):
            told["meter"] = _meter(word, seen, meters, problems)
            continue
        kind = next((kind for kind, words in kinds.items() if _plain(word) in words), None)
        if kind is None:
            known = [w for words in kinds.values() for w in words]
            problems.append(
                f"unknown circumstance {word}; known are {', '.join(known)}, by:NAME, meter:NAME" + nearest(word, known)
            )
        elif kind in ("hold", "against") and seen.reading is None:
            problems.append(f"{word} goes with a reading in volts, and {seen.id} is none")
        else:
            told[kind] = _plain(word)
    return told


def _soft(seen: Observation, value: str, problems: list[str]) -> tuple[tuple[str, float], ...]:
    """The likelihood of each state named; what cannot be understood is added to the problems."""
    likelihoods: dict[str, float] = {}
    found: list[str] = []
    for part in value.split(","):
        name, colon, number = (piece.strip() for piece in part.partition(":"))
        state = find_state(seen, name)
        if state is None:
            found.append(f"unknown state {name} of {seen.id}; it has {', '.join(seen.states)}")
        elif not NUMBER.fullmatch(number) or float(number) > 1:
            after = f"{number or 'nothing'} after {name}: is no number from 0 to 1"
            found.append(after if colon else f"{name} has no likelihood; write {name}:0.5, a number from 0 to 1")
        elif state in likelihoods:
            found.append(f"{state} stands here twice")
        else:
            likelihoods[state] = float(number)
    if not found and not any(likelihoods.values()):
        found.append("at least one state needs a likelihood above 0")
    problems.extend(found)
    return tuple(likelihoods.items())
