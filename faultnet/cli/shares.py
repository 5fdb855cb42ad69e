"""Shares and other estimates as text."""

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
