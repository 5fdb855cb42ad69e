"""The jobs of an invented shop, one after the other: what was wrong, what was seen, done and written down."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.jobs import Job
from faultnet.jobs.stage import WATCH_DAYS
from faultnet.model import Model
from faultnet.simulate.bench import SetOnBench
from faultnet.simulate.forward import sets_with
from faultnet.simulate.habits import Knowledge
from faultnet.simulate.visit import Visit, visit
from faultnet.simulate.world import PanelGroup, World

POOL = 40_000
"""Sets drawn at the start, of which each job takes one by its group's and its month's odds."""


@dataclass(frozen=True)
class Truth:
    """What is true of a job, and was not all written down. faults: when it came in; left: when it went out."""

    job: str
    group: str
    month: int
    habit: str
    faults: tuple[str, ...]
    left: tuple[str, ...]
    conditions: Mapping[str, str]
    showed_always: bool


@dataclass(frozen=True)
class History:
    """Jobs with their truths, in the order in which they came in. shares: of each group, month and failure mode, the
    chance that a set that came in had it: what a study of these jobs is to find.
    """

    jobs: tuple[Job, ...]
    truths: tuple[Truth, ...]
    shares: Mapping[tuple[str, int], Mapping[str, float]]


@dataclass(eq=False)
class _Pool:
    """Sets with the complaint: the states of their components and conditions, and which failure modes each has."""

    model: Model
    states: Mapping[str, Ints]
    has: Mapping[str, Floats]
    _weights: dict[tuple[str, int], Floats] = field(default_factory=dict)

    @classmethod
    def drawn(cls, model: Model, rng: np.random.Generator) -> "_Pool":
        seen = model.brought_in_for
        if seen is None:
            raise ValueError(f"{model.id} is about no complaint, so nobody brings a set in for it")
        hidden = [*model.components, *model.conditions]
        states = sets_with(model.compiled.network, hidden, seen, POOL, rng)
        has = {
            f"{c.id}.{mode.id}": (states[c.id] == number).astype(float)
            for c in model.components.values()
            for number, mode in enumerate(c.modes, start=1)
        }
        return cls(model, states, has)

    def weights(self, world: World, group: PanelGroup, month: int) -> Floats:
        """How likely each set of the pool is in this group and month: ``(POOL,)``, adding to 1."""
        key = (group.name, month)
        if key not in self._weights:
            log = np.zeros(POOL)
            for mode, factor in group.odds.items():
                log += np.log(factor) * self.has.get(mode, 0.0)
            for mode, factor in world.drift.items():
                log += np.log(factor) * month / max(1, world.months - 1) * self.has.get(mode, 0.0)
            weights = np.exp(log)
            self._weights[key] = weights / weights.sum()
        return self._weights[key]

    def shares(self, world: World, group: PanelGroup, month: int) -> dict[str, float]:
        weights = self.weights(world, group, month)
        return {mode: float(weights @ has) for mode, has in self.has.items()}

    def draw(self, weights: Floats, rng: np.random.Generator, given: Mapping[str, str] | None = None) -> dict[str, int]:
        """The states of one set. given: conditions that are known, where any set of the pool has them."""
        for name, state in (given or {}).items():
            fits = self.states[name] == self.model.conditions[name].states.index(state)
            weights = weights * fits if (weights * fits).sum() > 0 else weights
        picked = int(rng.choice(POOL, p=weights / weights.sum()))
        return {name: int(states[picked]) for name, states in self.states.items()}


@dataclass(eq=False)
class _Coming:
    """A set that comes in. earlier: the job it comes back from, by its place in the list so far; set_: the same set."""

    at: datetime
    group: PanelGroup
    rng: np.random.Generator
    earlier: int | None = None
    symptom: str = ""
    set_: SetOnBench | None = None
    facts: Mapping[str, str] = field(default_factory=dict)


def simulate(model: Model, n_jobs: int, seed: int, world: World | None = None) -> History:
    """So many jobs of an invented shop, comebacks among them; the same seed gives the same jobs.

    ValueError: the model has no complaint to bring a set in for.
    """
    world = world or World()
    main, *streams = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(1 + n_jobs))
    pool, known = _Pool.drawn(model, main), Knowledge(model)
    days = world.months * 30.4
    moments = np.sort(main.random(n_jobs)) * days
    shares = np.array([group.share for group in world.groups])
    picked = main.choice(len(world.groups), size=n_jobs, p=shares / shares.sum())
    start = datetime(world.first.year, world.first.month, world.first.day, 8, tzinfo=UTC)
    end = start + timedelta(days=days)
    waiting = [
        _Coming(_to_the_minute(start + timedelta(days=float(day))), world.groups[int(g)], stream)
        for day, g, stream in zip(moments, picked, streams, strict=True)
    ]
    found: list[tuple[_Coming, Visit, Truth]] = []
    while waiting and len(found) < n_jobs:
        waiting.sort(key=lambda coming: coming.at, reverse=True)
        coming = waiting.pop()
        made = _one(model, world, pool, known, coming, start)
        found.append((coming, *made))
        back = _comes_back(world, model, coming, made[0], len(found) - 1)
        if back is not None and back.at < end:
            waiting.append(back)
    return _history(model, world, pool, found, found[-1][0].at + timedelta(days=1))


def _one(
    model: Model, world: World, pool: _Pool, known: Knowledge, coming: _Coming, start: datetime
) -> tuple[Visit, Truth]:
    rng, group = coming.rng, coming.group
    month = min(world.months - 1, int((coming.at - start).days / 30.4))
    set_ = coming.set_
    if set_ is None:
        states = pool.draw(pool.weights(world, group, month), rng)
        set_ = SetOnBench(model, states, group.volts * (1 + 0.02 * rng.standard_normal()), rng)
    elif set_.works:
        again = _repaired_before(model)
        fresh = pool.draw(pool.weights(world, group, month), rng, again)
        set_ = SetOnBench(model, fresh, set_.nominal, rng)
    else:
        set_ = SetOnBench(model, dict(set_.states), set_.nominal, rng)
    faults = set_.faults
    conditions = {c.id: c.states[set_.states[c.id]] for c in model.conditions.values()}
    made = visit(world, group, known, set_, coming.at, coming.facts)
    truth = Truth("", group.name, month, made.habit, faults, set_.faults, conditions, not made.fails_at_times)
    return replace(made, set_=set_), truth


def _repaired_before(model: Model) -> dict[str, str]:
    return {c.id: c.after_repair for c in model.conditions.values() if c.after_repair}


def _comes_back(world: World, model: Model, coming: _Coming, made: Visit, number: int) -> _Coming | None:
    """The set comes back within the watch: still faulty, by the repair's own rate, or with something else."""
    if made.closing is None or made.closing.outcome != "fixed" or made.closing.at is None or made.set_ is None:
        return None
    rng = coming.rng
    rate = max((model.repairs[name].comeback for name in made.repaired), default=0.0)
    symptom = ""
    if not made.set_.works:
        symptom = "same" if rng.random() < 0.85 else ""
    elif rng.random() < rate:
        symptom = "same" if rng.random() < 0.7 else "other"
    elif rng.random() < world.comes_back_anyway:
        symptom = "other"
    if not symptom:
        return None
    at = _to_the_minute(made.closing.at + timedelta(days=float(rng.uniform(2, WATCH_DAYS))))
    return _Coming(at, coming.group, rng, number, symptom, made.set_, made.facts)


