"""How often what was the case, with intervals and the jobs behind them."""

from collections.abc import Iterator, Mapping, Sequence
from math import log
from typing import Any

from faultnet.analysis.comebacks import Comebacks
from faultnet.analysis.in_service import Occurrence
from faultnet.analysis.rates import FEWEST_WEIGHED, Rates, Share
from faultnet.analysis.targets import COMPONENT, MODE, NOTHING, SEVERAL
from faultnet.analysis.trends import Trend
from faultnet.analysis.values import FEW_JOBS
from faultnet.model import Model
from faultnet.statistics.estimate import Estimate
from faultnet.telling.block import Block, Line, Table, points
from faultnet.telling.medium import Medium
from faultnet.telling.plain import of_fields, plain
from faultnet.telling.shares import hidden, in_brackets, told
from faultnet.words import percent
from faultnet.workshop.rating import LEARNED_HERE

SCHEMA_VERSION = 1

MOST_APART = 16.0
"""A factor in a year whose ends are farther apart is not told."""

SURE_SD, _WIDTH_IN_SD = 3.0, 3.29
"""A trend is told from so many standard deviations on, which of twenty steady parts one in twenty histories shows; an
interval of 90 % is so many wide."""

MOST_NAMES = 4
"""Names told of by group, unless all are asked for."""


def rates_json(found: Rates | Comebacks) -> dict[str, Any]:
    """All of it as plain values, for JSON."""
    document: dict[str, Any] = plain({"schema_version": SCHEMA_VERSION, **of_fields(found)})
    return document


def rates_blocks(rates: Rates, model: Model, medium: Medium, *, full: bool = False) -> Iterator[Block]:
    """Shares, told. full: of every name and every group."""
    words = words_for(rates, model)
    what = rates.of.replace("_", " ")
    by = " and ".join(each.replace("_", " ") for each in rates.by)
    days = (Line(f"they came in from {rates.days[0]} to {rates.days[1]}"),) if all(rates.days) else ()
    yield Block(
        f"Shares by {what}{', for each ' + by if by else ''}",
        f"{rates.n_jobs:,} jobs that ended",
        lines=(*days, *points(_about(rates, medium))),
    )
    yield _all_jobs(rates, words)
    if rates.occurrences:
        yield from _occurrences(rates, words)
    is_grouped = bool(rates.groups) and (full or not rates.trends)
    if rates.trends:
        every = Line(f"Every {rates.by[0]} by itself: {medium.full}.")
        yield _trends(rates.trends, words, rates.by[0], () if is_grouped else (every,))
    if is_grouped:
        yield from _groups(rates, words, medium, full=full)
    yield Block(lines=points(_beneath(rates, is_grouped=is_grouped), level=0))


def words_for(rates: Rates, model: Model) -> Mapping[str, str]:
    """Names as people say them; failure modes by their ids, as wherever numbers are learned."""
    found = {NOTHING: "nothing faulty", SEVERAL: "two or more parts"}
    if rates.of == COMPONENT:
        found |= {component.id: component.label for component in model.components.values()}
    elif rates.of == MODE:
        found |= {share.name: share.name for share in rates.shares if share.name not in found}
    return {share.name: found.get(share.name, share.name.replace("_", " ")) for share in rates.shares}


def _about(rates: Rates, medium: Medium) -> Iterator[str]:
    """How the numbers came about."""
    if rates.of not in (COMPONENT, MODE):
        return
    yield (
        f"counted: of {rates.n_cured:,} jobs closed as fixed by a repair, those in which it was made on this part; a "
        "part that was replaced is not surely the fault, and sets sent back are missing"
    )
    if rates.n_weighed:
        sample = "" if rates.n_weighed > 0.99 * rates.n_jobs else ", drawn at random,"
        numbers = (
            "numbers learned from these jobs" if rates.model.endswith(f"@{LEARNED_HERE}")
            else f"numbers of {rates.model}, " + ("learned from past jobs" if rates.numbers_jobs else "as in the file")
        )  # fmt: skip
        yield f"weighed: {rates.n_weighed:,} jobs{sample} each by all that is written of it ({numbers})"
    else:
        why = f"fewer than {FEWEST_WEIGHED} jobs" if rates.n_jobs < FEWEST_WEIGHED else medium.counted
        yield f"labels alone ({why}); else jobs are weighed by all that is written of each"


def _all_jobs(rates: Rates, words: Mapping[str, str]) -> Block:
    shares = rates.of_group()
    if rates.n_weighed:
        rows = tuple((words[s.name], _counts(s), told(s.by_count), told(s.by_jobs)) for s in shares)
        table = Table(rows, ("", "counted", "", "weighed"), "lrrr")
    else:
        table = Table(tuple((words[s.name], _counts(s), told(s.by_count)) for s in shares), aligned="lrr")
    return Block("All jobs", "in brackets: 90 % interval", table=table)


