"""Whether a model's chances hold: forecasts of jobs it did not learn from, beside how they turned out.

Two questions are asked of each job before its first repair. *Will this repair cure it?* Every job that was repaired
answers, whatever came of it. *Which part is the cause?* Only verified cures answer, and those are picked by how they
went: where the likeliest part was not the cause, sets are given up more often. So right chances look somewhat too
cautious there, and this question is for comparing ways of forecasting rather than for judging one.
"""

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from faultnet.analysis.judged import Judged, judge
from faultnet.case import Case
from faultnet.counting import Source, count_jobs, count_patterns
from faultnet.counting.statement import is_day
from faultnet.errors import TooLittleData, UsageProblem
from faultnet.evaluate.baselines import BASELINES
from faultnet.evaluate.forecasts import cause_forecasts, repair_forecasts
from faultnet.evaluate.outcomes import causes_of, curable, repairs_of
from faultnet.learning.learn import FEWEST_JOBS, Told, learn
from faultnet.model import Model
from faultnet.patterns import Patterns
from faultnet.shop.voltages import Entry
from faultnet.simulate.world import is_invented

if TYPE_CHECKING:
    import pandas as pd

FEWEST_JUDGED = 30
"""Of fewer jobs than this chances are not judged: at 2 in 3 the bands would be a third wide."""

LEARNED_SHARE = 2 / 3
"""Where nobody says from which day on forecasts are judged: after this share of the jobs has come in."""

WAYS: Mapping[str, str] = {
    "faultnet": "by all that was found before the first repair",
    "at_intake": "the same model at intake, by the complaint alone",
    **BASELINES,
}


@dataclass(frozen=True)
class Calibration:
    """How forecasts of past jobs turned out.

    model: its version; since: jobs that came in from this day on are judged; n_learned: earlier jobs that numbers were
    learned from, 0 where none were. repairs: whether the first repair cured the set; causes: which component cured it,
    where that was verified, None for too few such jobs, of which there are n_verified. is_invented: of the invented
    shop; may_know: the numbers may have been learned from the very jobs that are judged.
    """

    model: str
    since: str
    n_learned: int
    repairs: Judged
    causes: Judged | None
    n_verified: int
    is_invented: bool
    may_know: bool

    def to_frame(self) -> "pd.DataFrame":
        """The reliability diagrams, a row a bin: of what (`repairs`, `causes`), and of `all` or one part of it."""
        return self._framed(Judged.to_frame)

    def scores_frame(self) -> "pd.DataFrame":
        """A row for each question and way of forecasting: log score (nats) and Brier score a job, and how much more
        than faultnet's on the same jobs, with 90 % intervals."""
        return self._framed(Judged.scores_frame)

    def by_part_frame(self) -> "pd.DataFrame":
        """A row for each repair and component: what happened and was expected; Brier score and its parts."""
        return self._framed(Judged.by_part_frame)

    def over_time_frame(self) -> "pd.DataFrame":
        """A row for each question and month or quarter: log score and what right forecasts expect (nats)."""
        return self._framed(Judged.over_time_frame)

    def _framed(self, of: Callable[[Judged], "pd.DataFrame"]) -> "pd.DataFrame":
        import pandas as pd

        asked = {"repairs": self.repairs, "causes": self.causes}
        return pd.concat([of(each).assign(asked=name) for name, each in asked.items() if each], ignore_index=True)


