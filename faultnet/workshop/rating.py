"""Shares and rates of the shop's own jobs, or of files of past jobs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from faultnet.analysis.comebacks import Comebacks, comebacks
from faultnet.analysis.in_service import InService, read_in_service
from faultnet.analysis.rates import MOST_WEIGHED, Rates, check, rates
from faultnet.analysis.targets import COMEBACKS, COMPONENT, MODE
from faultnet.counting import count_patterns
from faultnet.counting.ask import Source, models_in
from faultnet.counting.returns import REPAIR
from faultnet.counting.statement import is_day
from faultnet.counting.tally import days_of, tally
from faultnet.errors import TooLittleData, UsageProblem
from faultnet.jobs.stage import WATCH_DAYS
from faultnet.learning.learn import FEWEST_JOBS as FEWEST_TO_LEARN
from faultnet.learning.learn import Told, learn
from faultnet.model import Model
from faultnet.store.voltages import read_voltages
from faultnet.workshop.tuning import usual_case
from faultnet.workshop.workshop import Workshop

LEARNED_HERE = "these_jobs"
"""The version of numbers that were learned from the jobs counted, and are kept nowhere."""


@dataclass(frozen=True)
class Wanted:
    """What to count. model: "" for the only one there is; files: past jobs as Parquet or CSV, none for the shop's own;
    the rest as of `rates` and `comebacks`. as_is: the model's numbers are used as they are; else, where nothing was
    learned yet, they are learned from these jobs first.
    """

    model: str
    of: str = COMPONENT
    by: Sequence[str] = ()
    since: str = ""
    before: str = ""
    files: Sequence[Path] = ()
    counted_only: bool = False
    as_is: bool = False
    most_jobs: int = MOST_WEIGHED
    seed: int = 0
    in_service: Path | None = None
    watched_days: float = WATCH_DAYS
    any_symptom: bool = False


def rate(workshop: Workshop, wanted: Wanted, told: Told = lambda _what, _n: None) -> Rates | Comebacks:
    """Shares, or how long repairs last, with the shop's meters, voltages and panel groups. Errors: as they say."""
    source: Source = [*wanted.files] or workshop.database
    model = workshop.load_model(wanted.model or _only_model(source))
    if wanted.of == COMEBACKS:
        _check_comebacks(wanted)
        return _comebacks(workshop, model, wanted)
    check(wanted.of, wanted.by, model, counted_only=wanted.counted_only)
    in_service = None if wanted.in_service is None else _in_service(workshop, source, model, wanted)
    with workshop.database.read() as connection:
        voltages = read_voltages(connection)
    group_of, usual = workshop.shop.panel_groups.group_of, usual_case(workshop)
    is_weighed = wanted.of in (COMPONENT, MODE) and not wanted.counted_only
    if is_weighed and not wanted.as_is and not model.jobs_behind:
        patterns = count_patterns(
            source, model, since=wanted.since, before=wanted.before, voltages=voltages, group_of=group_of,
            with_returned=False, most_jobs=wanted.most_jobs,
        )  # fmt: skip
        if patterns.n_jobs >= FEWEST_TO_LEARN:
            learned = learn(model, patterns, usual=usual, n_starts=0, with_blanks=False, told=told)
            model = learned.as_version(f"{model.id}@{LEARNED_HERE}")
    told("weighing", 0)
    return rates(
        source,
        model,
        wanted.of,
        wanted.by,
        since=wanted.since,
        before=wanted.before,
        counted_only=wanted.counted_only,
        in_service=in_service,
        voltages=voltages,
        group_of=group_of,
        usual=usual,
        most_jobs=wanted.most_jobs,
        seed=wanted.seed,
    )


def _check_comebacks(wanted: Wanted) -> None:
    """UsageProblem: what goes with shares alone."""
    odd = [
        name for name, is_there in (("--in-service", wanted.in_service), ("--counted", wanted.counted_only)) if is_there
    ]
    if odd:
        raise UsageProblem(f"{' and '.join(odd)}: goes with shares, not with comebacks")


def _only_model(source: Source) -> str:
    """The model of all jobs. TooLittleData: there are none; UsageProblem: of several, or nothing says of which."""
    found = models_in(source)
    if found and len(found) == 1:
        return next(iter(found))
    if found:
        listed = ", ".join(f"{n:,} of {model}" for model, n in found.items())
        raise UsageProblem(f"--model: say whose jobs to count; there are {listed}")
    if found is not None:
        raise TooLittleData("no job has ended yet; take in past jobs with `faultnet history import`")
    raise UsageProblem("--model: the files do not say which model their jobs are of")


def _in_service(workshop: Workshop, source: Source, model: Model, wanted: Wanted) -> InService:
    """The sets in service on the days on which the jobs came in."""
    assert wanted.in_service is not None
    comma = workshop.shop.settings.decimal_comma
    first, last = days_of(tally(source, model, since=wanted.since, before=wanted.before))
    before = (date.fromisoformat(last) + timedelta(days=1)).isoformat() if is_day(last) else ""
    return read_in_service(wanted.in_service, model, wanted.by, since=first, before=before, decimal_comma=comma)


def _comebacks(workshop: Workshop, model: Model, wanted: Wanted) -> Comebacks:
    return comebacks(
        [*wanted.files] or workshop.database,
        model,
        wanted.by or (REPAIR,),
        watched_days=wanted.watched_days,
        any_symptom=wanted.any_symptom,
        since=wanted.since,
        before=wanted.before,
        group_of=workshop.shop.panel_groups.group_of,
    )
