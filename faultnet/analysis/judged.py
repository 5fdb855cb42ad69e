"""Forecasts of jobs judged: each way of forecasting as a whole, and faultnet's for each part and over time."""

from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.evaluate.baselines import baselines
from faultnet.evaluate.forecasts import Forecasts
from faultnet.evaluate.outcomes import Outcomes
from faultnet.patterns import LeftOut
from faultnet.statistics.reliability import Diagram, bins_of, diagram
from faultnet.statistics.scores import Marks, Parts, Score, brier, brier_binary, log_score, parts, scored
from faultnet.statistics.worsening import Watch, watch

if TYPE_CHECKING:
    import pandas as pd

FEW = 10
"""What happened, and was expected to, in fewer jobs than this says little by itself."""

N_BINS = 10
N_BINS_OF_ONE = 5

MOST_MONTHS = 12
"""Of more months than this, scores are told by quarters."""


@dataclass(frozen=True)
class Scores:
    """How one way of forecasting did, a job.

    log: in nats; brier: of yes or no, or summed over several classes. log_more, brier_more: how much more than
    faultnet's on the same jobs; above 0 faultnet is better. n_impossible: jobs that turned out as it had called
    impossible, which makes its log score infinite.
    """

    way: str
    log: Score
    brier: Score
    log_more: Score
    brier_more: Score
    n_impossible: int

    def as_row(self) -> dict[str, object]:
        """All of it, flat."""
        row: dict[str, object] = {"way": self.way}
        for name in ("log", "brier", "log_more", "brier_more"):
            each: Score = getattr(self, name)
            row |= {name: each.mean, f"{name}_low": each.low, f"{name}_high": each.high}
        return row | {"n_impossible": self.n_impossible}


@dataclass(frozen=True)
class OfPart:
    """Forecasts about one component or one repair. n: how many; happened: in how many it was so; expected: by the
    forecasts; z: how far these two are apart, in standard deviations. brier: of yes or no."""

    name: str
    n: int
    happened: int
    expected: float
    z: float
    brier: Score
    parts: Parts
    diagram: Diagram

    @property
    def is_few(self) -> bool:
        """Whether there is too little of it to say much."""
        return max(self.happened, self.expected) < FEW

    def as_row(self) -> dict[str, object]:
        """All but the diagram, flat."""
        row: dict[str, object] = {"name": self.name, "n": self.n, "happened": self.happened, "expected": self.expected}
        row |= {"z": self.z, "brier": self.brier.mean, "brier_low": self.brier.low, "brier_high": self.brier.high}
        row |= {name: getattr(self.parts, name) for name in (*Parts.__dataclass_fields__, "skill")}
        return row | {"p_value": self.diagram.p_value, "is_few": self.is_few}


@dataclass(frozen=True)
class Judged:
    """Forecasts of one kind, as they turned out.

    classes: what can happen; n_jobs: judged; n_before: earlier jobs that the baselines learned from. scores: of
    faultnet first; diagram, parts: of the chance that the set works, or of all components pooled, and summed. by_part:
    by what was repaired, or by component. watch: over time. left_out: jobs that are not judged, and why.
    """

    classes: tuple[str, ...]
    n_jobs: int
    n_before: int
    scores: tuple[Scores, ...]
    diagram: Diagram
    parts: Parts
    by_part: tuple[OfPart, ...]
    watch: Watch
    left_out: tuple[LeftOut, ...]

    def to_frame(self) -> "pd.DataFrame":
        """The reliability diagrams, a row a bin: of `all`, then of each part."""
        import pandas as pd

        listed = [("all", self.diagram), *((each.name, each.diagram) for each in self.by_part)]
        names = "forecast", "observed", "n", "happened", "low", "high", "is_outside"
        rows = [{"of": of} | {name: getattr(b, name) for name in names} for of, each in listed for b in each.bins]
        return pd.DataFrame(rows)

    def scores_frame(self) -> "pd.DataFrame":
        """A row for each way of forecasting: log score (nats) and Brier score a job, with 90 % intervals, and how much
        more than faultnet's on the same jobs."""
        import pandas as pd

        return pd.DataFrame([each.as_row() for each in self.scores])

    def by_part_frame(self) -> "pd.DataFrame":
        """A row for each repair or component: what happened and was expected; Brier score and its parts."""
        import pandas as pd

        return pd.DataFrame([each.as_row() for each in self.by_part])

    def over_time_frame(self) -> "pd.DataFrame":
        """A row for each month or quarter: log score and what right forecasts expect (nats), and the climb."""
        import pandas as pd

        names = "name", "n", "log_score", "expected", "z"
        return pd.DataFrame([{name: getattr(each, name) for name in names} for each in self.watch.periods])


