"""One set on the bench of the invented shop, from intake to its end, and what of it was written down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from faultnet.case.events import Finding, Reading, RepairOutcome
from faultnet.jobs import Closing, Entry, Part
from faultnet.jobs.entry import entry_of
from faultnet.jobs.facts import FACTS
from faultnet.model import Model
from faultnet.model.work import size_class
from faultnet.readings import METERS
from faultnet.settings import ShopSettings
from faultnet.simulate.bench import SetOnBench
from faultnet.simulate.habits import Knowledge, next_test
from faultnet.simulate.world import PanelGroup, World

SKIPPED_BECAUSE = ("no dark room", "no time", "could not reach the point", "customer waiting", "")
MOST_REPAIRS = 3
METER = METERS["plain"]


@dataclass(frozen=True)
class Visit:
    """What came of a set: entries as written down, its parts and its end; set_: the set as it went out."""

    by: str
    habit: str
    fails_at_times: bool
    facts: Mapping[str, str]
    entries: tuple[Entry, ...]
    parts: tuple[Part, ...]
    closing: Closing | None
    repaired: tuple[str, ...]
    set_: SetOnBench | None = None


@dataclass(eq=False)
class _Bench:
    """Somebody at work on a set: what they know, what they wrote, and the minutes so far."""

    world: World
    group: PanelGroup
    known: Knowledge
    set_: SetOnBench
    habit: str
    fails_at_times: bool
    inches: float
    now: datetime
    seen: dict[str, str] = field(default_factory=dict)
    entries: list[Entry] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    minutes: float = 10.0
    paid: float = 0.0
    showed: bool = False

    @property
    def model(self) -> Model:
        return self.set_.model

    @property
    def rng(self) -> np.random.Generator:
        return self.set_.rng

    def chance(self, probability: float) -> bool:
        return bool(self.rng.random() < probability)

    def write(self, entry: Entry) -> int:
        seq = len(self.entries) + 1
        self.entries.append(replace(entry, seq=seq, place=seq, at=self.now))
        return seq


def visit(
    world: World,
    group: PanelGroup,
    known: Knowledge,
    set_: SetOnBench,
    at: datetime,
    before: Mapping[str, str],
) -> Visit:
    """Work on a set. before: what is known of it from an earlier job."""
    rng = set_.rng
    by = str(rng.choice(list(world.staff)))
    habit = str(rng.choice(list(world.habits), p=np.array([*world.habits.values()]) / sum(world.habits.values())))
    fails_at_times = bool(rng.random() < world.sometimes)
    facts = dict(before) or _facts(world, group, set_, fails_at_times)
    inches = float(facts.get("size", group.inches))
    bench = _Bench(world, group, known, set_, habit, fails_at_times, inches, at)
    for name, text in facts.items():
        bench.write(Entry("fact", name, text, unit=FACTS[name].unit))
    _given(bench)
    _test(bench)
    outcome, repaired = _end(bench)
    closing = _closing(bench, outcome, by, repaired)
    return Visit(by, habit, fails_at_times, facts, tuple(bench.entries), tuple(bench.parts), closing, tuple(repaired))


def _facts(world: World, group: PanelGroup, set_: SetOnBench, fails_at_times: bool) -> dict[str, str]:
    """What is written down of the set, each fact with some chance of being left out."""
    del world
    rng = set_.rng
    told = {"panel": (0.85, str(rng.choice(group.codes))), "board": (0.5, str(rng.choice(group.boards)))}
    told |= {"size": (0.9, f"{group.inches:g}"), "age": (0.7, f"{_age(set_, group):g}")}
    told |= {"occurrence": (0.8, "sometimes" if fails_at_times else "always"), "nominal": (0.4, f"{group.volts:g}")}
    return {name: text for name, (chance, text) in told.items() if rng.random() < chance}


def _age(set_: SetOnBench, group: PanelGroup) -> float:
    """Whole years that fit the condition about the set's age."""
    for condition in set_.model.conditions.values():
        if condition.age_from_years:
            ends = [0.0, *condition.age_from_years, condition.age_from_years[-1] + 5]
            state = set_.states[condition.id]
            low, high = ends[state], ends[state + 1]
            return float(np.floor(low + (high - low) * set_.rng.random()))
    return group.years


def _given(bench: _Bench) -> None:
    """What the customer told: conditions that change the odds, where somebody asked."""
    for condition in bench.model.conditions.values():
        state = condition.states[bench.set_.states[condition.id]]
        is_age = bool(condition.age_from_years)
        if condition.odds and not is_age and state in condition.odds and bench.chance(0.3):
            bench.write(Entry("given", condition.id, state))


def _test(bench: _Bench) -> None:
    """Test until convinced, or until nothing more would be made."""
    low, high = bench.world.convinced
    convinced = low + (high - low) * bench.rng.random()
    left_out: set[str] = set()
    for _ in range(bench.world.most_tests):
        test = next_test(bench.habit, bench.known, bench.seen, frozenset(left_out))
        if not test:
            return
        if bench.chance(bench.world.skips):
            left_out.add(test)
            if bench.chance(0.5):
                bench.write(Entry("skipped", test, note=str(bench.rng.choice(SKIPPED_BECAUSE))))
            continue
        left_out.add(test)
        _make(bench, test)
        chances = bench.known.repair_chances(bench.seen)
        is_enough = len(bench.seen) >= bench.world.fewest_tests and bench.habit != "flow_chart"
        if is_enough and max(chances.values(), default=0.0) >= convinced:
            return