def calibration(
    source: Source,
    model: Model,
    *,
    since: str = "",
    learning: bool = True,
    usual: Case | None = None,
    voltages: Collection[Entry] = (),
    group_of: Callable[[str], str] = str,
    seed: int = 0,
    told: Told = lambda _what, _n: None,
) -> Calibration:
    """Whether a model's chances hold, on jobs of a history that it does not learn from.

    source, voltages, group_of: as of `count_patterns`; usual: the shop's meters. since: jobs that came in from this day
    on are judged, and those before are learned from; without it a day after two thirds of them. learning: off, the
    numbers are taken as they are. seed: of resampling and of the bands.

    TooLittleData: in fewer than 30 of these jobs something was repaired. UsageProblem: since is no day, or the model
    has learned already and is to learn again. FileProblem, StoreProblem: as they say.
    """
    if learning and not model.version.endswith("@0"):
        raise UsageProblem(
            f"{model.version} has learned from jobs already, maybe from those to be judged: give the numbers as "
            f"written, {model.id}@0, or take these as they are (learning=False)"
        )
    asked = _day(since) if since else ""
    told("counting", 0)
    by_day_and_panel = count_jobs(source, model, ("day", "panel"))
    day = asked or _usual_day(by_day_and_panel)
    earlier, later = _counted(source, model, day, voltages=voltages, group_of=group_of)
    _check(repairs_of(later).n_jobs, model, day)
    used, n_learned = model, 0
    if learning and earlier.n_jobs >= FEWEST_JOBS:
        learned = learn(model, earlier, usual=usual, n_starts=0, with_blanks=False, seed=seed, told=told)
        used, n_learned = learned.as_version(f"{model.id}@tuned"), learned.n_jobs
    told("judging", 0)
    repairs = repair_forecasts(used, repairs_of(later), usual)
    _check(repairs.outcomes.n_jobs, model, day)
    return Calibration(
        model=used.version,
        since=day,
        n_learned=n_learned,
        repairs=judge(repairs, repairs_of(earlier), seed),
        causes=_causes(used, earlier, later, usual, seed),
        n_verified=causes_of(model, later, verified=True).n_jobs,
        is_invented=is_invented(_by_panel(by_day_and_panel)),
        may_know=not n_learned and not used.version.endswith("@0"),
    )


def _counted(source: Source, model: Model, day: str, **how: Any) -> tuple[Patterns, Patterns]:
    """The jobs before a day by their group, and those from it on by their month, too. how: as of `count_patterns`."""
    column = "panel_group" if model.pooled is None else model.pooled.column
    earlier = count_patterns(source, model, by=(column,), before=day, with_returned=False, **how)
    return earlier, count_patterns(source, model, by=("month", column), since=day, with_returned=False, **how)


def _causes(model: Model, earlier: Patterns, later: Patterns, usual: Case | None, seed: int) -> Judged | None:
    """The same of what the cause was; None for too few verified jobs."""
    verified = causes_of(model, later, verified=True)
    if verified.n_jobs < FEWEST_JUDGED or len(curable(model)) < 2:
        return None
    found = cause_forecasts(model, verified, usual)
    if found.outcomes.n_jobs < FEWEST_JUDGED:
        return None
    return judge(found, causes_of(model, earlier, verified=False), seed)


def _check(n_jobs: int, model: Model, since: str) -> None:
    if n_jobs < FEWEST_JUDGED:
        raise TooLittleData(
            f"in {n_jobs} jobs with {model.id} since {since} something was repaired; at least {FEWEST_JUDGED} are "
            "needed to judge its chances. Name an earlier day, or take in past jobs with `faultnet history import`."
        )


def _usual_day(by_day_and_panel: Mapping[tuple[str, ...], int]) -> str:
    """The day after which the last third of the jobs came in. TooLittleData: there are none."""
    counts: Counter[str] = Counter()
    for (day, _), n in by_day_and_panel.items():
        if is_day(day):
            counts[day] += n
    if not counts:
        told = "no job that ended has a day, as 2031-05-17" if by_day_and_panel else "no job has ended"
        raise TooLittleData(
            f"{told}; chances are judged on at least {FEWEST_JUDGED} in which something was repaired, and learned from "
            "those before. Take in past jobs with `faultnet history import`."
        )
    wanted, so_far = LEARNED_SHARE * (counts.total() - 1), 0
    for day in sorted(counts):
        so_far += counts[day]
        if so_far > wanted:
            break
    return day


def _by_panel(by_day_and_panel: Mapping[tuple[str, ...], int]) -> Counter[str]:
    counts: Counter[str] = Counter()
    for (_, panel), n in by_day_and_panel.items():
        counts[panel] += n
    return counts


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise UsageProblem(f"since {text}: write a day as 2029-03-31") from None
