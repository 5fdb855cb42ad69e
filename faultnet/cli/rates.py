"""`faultnet rates`: how often what was the case, with intervals and the jobs behind them."""

import json
from collections.abc import Iterator, Mapping, Sequence
from math import log
from typing import TYPE_CHECKING

from faultnet.analysis.comebacks import Comebacks
from faultnet.analysis.in_service import Occurrence
from faultnet.analysis.rates import FEWEST_WEIGHED, Rates, Share
from faultnet.analysis.targets import COMPONENT, MODE, NOTHING, SEVERAL
from faultnet.analysis.trends import Trend
from faultnet.analysis.values import FEW_JOBS
from faultnet.cli.comebacks import comebacks_text
from faultnet.cli.progress import counted
from faultnet.cli.shown import Shown
from faultnet.cli.terminal import bold, columns, table, wrapped, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.model import Model
from faultnet.statistics.estimate import Estimate
from faultnet.telling.plain import of_fields, plain
from faultnet.telling.shares import hidden, in_brackets, told
from faultnet.words import percent
from faultnet.workshop.rating import LEARNED_HERE, Wanted, rate

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SCHEMA_VERSION = 1

MOST_APART = 16.0
"""A factor in a year whose ends are farther apart is not told."""

SURE_SD, _WIDTH_IN_SD = 3.0, 3.29
"""A trend is told from so many standard deviations on, which of twenty steady parts one in twenty histories shows; an
interval of 90 % is so many wide."""

MOST_NAMES = 4
"""Names told of by group, unless all are asked for."""


def show_rates(wanted: Wanted, shown: Shown, *, db: str, shop: str) -> None:
    """Count, weigh, write files, and print."""
    shown.check()
    workshop = workshop_of(db, shop)
    with counted("counting", "rounds") as told_:
        found = rate(workshop, wanted, lambda _what, n: told_(n))
    model = workshop.load_model(found.model.partition("@")[0])
    shown.write(found.to_frame(), lambda: _figure(found, model))
    if shown.as_json:
        print(json.dumps(plain({"schema_version": SCHEMA_VERSION, **of_fields(found)}), indent=2))
    elif isinstance(found, Comebacks):
        print("\n".join(comebacks_text(found)))
    else:
        print("\n".join(rates_text(found, model, full=shown.full)))


def _figure(found: Rates | Comebacks, model: Model) -> "Figure":
    from faultnet.plots.rates import draw_comebacks, draw_rates

    return draw_comebacks(found) if isinstance(found, Comebacks) else draw_rates(found, words_for(found, model))


def rates_text(rates: Rates, model: Model, *, full: bool) -> Iterator[str]:
    """Shares as text, a line each."""
    words = words_for(rates, model)
    what = rates.of.replace("_", " ")
    by = " and ".join(each.replace("_", " ") for each in rates.by)
    yield bold(f"Shares by {what}{', for each ' + by if by else ''}") + f"  ({rates.n_jobs:,} jobs that ended)"
    if all(rates.days):
        yield f"  they came in from {rates.days[0]} to {rates.days[1]}"
    yield from (wrapped(line, 2, 4) for line in _about(rates))
    yield ""
    yield from _all_jobs(rates, words)
    if rates.occurrences:
        yield ""
        yield from _occurrences(rates, words)
    if rates.trends:
        yield ""
        yield from _trends(rates.trends, words, rates.by[0])
    is_grouped = bool(rates.groups) and (full or not rates.trends)
    if is_grouped:
        yield from _groups(rates, words, full=full)
    elif rates.trends:
        yield wrapped(f"Every {rates.by[0]} by itself: --full.", 2)
    yield ""
    yield from (wrapped(line, 0, 2) for line in _beneath(rates, is_grouped=is_grouped))


def words_for(rates: Rates, model: Model) -> Mapping[str, str]:
    """Names as people say them; failure modes by their ids, as wherever numbers are learned."""
    found = {NOTHING: "nothing faulty", SEVERAL: "two or more parts"}
    if rates.of == COMPONENT:
        found |= {component.id: component.label for component in model.components.values()}
    elif rates.of == MODE:
        found |= {share.name: share.name for share in rates.shares if share.name not in found}
    return {share.name: found.get(share.name, share.name.replace("_", " ")) for share in rates.shares}


def _about(rates: Rates) -> Iterator[str]:
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
        why = f"fewer than {FEWEST_WEIGHED} jobs" if rates.n_jobs < FEWEST_WEIGHED else "--counted"
        yield f"labels alone ({why}); else jobs are weighed by all that is written of each"


