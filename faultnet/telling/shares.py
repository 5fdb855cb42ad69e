"""Shares and other estimates as text."""

from collections.abc import Collection, Iterator

from faultnet.analysis.values import FEWEST_OF_SOMEBODY
from faultnet.statistics.estimate import Estimate


def told(estimate: Estimate | None) -> str:
    """A share with its interval: "52 % (47 to 56)"."""
    if estimate is None:
        return "-"
    mean, low, high = (_whole(each) for each in estimate)
    return f"{mean} % ({low} to {high})"


def _whole(share: float) -> str:
    """In per cent, small ones with a digit more."""
    value = 100 * share
    return f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def in_brackets(estimate: Estimate, digits: int) -> str:
    """A number with its interval: "1.31 (1.12 to 1.54)"."""
    value, low, high = (f"{each:,.{digits}f}" for each in estimate)
    return f"{value} ({low} to {high})"


def hidden(n_people: int, by: Collection[str]) -> Iterator[str]:
    """What to know where people were told apart, and how many of them are not shown."""
    if n_people:
        what = "groups of people's jobs" if len(by) > 2 else "people"
        few = f"{n_people} {what} with fewer than {FEWEST_OF_SOMEBODY} sets"
        yield f"{few} are not shown: chance would be taken for skill."
    if "technician" in by:
        yield "Who gets which sets is not chance: this says nothing of how well somebody works."