def _make(bench: _Bench, test: str) -> None:
    """Make a test: what it shows is known from then on, and written down or not."""
    made = bench.model.tests[test]
    bench.minutes += made.minutes + 2
    bench.now += timedelta(minutes=made.minutes + 2)
    showing = not bench.fails_at_times or bench.chance(bench.world.shows)
    bench.showed |= showing
    for observation in made.reveals:
        state = bench.set_.see(observation, showing=showing)
        bench.seen[observation] = state
        _write_seen(bench, observation, state, showing)
    bench.set_.alter(test)


def _write_seen(bench: _Bench, observation: str, state: str, showing: bool) -> None:
    seen = bench.model.observations[observation]
    if state == bench.known.normal[observation] and bench.chance(bench.world.unwritten):
        return
    if bench.chance(bench.world.noted_wrong):
        state = str(bench.rng.choice(list(seen.states)))
    symptom = "showing" if showing else "not_showing"
    if bench.fails_at_times and bench.chance(0.5):
        symptom = "unknown"
    if seen.reading is not None and not bench.chance(bench.world.as_state):
        hold = seen.reading.default_hold
        n_points = 1 + int(bench.chance(0.3)) + int(bench.chance(0.1))
        points = bench.set_.read(observation, state, hold, METER, n_points)
        bench.write(entry_of(Reading(observation, points, hold, symptom=symptom), seen.reading.unit))
    else:
        bench.write(entry_of(Finding(observation, state, symptom)))


def _end(bench: _Bench) -> tuple[str, list[str]]:
    """How it ends: not begun, or repaired as long as somebody has an idea; the outcome, and the repairs made."""
    chances = bench.known.repair_chances(bench.seen)
    ideas = sorted(chances, key=lambda name: -chances[name])
    if not ideas:
        return "no_fault_found", []
    if bench.fails_at_times and not bench.showed:
        return "no_fault_found", []
    if bench.chance(bench.world.declines):
        return "declined", []
    if (
        _price(bench, ideas[0])
        > ShopSettings().gate_uneconomic * ShopSettings().new_set_prices[size_class(bench.inches)]
    ):
        return "not_worth_repairing", []
    made: list[str] = []
    for name in ideas[:MOST_REPAIRS]:
        if bench.chance(bench.world.no_part):
            return "no_part", made
        names = [name]
        others = [other for other in ideas if other not in (*made, name)]
        if others and bench.chance(bench.world.together):
            names.append(others[0])
        works, harmed = _repair(bench, names)
        made += names
        if harmed:
            return "harmed", made
        if works:
            return "fixed", made
    return "not_worth_repairing", made


def _price(bench: _Bench, repair: str) -> float:
    made, size = bench.model.repairs[repair], size_class(bench.inches)
    parts = (made.parts_low[size] + made.parts_high[size]) / 2
    return parts + (bench.minutes + made.minutes_by_size[size]) / 60 * ShopSettings().hourly_rate


def _repair(bench: _Bench, names: Sequence[str]) -> tuple[bool, bool]:
    """Make repairs at once: whether the set then seems to work, and whether it was ruined."""
    size = size_class(bench.inches)
    for name in names:
        made = bench.model.repairs[name]
        bench.minutes += made.minutes_by_size[size]
        if bench.chance(made.harm[size]):
            return False, True
    works = bench.set_.repair(names)
    seems = works or (bench.fails_at_times and not bench.chance(bench.world.shows))
    bench.now += timedelta(minutes=int(120 + 3600 * bench.rng.random()))
    seq = bench.write(entry_of(RepairOutcome(names, seems)))
    for name in names:
        _fit(bench, name, seq, size)
    return seems, False


def _fit(bench: _Bench, name: str, seq: int, size: int) -> None:
    """Note the part that went in, where one did."""
    made, group = bench.model.repairs[name], bench.group
    if made.parts_high[size] <= 0:
        return
    price = round(made.parts_low[size] + (made.parts_high[size] - made.parts_low[size]) * bench.rng.random(), 2)
    bench.paid += price
    is_strips = "strips" in made.fixes
    code = group.strips if is_strips else str(bench.rng.choice(group.boards))
    source = str(bench.rng.choice(["new", "new", "used", "refurbished"]))
    counted = is_strips and bench.chance(0.5)
    leds, strips = (group.leds, group.n_strips) if counted else (None, None)
    old = code if bench.chance(0.8) else ""
    bench.parts.append(Part(seq, name, old, code, source, leds, strips, price if bench.chance(0.9) else None))


def _closing(bench: _Bench, outcome: str, by: str, repaired: Sequence[str]) -> Closing:
    verification = "not_verified"
    if outcome == "fixed":
        ways = bench.world.verifications
        verification = str(bench.rng.choice(list(ways), p=np.array([*ways.values()]) / sum(ways.values())))
    hours = float(round(bench.rng.uniform(0.5, 8), 1)) if outcome == "fixed" and bench.chance(0.6) else None
    minutes = float(round(bench.minutes / 5) * 5) if bench.chance(0.8) else None
    parts = round(bench.paid, 2) if repaired and bench.chance(0.8) else None
    price = (
        float(round(bench.paid * 1.3 + bench.minutes / 60 * 40)) if outcome == "fixed" and bench.chance(0.9) else None
    )
    at = bench.now + timedelta(minutes=int(60 + 1200 * bench.rng.random()))
    return Closing(outcome, verification, hours, minutes, parts, price, bench.world.currency, "", by, at)
