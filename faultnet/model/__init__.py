"""What a set is made of, what can be seen on it, and what can be done to it."""

from faultnet.model.model import Model, Strength
from faultnet.model.nodes import (
    Collateral,
    Component,
    Condition,
    Group,
    Mode,
    ModeId,
    Observation,
    Rail,
    Row,
)
from faultnet.model.work import BenchState, BenchTest, Caution, Repair, SetupChange, Step

__all__ = [
    "BenchState",
    "BenchTest",
    "Caution",
    "Collateral",
    "Component",
    "Condition",
    "Group",
    "Mode",
    "ModeId",
    "Model",
    "Observation",
    "Rail",
    "Repair",
    "Row",
    "SetupChange",
    "Step",
    "Strength",
]