def _occurrences(rates: Rates, words: Mapping[str, str]) -> Iterator[Block]:
    header = (_title(rates), "jobs", "set-years", "by itself", "pooled")
    rows = tuple(map(_occurrence, rates.occurrences))
    yield Block(
        "Jobs per 1,000 set-years",
        "gamma-Poisson",
        table=Table(rows, header, "lrrrr", folds=True),
        beneath=(
            Line(
                "Sets in service are those of the table, on the days on which the jobs came in; where it gives years, "
                "these must lie there. Jobs of groups that are not in the table are not in these rates."
            ),
        ),
    )
    told_of = [(words[s.name], s.per_1000) for s in rates.of_group() if s.per_1000 is not None]
    by_cause = tuple((name, in_brackets(rate, 2)) for name, rate in told_of)
    yield Block("By cause, all of these sets", table=Table(by_cause, aligned="lr"))


def _occurrence(each: Occurrence) -> tuple[str, str, str, str, str]:
    pooled = "-" if each.pooled is None else in_brackets(each.pooled, 1)
    name = ", ".join(each.values).replace("_", " ") or "all of these"
    return name, f"{each.jobs:,}", f"{each.set_years:,.0f}", in_brackets(each.rate, 1), pooled


def _counts(share: Share) -> str:
    return "-" if share.counted is None else f"{share.counted:,}/{share.counted_of:,}"


def _groups(rates: Rates, words: Mapping[str, str], medium: Medium, *, full: bool) -> Iterator[Block]:
    """A table of the groups for each name; where there is no room, without counts, which files and JSON have."""
    names = [share.name for share in rates.of_group()]
    kept = names if full else names[:MOST_NAMES]
    shares = [share for share in rates.shares if share.values]
    header = (_title(rates), "jobs", "counted", "weighed" if rates.n_weighed else "share", "pooled")
    for name in kept:
        rows = tuple(_group_row(share) for share in shares if share.name == name)
        heading = words[name][:1].upper() + words[name][1:]
        table = Table(rows, header, "lrrrr", spare=header.index("counted"))
        yield Block(heading, _pull(rates.pull_jobs.get(name)), table=table)
    if len(kept) < len(names):
        yield Block(lines=(Line(f"The other {len(names) - len(kept)}: {medium.full}.", 0),))


def _pull(pull: Estimate | None) -> str:
    return "" if pull is None else f"pull: {pull.value:,.0f} jobs, {pull.low:,.0f} to {pull.high:,.0f}"


def _title(rates: Rates) -> str:
    return ", ".join(each.replace("_", " ") for each in rates.by)


def _group_row(share: Share) -> tuple[str, str, str, str, str]:
    own = share.by_jobs or share.by_count
    name, mark = ", ".join(share.values).replace("_", " "), "*" if share.is_few else " "
    return name, f"{share.jobs:,}{mark}", _counts(share), told(own), told(share.pooled)


def _trends(trends: Sequence[Trend], words: Mapping[str, str], period: str, beneath: tuple[Line, ...]) -> Block:
    rows = []
    for each in trends:
        is_told = each.yearly.high < MOST_APART * each.yearly.low
        factor = _times(each.yearly) if is_told else "too few to tell"
        rows.append((words[each.name], percent(each.chance), factor, _direction(each.yearly) if is_told else ""))
    return Block(
        "Trends",
        f"by {period}; odds against the rest",
        table=Table(tuple(rows), ("", "changed at all", "odds in a year", ""), "lrrl"),
        beneath=(*points(_changes(trends, words)), *beneath),
    )


def _changes(trends: Sequence[Trend], words: Mapping[str, str]) -> Iterator[str]:
    for each in trends:
        for change in each.changes:
            when = change.after if change.first == change.last else f"{change.after} ({change.first} to {change.last})"
            levels = f"from {told(change.before_it)} to {told(change.after_it)}"
            yield f"{words[each.name]}: changed after {when}, {levels}"


def _direction(yearly: Estimate) -> str:
    """Where it goes, if that is surer than chance among many parts makes it."""
    deviation = (log(yearly.high) - log(yearly.low)) / _WIDTH_IN_SD
    sure = abs(log(yearly.value)) > SURE_SD * deviation
    return "" if not sure else "rising" if yearly.value > 1 else "falling"


def _times(factor: Estimate) -> str:
    return f"x{in_brackets(factor, 2)}"


def _beneath(rates: Rates, *, is_grouped: bool) -> Iterator[str]:
    if any(share.by_count is not None for share in rates.shares):
        yield "Shares of k in n are told as (k + 1/2) in (n + 1), the mean by Jeffreys' prior."
    if rates.pull_jobs and is_grouped:
        yield (
            "pooled: drawn towards what all groups have in common, which counts for so many jobs (pull) as the groups' "
            "differences say."
        )
    for why, n in rates.left_out:
        yield f"left out of what was weighed, {n:,}: {why}"
    if any(share.is_few for share in rates.shares):
        yield f"*: a share of fewer than {FEW_JOBS} jobs says little by itself: read the pooled one."
    yield from hidden(rates.n_hidden, (*rates.by, rates.of))
