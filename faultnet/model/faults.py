"""Which failure modes each joint state of the components has."""

import numpy as np
import numpy.typing as npt

from faultnet.engine.axes import Axes
from faultnet.model.model import Model

Bools = npt.NDArray[np.bool_]


def mode_indicator(model: Model, axes: Axes) -> Bools:
    """Whether a joint state has a failure mode: ``(n_joint, n_modes)``, modes in the model's order."""
    columns = []
    for mode in model.modes:
        number = model.components[mode.component].states.index(mode.mode)
        columns.append(axes.index[mode.component].reshape(-1) == number)
    return np.stack(columns, axis=1)