def _all_jobs(rates: Rates, words: Mapping[str, str]) -> Iterator[str]:
    yield bold("All jobs") + "  (in brackets: 90 % interval)"
    if rates.n_weighed:
        rows = [("", "counted", "", "weighed")]
        rows += [(words[s.name], _counts(s), told(s.by_count), told(s.by_jobs)) for s in rates.of_group()]
        yield from table(rows, "lrrr")
    else:
        yield from table([(words[s.name], _counts(s), told(s.by_count)) for s in rates.of_group()], "lrr")


def _occurrences(rates: Rates, words: Mapping[str, str]) -> Iterator[str]:
    yield bold("Jobs per 1,000 set-years") + "  (gamma-Poisson)"
    rows = [(_title(rates), "jobs", "set-years", "by itself", "pooled")]
    rows += [_occurrence(each) for each in rates.occurrences]
    yield from wrapped_table(rows, "lrrrr")
    yield wrapped(
        "Sets in service are those of the table, on the days on which the jobs came in; where it gives years, these "
        "must lie there. Jobs of groups that are not in the table are not in these rates.",
        2,
    )
    yield ""
    yield bold("By cause, all of these sets")
    shares = [share for share in rates.of_group() if share.per_1000 is not None]
    yield from table([(words[s.name], in_brackets(s.per_1000, 2)) for s in shares if s.per_1000 is not None], "lr")


def _occurrence(each: Occurrence) -> tuple[str, str, str, str, str]:
    pooled = "-" if each.pooled is None else in_brackets(each.pooled, 1)
    name = ", ".join(each.values).replace("_", " ") or "all of these"
    return name, f"{each.jobs:,}", f"{each.set_years:,.0f}", in_brackets(each.rate, 1), pooled


def _counts(share: Share) -> str:
    return "-" if share.counted is None else f"{share.counted:,}/{share.counted_of:,}"


def _groups(rates: Rates, words: Mapping[str, str], *, full: bool) -> Iterator[str]:
    names = [share.name for share in rates.of_group()]
    kept = names if full else names[:MOST_NAMES]
    shares = [share for share in rates.shares if share.values]
    for name in kept:
        yield ""
        yield bold(words[name][:1].upper() + words[name][1:]) + _pull(rates.pull_jobs.get(name))
        rows = [(_title(rates), "jobs", "counted", "weighed" if rates.n_weighed else "share", "pooled")]
        rows += [_group_row(share) for share in shares if share.name == name]
        yield from _fitting(rows)
    if len(kept) < len(names):
        yield ""
        yield wrapped(f"The other {len(names) - len(kept)}: --full.", 0)


def _fitting(rows: list[tuple[str, str, str, str, str]]) -> list[str]:
    """A table of groups; without the counts where names leave no room for them, which `--out` and `--json` have."""
    lines = table(rows, "lrrrr")
    if max(map(len, lines)) <= columns():
        return lines
    return wrapped_table([(name, jobs, *rest) for name, jobs, _, *rest in rows], "lrrr")


def _pull(pull: Estimate | None) -> str:
    return "" if pull is None else f"  (pull: {pull.value:,.0f} jobs, {pull.low:,.0f} to {pull.high:,.0f})"


def _title(rates: Rates) -> str:
    return ", ".join(each.replace("_", " ") for each in rates.by)


def _group_row(share: Share) -> tuple[str, str, str, str, str]:
    own = share.by_jobs or share.by_count
    name, mark = ", ".join(share.values).replace("_", " "), "*" if share.is_few else " "
    return name, f"{share.jobs:,}{mark}", _counts(share), told(own), told(share.pooled)


def _trends(trends: Sequence[Trend], words: Mapping[str, str], period: str) -> Iterator[str]:
    yield bold("Trends") + f"  (by {period}; odds against the rest)"
    rows = [("", "changed at all", "odds in a year", "")]
    for each in trends:
        is_told = each.yearly.high < MOST_APART * each.yearly.low
        factor = _times(each.yearly) if is_told else "too few to tell"
        rows.append((words[each.name], percent(each.chance), factor, _direction(each.yearly) if is_told else ""))
    yield from table(rows, "lrrl")
    for each in trends:
        for change in each.changes:
            when = change.after if change.first == change.last else f"{change.after} ({change.first} to {change.last})"
            yield wrapped(
                f"{words[each.name]}: changed after {when}, from {told(change.before_it)} to {told(change.after_it)}",
                2,
                4,
            )


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