def judge(found: Forecasts, earlier: Outcomes, seed: int) -> Judged:
    """Forecasts judged, beside baselines that learn from earlier jobs."""
    outcomes, own = found.outcomes, found.chances
    at_intake = {} if found.at_intake is None else {"at_intake": found.at_intake}
    ways = {"faultnet": own, **at_intake, **baselines(earlier, outcomes, seed)}
    is_binary = outcomes.is_of_repairs
    by_part = (_by_repair if is_binary else _by_component)(outcomes, own, seed)
    return Judged(
        classes=outcomes.classes,
        n_jobs=outcomes.n_jobs,
        n_before=earlier.n_jobs,
        scores=_scores(ways, outcomes, seed),
        diagram=diagram(own, outcomes.label, outcomes.jobs, n_bins=N_BINS, of=0 if is_binary else None, seed=seed),
        parts=_parts(own[:, 0], outcomes.label == 0, outcomes.jobs) if is_binary else _summed(p.parts for p in by_part),
        by_part=by_part,
        watch=watch(own, outcomes.label, outcomes.jobs, _periods(outcomes), seed),
        left_out=outcomes.left_out,
    )


def _scores(ways: Mapping[str, Floats], outcomes: Outcomes, seed: int) -> tuple[Scores, ...]:
    label, jobs = outcomes.label, outcomes.jobs

    def of_brier(own: Floats) -> Floats:
        return brier_binary(own[:, 0], label == 0) if outcomes.is_of_repairs else brier(own, label)

    logs, briers = ({way: of(own) for way, own in ways.items()} for of in (lambda own: log_score(own, label), of_brier))
    found = []
    for way in ways:
        is_infinite = np.isinf(logs[way])
        with np.errstate(invalid="ignore"):
            more = np.where(is_infinite & np.isinf(logs["faultnet"]), 0.0, logs[way] - logs["faultnet"])
        found.append(
            Scores(
                way=way,
                log=scored(logs[way], jobs, seed),
                brier=scored(briers[way], jobs, seed),
                log_more=scored(more, jobs, seed),
                brier_more=scored(briers[way] - briers["faultnet"], jobs, seed),
                n_impossible=int(jobs[is_infinite].sum()),
            )
        )
    return tuple(found)


def _by_component(outcomes: Outcomes, chances: Floats, seed: int) -> tuple[OfPart, ...]:
    """Each component over all jobs."""
    numbered = enumerate(outcomes.classes)
    return tuple(_of_part(name, chances[:, n], outcomes.label == n, outcomes.jobs, seed) for n, name in numbered)


def _by_repair(outcomes: Outcomes, chances: Floats, seed: int) -> tuple[OfPart, ...]:
    """Each repair over the jobs in which it was tried first, alone or with others, the most frequent first."""
    made = ["+".join(outcomes.first_repair[n]) for n in outcomes.pattern.tolist()]
    found = []
    for name in dict.fromkeys(made):
        rows = np.flatnonzero(np.array(made) == name)
        found.append(_of_part(name, chances[rows, 0], outcomes.label[rows] == 0, outcomes.jobs[rows], seed))
    return tuple(sorted(found, key=lambda each: -each.n))


def _of_part(name: str, forecast: Floats, happened: Marks, jobs: Ints, seed: int) -> OfPart:
    shown = np.column_stack([forecast, 1 - forecast])
    spread = float(np.sqrt(jobs @ (forecast * (1 - forecast))))
    n, expected = int(jobs[happened].sum()), float(jobs @ forecast)
    return OfPart(
        name=name,
        n=int(jobs.sum()),
        happened=n,
        expected=expected,
        z=(n - expected) / spread if spread > 0 else 0.0,
        brier=scored(brier_binary(forecast, happened), jobs, seed),
        parts=_parts(forecast, happened, jobs),
        diagram=diagram(shown, 1 - happened.astype(np.intp), jobs, n_bins=N_BINS_OF_ONE, of=0, seed=seed),
    )


def _parts(forecast: Floats, happened: Marks, jobs: Ints) -> Parts:
    return parts(forecast, happened, jobs, bins_of(forecast, jobs, N_BINS))


def _summed(each: Iterable[Parts]) -> Parts:
    """Parts of several classes that exclude each other: of their Brier score, which is the sum over them."""
    return Parts(*(float(sum(values)) for values in zip(*map(astuple, each), strict=True)))


def _periods(outcomes: Outcomes) -> list[str]:
    """The month of each row, or its quarter where there are many: `2030-04`, `2030 Q2`."""
    months = [by[0] for by in outcomes.by]
    if len({*months}) <= MOST_MONTHS:
        return months
    return [f"{month[:4]} Q{(int(month[5:7]) + 2) // 3}" for month in months]
