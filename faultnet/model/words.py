"""Where a model's numbers come from, in words."""

from faultnet.model.chances import SHARES
from faultnet.model.model import Model


def disclaimer(model: Model) -> str:
    """What every answer ends with."""
    learned = "partly learned from past jobs, else reasoned" if model.jobs_behind else "reasoned, not measured"
    behind = "imported and used as they are" if model.is_imported else learned
    return (
        f"These are probabilities, not proof. The numbers behind them are {behind}. "
        "Local rules and licensed practice come first."
    )


def numbers_words(model: Model) -> str:
    """Where a model's numbers come from."""
    if model.is_imported:
        return "imported numbers, used as they are"
    n_jobs = max((n for id_, n in model.jobs_behind.items() if id_ != SHARES or not model.shares_of), default=0.0)
    if not n_jobs:
        return "starting numbers, no jobs of this shop yet"
    own = f", {model.jobs_behind[SHARES]:.0f} of {group_words(model)}" if model.shares_of else ""
    return f"learned from {n_jobs:.0f} past jobs{own}"


def group_words(model: Model) -> str:
    """The group of jobs whose shares a model has: "panel group otter"; "" where it has the whole shop's."""
    return "" if model.pooled is None else f"{model.pooled.column.replace('_', ' ')} {model.shares_of}"
