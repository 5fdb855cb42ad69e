"""A nominal as read from a label, or none."""

from faultnet.readings import Nominal


def label(volts: float | None) -> Nominal | None:
    return None if volts is None else Nominal.label(volts)
