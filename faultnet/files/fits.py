"""Asking the model that knows other complaints whether the findings fit one of those better."""

from faultnet.case import Case
from faultnet.diagnosis import BetterFit, better_fit, translated
from faultnet.files.load import shared_model
from faultnet.model import Model


def fits_better(model: Model, case: Case) -> BetterFit | None:
    """The complaint that the findings fit better than the model's own, or None.

    The model that knows is loaded only when there is a finding to ask it about.
    """
    events = translated(model, case)
    if model.comparison is None or not events:
        return None
    return better_fit(model, shared_model(model.comparison.model), events)
