"""Ways of working compared on past jobs: steps, minutes, cost and how often the first repair was right."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats
from faultnet.errors import ContradictoryEvidence, TooLittleData
from faultnet.evaluate.past import PastJob, replayable
from faultnet.evaluate.replay import Replay, imputing, replay
from faultnet.evaluate.rules import LOOKS, Advice, AsDone, FlowChart, Rule, WholePlan
from faultnet.model import Model
from faultnet.model.pooled import in_group
from faultnet.settings import ShopSettings

COVERED = 0.8
"""A job counts for a way of working where more than this share of the tests it asks for has a result."""

FEWEST_JOBS = 10
N_RESAMPLES = 2_000
TAIL = 0.05

MEASURES = ("steps", "minutes", "cost", "right_first", "cured")
RULES: Mapping[str, str] = {
    "plan": "this model's whole plan",
    "advice": "its advice, one step at a time",
    "as_done": "the shop's own order",
    "flow_chart": "the fixed flow chart",
}


@dataclass(frozen=True)
class Estimate:
    """A mean over jobs, with the central 90 % of its bootstrap."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Row:
    """A way of working on the jobs it is covered on. means: of each measure; beside: of each, how much more than the
    shop's own order on the same jobs. coverage: over all jobs, how many of the tests it asks for have a result."""

    rule: str
    n_jobs: int
    coverage: float
    means: Mapping[str, Estimate]
    beside: Mapping[str, Estimate]


@dataclass(frozen=True)
class Backtest:
    """Past jobs replayed. rows: on recorded results only; imputed: with made-up results in the place of missing ones.

    bounds: of each way of working the least and the most that its first repair can have been right, over all jobs.
    n_jobs: replayed; n_advised: of these, those for which faultnet's advice was shown, so that the shop's own order may
    be faultnet's.
    """

    model: str
    n_jobs: int
    n_advised: int
    rows: tuple[Row, ...]
    bounds: Mapping[str, tuple[float, float]]
    imputed: tuple[Row, ...]


def backtest(
    model: Model,
    jobs: Sequence[PastJob],
    settings: ShopSettings,
    *,
    with_imputed: bool = True,
    looks: int = LOOKS,
    seed: int = 0,
    told: Callable[[int], object] = lambda _n: None,
) -> Backtest:
    """Past jobs replayed by each way of working. looks: how long whole plans are looked for, the same on every machine.

    told: called with the number of jobs replayed.

    TooLittleData: fewer than 10 jobs were cured by a repair.
    """
    past = replayable(jobs)
    if len(past) < FEWEST_JOBS:
        raise TooLittleData(
            f"{len(past)} jobs with {model.id} were cured by a repair; at least {FEWEST_JOBS} are needed to compare "
            "ways of working"
        )
    models = {group: in_group(model, group) for group in dict.fromkeys(job.group for job in past)}
    rules_by = {group: rules_of(own, settings, looks) for group, own in models.items()}
    rules = [*next(iter(rules_by.values()))]
    recorded: dict[str, list[Replay]] = {name: [] for name in rules}
    filled: dict[str, list[Replay]] = {name: [] for name in rules}
    for number, job in enumerate(past, start=1):
        own = models[job.group]
        for name, rule in rules_by[job.group].items():
            recorded[name].append(replay(own, job, rule, settings))
        if with_imputed:
            try:
                impute = imputing(own, job, seed)
                ways = rules_by[job.group].items()
                made_up = {name: replay(own, job, rule, settings, impute) for name, rule in ways}
            except ContradictoryEvidence:
                made_up = {}
            for name, each in made_up.items():
                filled[name].append(each)
        told(number)
    return Backtest(
        model=model.version,
        n_jobs=len(past),
        n_advised=sum(job.was_advised for job in past),
        rows=tuple(_row(name, recorded[name], recorded["as_done"], seed) for name in rules),
        bounds={name: _bounds(recorded[name]) for name in rules},
        imputed=tuple(_row(name, filled[name], filled["as_done"], seed) for name in rules if filled[name]),
    )


def rules_of(model: Model, settings: ShopSettings, looks: int = LOOKS) -> dict[str, Rule]:
    """The ways of working, by name."""
    return {
        "plan": WholePlan(model, settings, looks),
        "advice": Advice(model, settings),
        "as_done": AsDone(model),
        "flow_chart": FlowChart(model),
    }


def _row(name: str, own: Sequence[Replay], shop: Sequence[Replay], seed: int) -> Row:
    covered = [n for n, each in enumerate(own) if each.coverage > COVERED]
    means, beside = {}, {}
    for measure in MEASURES:
        values = np.array([float(getattr(own[n], measure)) for n in covered])
        others = np.array([float(getattr(shop[n], measure)) for n in covered])
        means[measure] = estimated(values, seed)
        beside[measure] = estimated(values - others, seed)
    wanted = sum(each.wanted for each in own)
    coverage = sum(each.answered for each in own) / wanted if wanted else 1.0
    return Row(name, len(covered), coverage, means, beside)


def estimated(values: Floats, seed: int) -> Estimate:
    """The mean of some values with its bootstrap interval (Efron 1979, percentiles); of none, NaN."""
    if not len(values):
        return Estimate(float("nan"), float("nan"), float("nan"))
    rng = np.random.default_rng(seed)
    means = np.sort(values[rng.integers(0, len(values), (N_RESAMPLES, len(values)))].mean(axis=1))
    return Estimate(
        float(values.mean()), float(means[int(TAIL * N_RESAMPLES)]), float(means[int((1 - TAIL) * N_RESAMPLES)])
    )


def _bounds(replays: Sequence[Replay]) -> tuple[float, float]:
    """How often the first repair was right at least, and at most: where it is not covered, never or always."""
    right = sum(each.right_first for each in replays if each.coverage > COVERED)
    unknown = sum(each.coverage <= COVERED for each in replays)
    return right / len(replays), (right + unknown) / len(replays)
