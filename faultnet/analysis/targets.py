"""What can be asked of every job: whether a part is faulty, in which mode, whether anything is, or more than one."""

from faultnet.model import Model

COMPONENT, MODE = "component", "mode"
"""What shares can be of besides the columns that jobs are counted by."""

COMEBACKS = "comebacks"
"""What is asked for where not shares are counted, but how long repairs last."""

NOTHING, SEVERAL = "nothing faulty", "two or more"

Target = tuple[str, str]
"""A component, `NOTHING` or `SEVERAL`; and a mode, "" for any."""


def targets_of(model: Model, of: str) -> list[Target]:
    """Every part or every failure mode, then whether nothing is faulty and whether more than one part is."""
    if of == MODE:
        return [*((mode.component, mode.mode) for mode in model.modes), (NOTHING, ""), (SEVERAL, "")]
    return [*((component, "") for component in model.components), (NOTHING, ""), (SEVERAL, "")]


def name_of(target: Target) -> str:
    """A target in one word."""
    return ".".join(filter(None, target))