def _history(
    model: Model, world: World, pool: _Pool, found: Sequence[tuple[_Coming, Visit, Truth]], end: datetime
) -> History:
    jobs, truths = [], []
    later = {coming.earlier for coming, _, _ in found if coming.earlier is not None}
    for number, (coming, made, truth) in enumerate(found):
        name = str(1001 + number)
        job = Job(
            number=name,
            model=model.id,
            opened_at=coming.at,
            opened_by=made.by,
            after="" if coming.earlier is None else str(1001 + coming.earlier),
            comeback=coming.symptom,
            entries=made.entries,
            parts=made.parts,
            closing=made.closing,
            **_stage(made, number in later, end),
        )
        jobs.append(job)
        truths.append(replace(truth, job=name))
    months = range(world.months)
    shares = {(group.name, m): pool.shares(world, group, m) for group in world.groups for m in months}
    return History(tuple(jobs), tuple(truths), shares)


def _stage(made: Visit, came_back: bool, end: datetime) -> dict[str, Any]:
    closing = made.closing
    assert closing is not None
    assert closing.at is not None
    is_watched = closing.outcome == "fixed" and not came_back and end - closing.at < timedelta(days=WATCH_DAYS)
    return {"stage": "watched" if is_watched else "done", "stage_since": closing.at}


def _to_the_minute(at: datetime) -> datetime:
    return at.replace(second=0, microsecond=0)


def truth_rows(history: History) -> Iterator[dict[str, str]]:
    """The truth of every job as text cells."""
    for truth in history.truths:
        yield {
            "job": truth.job,
            "group": truth.group,
            "month": str(truth.month),
            "habit": truth.habit,
            "faults": "+".join(truth.faults),
            "left": "+".join(truth.left),
            "showed_always": "yes" if truth.showed_always else "no",
            **truth.conditions,
        }
