"""How long repairs last: days until a set is reported back, by repair and by where the part came from.

Who never comes back may have gone elsewhere, so this is a lower bound of how many repairs fail.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from faultnet.analysis.values import FEW_JOBS, FEWEST_OF_SOMEBODY, NOT_WRITTEN, Values, in_order, shown
from faultnet.counting.ask import Source
from faultnet.counting.columns import names_of_columns
from faultnet.counting.returns import REPAIR, SOURCE, Returned, returns
from faultnet.errors import TooLittleData, UsageProblem
from faultnet.jobs.stage import WATCH_DAYS
from faultnet.model import Model
from faultnet.statistics.estimate import Estimate
from faultnet.statistics.lifetimes import Lifetimes
from faultnet.statistics.log_rank import LogRank, log_rank
from faultnet.statistics.survival import SurvivalCurve, kaplan_meier
from faultnet.statistics.weibull import Weibull, fit_weibull

if TYPE_CHECKING:
    import pandas as pd

OTHERS = "others"
FEWEST_JOBS = 10
_SAME_DAY = 0.5
"""A set that is back on the day it went home was there for half a day."""


@dataclass(frozen=True)
class Lasting:
    """Repaired sets of a group. values: of what they were told apart by, none for all; n_back: reported back.

    back: the share that is back within the days watched, by Kaplan & Meier; None where nobody was watched so long.
    curve: the share not back yet, day by day. weibull: fitted to the days; None of too few comebacks.
    """

    values: Values
    jobs: int
    n_back: int
    back: Estimate | None
    curve: SurvivalCurve = field(repr=False)
    weibull: Weibull | None = field(repr=False)

    @property
    def is_few(self) -> bool:
        """Whether so few sets say little."""
        return self.jobs < FEW_JOBS


@dataclass(frozen=True)
class Comebacks:
    """How long repairs last. model: its id; by: what sets are told apart by; watched_days: how long after a repair a
    set counts; any_symptom: whether it counts with another symptom, too. groups: all repaired sets first. apart: the
    log-rank test of groups of 20 sets or more; None where there is only one. n_hidden: people with too few.
    """

    model: str
    by: tuple[str, ...]
    watched_days: float
    any_symptom: bool
    n_jobs: int
    groups: tuple[Lasting, ...]
    apart: LogRank | None
    n_hidden: int = 0

    def to_frame(self) -> "pd.DataFrame":
        """A row for each group: sets, those back, their share with its interval, shape and scale of the Weibull."""
        import pandas as pd

        return pd.DataFrame([_cells(each, self.by) for each in self.groups])

    def curves_frame(self) -> "pd.DataFrame":
        """A row for each group and day on which sets came back: the share not back yet, with its band."""
        import pandas as pd

        rows = []
        for each in self.groups:
            named = dict(zip(self.by, each.values or ("",) * len(self.by), strict=True))
            curve = each.curve
            for n, day in enumerate(curve.times.tolist()):
                told = {"not_back": curve.survival[n], "low": curve.low[n], "high": curve.high[n]}
                rows.append({**named, "day": day, "at_risk": curve.at_risk[n], "back": curve.events[n], **told})
        return pd.DataFrame(rows)


def _cells(each: Lasting, by: Sequence[str]) -> dict[str, object]:
    cells: dict[str, object] = dict(zip(by, each.values or ("",) * len(by), strict=True))
    share, low, high = each.back or (None, None, None)
    cells |= {"jobs": each.jobs, "back": each.n_back, "back_share": share, "low": low, "high": high}
    for name in ("shape", "scale"):
        told: Estimate | None = None if each.weibull is None else getattr(each.weibull, name)
        ends = zip(("", "_low", "_high"), told or (None,) * 3, strict=True)
        cells |= {f"{name}{end}": value for end, value in ends}
    return {**cells, "is_few": each.is_few}


def comebacks(
    source: Source,
    model: Model,
    by: Sequence[str] = (REPAIR,),
    *,
    watched_days: float = WATCH_DAYS,
    any_symptom: bool = False,
    since: str = "",
    before: str = "",
    group_of: Callable[[str], str] = str,
) -> Comebacks:
    """How long the repairs of a history last, until the same symptom is reported.

    by: `repair`, `part_source`, or one of the columns that jobs are counted by, two at most. watched_days: a set counts
    so long after its repair; any_symptom: another symptom counts as well. The rest as of `rates`.

    UsageProblem, FileProblem, StoreProblem: as they say. TooLittleData: fewer than 10 repaired sets with their days.
    """
    by = tuple(by)
    check_by(by, model)
    if len(by) > 2 or not watched_days > 0:
        raise UsageProblem("comebacks by one column or two, watched for more than 0 days")
    found = returns(
        source, model, by, watched_days=watched_days, any_symptom=any_symptom, since=since, before=before,
        group_of=group_of,
    )  # fmt: skip
    n_jobs = sum(each.jobs for each in found)
    if n_jobs < FEWEST_JOBS:
        raise TooLittleData(
            f"{n_jobs} sets with {model.id} were repaired and closed with their day; at least {FEWEST_JOBS} are needed"
        )
    groups, n_hidden = _grouped(found, by)
    told = [_lasting(values, rows, watched_days) for values, rows in groups.items()]
    compared = [
        each for each in told if each.values and not each.is_few and each.values[0] not in (OTHERS, NOT_WRITTEN)
    ]
    apart = None
    if len(compared) > 1 and any(each.n_back for each in compared):
        apart = log_rank([_lifetimes(groups[each.values]) for each in compared])
    return Comebacks(model.id, by, watched_days, any_symptom, n_jobs, tuple(told), apart, n_hidden)


def check_by(by: Sequence[str], model: Model) -> None:
    """UsageProblem: comebacks are not told by one of these columns."""
    known = (REPAIR, SOURCE, *names_of_columns(model))
    if wrong := [each for each in by if each not in known]:
        raise UsageProblem(*(f"comebacks by {each}: possible are {', '.join(known)}" for each in wrong))


def _grouped(found: Sequence[Returned], by: tuple[str, ...]) -> tuple[dict[Values, list[Returned]], int]:
    """All sets, as (), then each group in order; repairs made together on few sets go together as others."""
    sizes: dict[Values, int] = {}
    for each in found:
        values = shown(each.values, by)
        sizes[values] = sizes.get(values, 0) + each.jobs
    hidden = {v for v, n in sizes.items() if "technician" in by and n < FEWEST_OF_SOMEBODY}
    rare = {v for v, n in sizes.items() if REPAIR in by and n < FEW_JOBS and any("+" in each for each in v)}
    groups: dict[Values, list[Returned]] = {(): list(found)}
    others: list[Returned] = []
    for values in in_order(sizes, by):
        mine = [each for each in found if shown(each.values, by) == values]
        if values in rare:
            others += mine
        elif values not in hidden:
            groups[values] = mine
    if others:
        groups[(OTHERS,) * len(by)] = others
    return groups, len(hidden)


def _lifetimes(rows: Sequence[Returned]) -> Lifetimes:
    days = np.maximum([each.days for each in rows], _SAME_DAY)
    return Lifetimes.of(days, [each.is_back for each in rows], [each.jobs for each in rows])


def _lasting(values: Values, rows: Sequence[Returned], watched_days: float) -> Lasting:
    lifetimes = _lifetimes(rows)
    curve = kaplan_meier(lifetimes)
    end = min(watched_days, float(lifetimes.times.max()))
    at_end = curve.at(end) if end >= watched_days else None
    back = None if at_end is None else Estimate(1 - at_end.value, 1 - at_end.high, 1 - at_end.low)
    try:
        weibull = fit_weibull(lifetimes)
    except TooLittleData:
        weibull = None
    n_back = sum(each.jobs for each in rows if each.is_back)
    return Lasting(values, sum(each.jobs for each in rows), n_back, back, curve, weibull)
