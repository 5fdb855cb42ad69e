"""Which failure modes each joint state of the components has."""

from math import prod

import numpy as np
import numpy.typing as npt

from faultnet.model.model import Model

Bools = npt.NDArray[np.bool_]


def mode_indicator(model: Model) -> Bools:
    """Whether a joint state has a failure mode: ``(n_joint, n_modes)``, modes in the model's order."""
    sizes = [len(component.states) for component in model.components.values()]
    states = dict(zip(model.components, np.unravel_index(np.arange(prod(sizes)), sizes), strict=True))
    columns = []
    for mode in model.modes:
        number = model.components[mode.component].states.index(mode.mode)
        columns.append(states[mode.component] == number)
    return np.stack(columns, axis=1)
