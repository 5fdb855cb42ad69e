"""Reliability diagrams: what was said along, how often it was so up, where right forecasts lie, how many below."""

from typing import TYPE_CHECKING

from faultnet.analysis.calibration import Calibration
from faultnet.analysis.judged import FEW
from faultnet.plots.figure import new_figure
from faultnet.statistics.reliability import HELD, Bin, Diagram

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PANEL_CM, _HEIGHT_CM = 8.5, 11.0
_BAND, _INK = "0.82", "0.1"
_WIDTH = 2.0
"""Of a bar, in points per cent."""


def draw_reliability(found: Calibration) -> "Figure":
    """A diagram of first repairs, and one of causes where they were judged; grey and black, to be read in any print."""
    panels = [("The first repair cures it", found.repairs)]
    if found.causes is not None:
        panels.append(("This is the cause, verified", found.causes))
    invented = " (invented shop)" if found.is_invented else ""
    with new_figure(_PANEL_CM * len(panels), _HEIGHT_CM) as figure:
        figure.suptitle(f"{found.model}, jobs since {found.since}{invented}", fontsize=9)
        axes = figure.subplots(2, len(panels), squeeze=False, sharex="col", height_ratios=(4, 1))
        for column, (title, judged) in enumerate(panels):
            _draw_diagram(axes[0, column], judged.diagram, f"{title} ({judged.n_jobs} jobs)")
            _draw_counts(axes[1, column], judged.diagram)
    return figure


def _draw_diagram(axes: "Axes", shown: Diagram, title: str) -> None:
    """Bands as grey bars, the diagonal, and a mark for each bin: hollow for few, crossed where outside the band."""
    for each in shown.bins:
        x, low, high = 100 * each.forecast, 100 * each.low, 100 * each.high
        axes.bar(x, high - low, width=_WIDTH, bottom=low, color=_BAND, linewidth=0, zorder=1)
    axes.plot([0, 100], [0, 100], color=_INK, linewidth=0.8, linestyle=(0, (4, 3)), zorder=2)
    for each in shown.bins:
        face = "white" if _is_few(each) else _INK
        point = 100 * each.forecast, 100 * each.observed
        axes.plot(*point, "o", markersize=5, markerfacecolor=face, markeredgecolor=_INK, zorder=3)
        if each.is_outside:
            axes.plot(*point, "x", markersize=10, markeredgewidth=1.2, color=_INK, zorder=4)
    axes.set(xlim=(-2, 102), ylim=(-2, 102), ylabel="it was so (%)")
    axes.set_title(title, loc="left")
    note = f"grey: {100 * HELD:.0f} % of right forecasts lie whole within\nhollow: few; cross: outside"
    axes.text(0.99, 0.02, note, transform=axes.transAxes, ha="right", fontsize=6.5)


def _draw_counts(axes: "Axes", shown: Diagram) -> None:
    """How many forecasts are behind each mark."""
    for each in shown.bins:
        axes.bar(100 * each.forecast, each.n, width=_WIDTH, color="0.55", edgecolor=_INK, linewidth=0.5)
    axes.set(xlabel="said (%)", ylabel="forecasts (n)", xlim=(-2, 102))


def _is_few(each: Bin) -> bool:
    """Whether it happened, and would have, too seldom to say much."""
    return max(each.happened, each.n * each.forecast) < FEW
