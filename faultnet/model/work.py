"""What can be done to a set: tests, repairs, the set-ups they need and the cautions that go with them."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from itertools import chain

SETUP_PARTS: Mapping[str, tuple[str, ...]] = {
    "cover": ("on", "off"),
    "mains": ("on", "off", "discharged"),
    "led_cable": ("in", "out"),
    "panel": ("closed", "opened"),
}
"""How the set can stand on the bench. `discharged` is off, with the capacitors discharged and measured."""

HAZARDS = (
    "none, cover on",
    "cold and discharged",
    "powered, low-voltage side",
    "near more than 60 V or the mains side",
    "panel opened",
)


Choices = tuple[tuple[str, ...], ...]
"""What comes first: from each choice of observations at least one."""


def unmet(after: Choices, seen: Collection[str]) -> Choices:
    """The choices of which nothing was seen yet."""
    return tuple(choice for choice in after if not any(observation in seen for observation in choice))


def choices_in_words(choices: Choices, named: Callable[[str], str] = str) -> str:
    """ "after sound, open_voltage or known_load", or nothing. named: what to call an observation"""
    return "after " + ", ".join(" or ".join(map(named, choice)) for choice in choices) if choices else ""


@dataclass(frozen=True)
class Caution:
    """A sentence to show before a step."""

    id: str
    text: str


@dataclass(frozen=True)
class BenchState:
    """How the set stands on the bench right now."""

    cover: str = "on"
    mains: str = "on"
    led_cable: str = "in"
    panel: str = "closed"

    def __post_init__(self) -> None:
        for part, states in SETUP_PARTS.items():
            if getattr(self, part) not in states:
                raise ValueError(f"{part} is one of {', '.join(states)}, not {getattr(self, part)}")

    def after(self, **changed: str) -> "BenchState":
        return BenchState(**{**self.as_dict(), **changed})

    def meets(self, part: str, state: str) -> bool:
        """Whether the part stands as needed; a discharged set is also off."""
        own = getattr(self, part)
        return bool(own == state or (part == "mains" and state == "off" and own == "discharged"))

    def as_dict(self) -> dict[str, str]:
        return {part: getattr(self, part) for part in SETUP_PARTS}


@dataclass(frozen=True)
class SetupChange:
    """One change of set-up: what it takes and how dangerous it is with the cover on and with the cover off."""

    part: str
    state: str
    label: str
    minutes: float
    minutes_large: float
    hazard: int
    hazard_open: int
    cautions: tuple[Caution, ...]

    def hazard_at(self, bench: BenchState) -> int:
        return self.hazard if bench.cover == "on" else self.hazard_open


@dataclass(frozen=True)
class Step:
    """Something to do, with the set-up changes it needs first. A hazardous step without cautions cannot exist."""

    setup: tuple[str, ...]
    setup_minutes: float
    minutes: float
    hazard: int
    cautions: tuple[Caution, ...]
    bench_after: BenchState

    def __post_init__(self) -> None:
        if self.hazard >= 1 and not self.cautions:
            raise ValueError("a step of hazard 1 or more needs its cautions")


@dataclass(frozen=True)
class Alteration:
    """What doing a test may do to the set: a component in the state `mode` moves to the state `to` with this chance."""

    component: str
    mode: str
    to: str
    chance: float
    mark: str


@dataclass(frozen=True)
class BenchTest:
    """An action that reveals observations. after: what the trade does first, each a choice of observations.

    leaves: how it leaves parts of the set-up that it changes itself, such as a set switched on to see the result.
    side_effect: what it may do to the set, in words; alters: as far as it is weighed.
    """

    id: str
    label: str
    how: str
    reveals: tuple[str, ...]
    minutes: float
    money: float
    hazard: int
    needs: Mapping[str, str]
    leaves: Mapping[str, str]
    after: Choices
    cautions: tuple[Caution, ...]
    side_effect: str
    alters: tuple[Alteration, ...]
    mark: str


@dataclass(frozen=True)
class Repair:
    """An action that sets components to ok with a success rate. judged_by: the group that must be faulty, else `fixes`.

    proved_by: of each of these, one observation must have been seen in one of its states.

    success: chance that a faulty component is ok afterwards, bad new parts counted as failures. arrives_faulty: chance
    that the new part is bad, which counts where the old one was good.
    strengths_jobs: how many jobs its chances count for, by their names, where that is not the usual.
    minutes and parts by size class (up to 32, 43 to 50, 55 to 65, 75 inch and more); harm by the same classes.
    """

    id: str
    label: str
    also: tuple[str, ...]
    fixes: tuple[str, ...]
    judged_by: str
    success: float
    arrives_faulty: float
    minutes_by_size: tuple[float, ...]
    parts_low: tuple[float, ...]
    parts_high: tuple[float, ...]
    harm: tuple[float, ...]
    comeback: float
    hazard: int
    needs: Mapping[str, str]
    after: Choices
    proved_by: tuple[Mapping[str, tuple[str, ...]], ...]
    cautions: tuple[Caution, ...]
    advice: str
    mark: str
    strengths_jobs: Mapping[str, float] = field(default_factory=dict)


SIZE_CLASS_UP_TO_INCHES = (39, 52, 69)
LARGE_FROM_INCHES = 55


def size_class(inches: float | None) -> int:
    """Which of the four size classes a screen belongs to; an unknown size counts as 43 to 50 inch."""
    return 1 if inches is None else sum(inches > limit for limit in SIZE_CLASS_UP_TO_INCHES)


def prepare(
    bench: BenchState,
    needs: Mapping[str, str],
    changes: Mapping[tuple[str, str], SetupChange],
    *,
    leaves: Mapping[str, str] | None = None,
    minutes: float = 0.0,
    hazard: int = 0,
    cautions: tuple[Caution, ...] = (),
    inches: float | None = None,
) -> Step:
    """The step with every set-up change it needs from how the bench stands, each paid once, in a safe order.

    Cables, cover and panel are touched only with the mains off; cable and panel only after discharging and measuring.
    leaves: what the action itself changes of the set-up in the end, in its own minutes but with its hazards.
    """
    done: list[tuple[SetupChange, int]] = []

    def move(part: str, state: str) -> None:
        nonlocal bench
        if bench.meets(part, state):
            return
        change = changes[part, state]
        done.append((change, change.hazard_at(bench)))
        bench = bench.after(**{part: state})

    wanted = {part: state for part, state in needs.items() if not bench.meets(part, state)}
    touched = {part for part in wanted if part in ("led_cable", "panel")}
    if "cover" in wanted or touched:
        move("mains", "off")
    if wanted.get("cover") == "off" or (touched and bench.cover == "on"):
        move("cover", "off")
    if touched or wanted.get("mains") == "discharged":
        move("cover", "off")
        move("mains", "discharged")
    for part in ("led_cable", "panel"):
        if part in wanted:
            move(part, wanted[part])
    if needs.get("cover") == "on":
        move("cover", "on")
    if "mains" in needs:
        move("mains", needs["mains"])

    if bench.mains == "on" and bench.cover == "off":
        live = changes["mains", "on"]
        hazard, cautions = max(hazard, live.hazard_open), (*live.cautions, *cautions)

    before = list(done)
    for part, state in (leaves or {}).items():
        move(part, state)

    large = inches is not None and inches >= LARGE_FROM_INCHES
    step_hazard = max([hazard, *(h for _, h in done)])
    shown = dict.fromkeys(chain(*(change.cautions for change, h in done if h), cautions))
    return Step(
        setup=tuple(change.label for change, _ in before),
        setup_minutes=sum(change.minutes_large if large else change.minutes for change, _ in before),
        minutes=minutes,
        hazard=step_hazard,
        cautions=tuple(shown),
        bench_after=bench,
    )
