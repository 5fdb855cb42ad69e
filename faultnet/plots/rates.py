"""Shares and comebacks over axes: every number with its interval and the jobs behind it, in grey and black."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from faultnet.analysis.comebacks import Comebacks, Lasting
from faultnet.analysis.rates import Rates, Share
from faultnet.analysis.targets import COMPONENT, MODE, NOTHING, SEVERAL
from faultnet.analysis.trends import Trend, middles
from faultnet.analysis.values import NOT_WRITTEN
from faultnet.plots.figure import new_figure
from faultnet.statistics.estimate import Estimate
from faultnet.words import percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_NAMES, MOST_CURVES, MOST_GROUPS, MOST_LETTERS = 6, 5, 25, 28
"""Panels, curves in one, groups in one, and letters of a name, beyond which nothing can be told apart."""

_INK, _GREY, _PALE = "0.1", "0.45", "0.85"
_DASHES = ("-", (0, (5, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)), (0, (3, 1, 1, 1, 1, 1)))
_WIDTH_CM, _ROW_CM, _FRAME_CM = 16.0, 0.55, 2.6


def draw_rates(rates: Rates, words: Mapping[str, str] | None = None) -> "Figure":
    """Shares of all jobs; by group a panel for each of the most frequent; by month or year, over time.

    words: the names as people say them; without, the names of the shares.
    """
    if words is None:
        words = {share.name: share.name.replace("_", " ") for share in rates.shares}
    if rates.trends:
        return _over_time(rates, words)
    return _by_group(rates, words) if rates.groups else _all_jobs(rates, words)


def _all_jobs(rates: Rates, words: Mapping[str, str]) -> "Figure":
    shares = [*reversed(rates.of_group())]
    is_weighed = bool(rates.n_weighed)
    with new_figure(_WIDTH_CM, _FRAME_CM + _ROW_CM * len(shares)) as figure:
        axes = figure.subplots()
        for y, share in enumerate(shares):
            if is_weighed:
                _mark(axes, share.by_jobs, y + 0.12, "o", is_hollow=False)
            if share.by_count is not None:
                _mark(axes, share.by_count, y - 0.15 if is_weighed else y, "D", is_hollow=is_weighed)
        axes.set_yticks(range(len(shares)), [f"{words[share.name]}{_behind(share)}" for share in shares])
        axes.set(xlabel=_share_of(rates), xlim=(0, None), ylim=(-0.6, len(shares) - 0.4))
        _head(axes, f"{rates.n_jobs:,} jobs by {rates.of.replace('_', ' ')}", "")
        beneath = "black: weighed by all that was written; hollow: the part replaced; lines: 90 %"
        figure.supxlabel(beneath if is_weighed else "lines: 90 %", fontsize=6.5)
    return figure


def _share_of(rates: Rates) -> str:
    """What shares are of, as the title of an axis."""
    is_of_cured = rates.of in (COMPONENT, MODE) and not rates.n_weighed
    return "share of jobs closed as fixed (%)" if is_of_cured else "share of jobs (%)"


def _short(name: str) -> str:
    """A name that leaves room, in letters that any font has."""
    plain = "".join(c if c.isascii() and c.isprintable() else "?" for c in name)
    return plain if len(plain) <= MOST_LETTERS else f"{plain[: MOST_LETTERS - 3]}..."


def _behind(share: Share) -> str:
    return "" if share.counted is None else f"  ({share.counted:,} of {share.counted_of:,})"


def _by_group(rates: Rates, words: Mapping[str, str]) -> "Figure":
    names = _most_told(rates)
    largest = sorted(rates.groups, key=lambda values: -rates.groups[values])[:MOST_GROUPS]
    groups = [*reversed([(values, n) for values, n in rates.groups.items() if values in largest])]
    n_columns = min(2, len(names))
    n_rows = -(-len(names) // n_columns)
    with new_figure(_WIDTH_CM, n_rows * (_FRAME_CM + _ROW_CM * len(groups))) as figure:
        panels = figure.subplots(n_rows, n_columns, squeeze=False, sharey=True).reshape(-1)
        by_key = {(share.name, share.values): share for share in rates.shares}
        for axes, name in zip(panels, names, strict=False):
            for y, (values, _) in enumerate(groups):
                share = by_key[name, values]
                _mark(axes, share.by_jobs or share.by_count, y + 0.14, "o", is_hollow=share.is_few)
                _mark(axes, share.pooled, y - 0.16, "s", is_hollow=False, ink=_GREY)
            overall = by_key[name, ()].by_jobs or by_key[name, ()].by_count
            if overall is not None:
                axes.axvline(100 * overall.value, color=_GREY, linewidth=0.7, linestyle=(0, (4, 3)), zorder=0)
            axes.set(xlabel=_share_of(rates), xlim=(0, None), ylim=(-0.6, len(groups) - 0.4))
            _head(axes, words[name], "")
        behind = {share.values: share.behind for share in rates.shares if share.name == names[0]}
        labels = [f"{_short(', '.join(values))}  (n={behind[values]:,})" for values, _ in groups]
        panels[0].set_yticks(range(len(groups)), labels)
        for spare in panels[len(names) :]:
            spare.set_visible(False)
        few = "" if len(groups) == len(rates.groups) else f"; the {len(groups)} largest of {len(rates.groups)} groups"
        told = f"black: by itself, hollow where few jobs; grey: pooled; dashed: all jobs; lines: 90 %{few}"
        figure.supxlabel(told, fontsize=6.5)
    return figure


def _over_time(rates: Rates, words: Mapping[str, str]) -> "Figure":
    names = [name for name in _most_told(rates) if any(each.name == name for each in rates.trends)]
    periods = [values for values in rates.groups if NOT_WRITTEN not in values]
    years: list[float] = middles([values[0] for values in periods]).tolist()
    by_key = {(share.name, share.values): share for share in rates.shares}
    told = {each.name: each for each in rates.trends}
    with new_figure(_WIDTH_CM, 2.6 * len(names) + 3.0) as figure:
        panels = figure.subplots(len(names) + 1, 1, sharex=True, height_ratios=[*[3] * len(names), 1.4], squeeze=False)
        for axes, name in zip(panels[:, 0], names, strict=False):
            for x, values in zip(years, periods, strict=True):
                share = by_key[name, values]
                _mark_up(axes, share.by_jobs or share.by_count, x, is_hollow=share.is_few)
            _levels(axes, told[name], [values[0] for values in periods], years)
            axes.set(ylabel="share (%)", ylim=(0, None))
            _head(axes, words[name], _changed(told[name]))
        counts = panels[-1, 0]
        counts.bar(years, [rates.groups[values] for values in periods], width=0.06, color=_GREY)
        counts.set(ylabel="jobs (n)", xlabel="year")
    return figure


def _levels(axes: "Axes", told: Trend, periods: Sequence[str], years: Sequence[float]) -> None:
    """Lines at the levels before and after each change."""
    start = years[0]
    for change in told.changes:
        end = years[periods.index(change.after)]
        axes.plot([start, end], [100 * change.before_it.value] * 2, color=_INK, linewidth=1.2, zorder=3)
        start = end
    if told.changes:
        axes.plot([start, years[-1]], [100 * told.changes[-1].after_it.value] * 2, color=_INK, linewidth=1.2, zorder=3)


def _changed(told: Trend) -> str:
    yearly = f"x{told.yearly.value:.2f} ({told.yearly.low:.2f} to {told.yearly.high:.2f})"
    return f"changed at all: {percent(told.chance)}; odds in a year {yearly}"


def draw_comebacks(found: Comebacks) -> "Figure":
    """The share of repaired sets that was reported back, day by day, of the largest groups; below, who is watched."""
    groups = sorted((each for each in found.groups if each.values), key=lambda each: -each.jobs)[:MOST_CURVES]
    drawn = groups or list(found.groups[:1])
    n_groups = sum(1 for each in found.groups if each.values)
    rest = f"; the {len(drawn)} largest of {n_groups} groups" if len(drawn) < n_groups else ""
    with new_figure(_WIDTH_CM, 9.4 + 0.45 * len(drawn)) as figure:
        axes = figure.subplots()
        for number, (each, dash) in enumerate(zip(drawn, _DASHES, strict=False)):
            end = found.watched_days * (1.015 + 0.015 * number)
            _curve(axes, each, dash, found.watched_days, None if len(drawn) <= 2 else end)
        axes.set(xlabel="days at home after the repair", ylabel="reported back (%)", xlim=(0, 1.1 * found.watched_days))
        axes.set_ylim(0, None)
        axes.legend(loc="upper left", frameon=False, handlelength=3.5)
        _head(
            axes,
            "Repaired sets reported back",
            "at least so many fail: others may have gone elsewhere",
        )
        days = [day for day in (0, 15, 30, 45, 60, 75, 90) if day <= found.watched_days]
        lines = [_watched(each, days) for each in drawn]
        axes.annotate(
            f"bars: 90 % intervals at the end, in the order above{rest}\n"
            + "still watched at day " + ", ".join(map(str, days)) + "\n" + "\n".join(lines),
            (0, 0), (0, -34), xycoords="axes fraction", textcoords="offset points", va="top", fontsize=6.5,
        )  # fmt: skip
    return figure


def _curve(axes: "Axes", each: Lasting, dash: object, watched_days: float, at_end: float | None) -> None:
    """The share that is back, with its band, or with its interval at the end of the watch, drawn at that place."""
    curve = each.curve
    days = [0.0, *curve.times.tolist(), watched_days]
    back = [0.0, *(100 * (1 - curve.survival)).tolist()]
    label = f"{_name(each)}  ({each.n_back} of {each.jobs:,})"
    axes.step(days, [*back, back[-1]], where="post", color=_INK, linestyle=dash, linewidth=1.1, label=label)
    if at_end is None and len(curve.times):
        low, high = 100 * (1 - curve.high), 100 * (1 - curve.low)
        axes.fill_between(curve.times, low, high, step="post", color=_PALE, linewidth=0, zorder=0)
    elif at_end is not None and each.back is not None:
        share, least, most = (100 * end for end in each.back)
        reach = [[share - least], [most - share]]
        axes.errorbar([at_end], [share], yerr=reach, fmt=".", color=_INK, capsize=2, linewidth=0.8)


def _watched(each: Lasting, days: Sequence[int]) -> str:
    return f"{_name(each)}: " + ", ".join(f"{each.curve.at_risk_at(day):,.0f}" for day in days)


def _name(each: Lasting) -> str:
    return _short(", ".join(value.replace("_", " ") for value in each.values)) or "all"


def _most_told(rates: Rates) -> list[str]:
    names = [share.name for share in rates.of_group() if share.name not in (NOTHING, SEVERAL)]
    return names[:MOST_NAMES]


def _mark(axes: "Axes", share: Estimate | None, y: float, mark: str, *, is_hollow: bool, ink: str = _INK) -> None:
    """A share with its interval along the axis of shares."""
    if share is not None:
        axes.plot([100 * share.low, 100 * share.high], [y, y], color=ink, linewidth=1.0)
        axes.plot(100 * share.value, y, mark, color=ink, markersize=4, markerfacecolor="white" if is_hollow else ink)


def _mark_up(axes: "Axes", share: Estimate | None, x: float, *, is_hollow: bool) -> None:
    """The same, upright."""
    if share is not None:
        axes.plot([x, x], [100 * share.low, 100 * share.high], color="0.65", linewidth=0.8)
        face = "white" if is_hollow else _GREY
        axes.plot(x, 100 * share.value, "o", color=_GREY, markersize=2.5, markerfacecolor=face)


def _head(axes: "Axes", title: str, beneath: str) -> None:
    axes.set_title(f"{title}\n{beneath}" if beneath else title, loc="left")
