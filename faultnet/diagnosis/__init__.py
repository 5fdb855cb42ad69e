"""What is wrong with this set, how sure is that, and why."""

from faultnet.diagnosis.diagnose import diagnose
from faultnet.diagnosis.fit import BetterFit, better_fit, translated
from faultnet.diagnosis.result import (
    ConditionState,
    Diagnosis,
    Explanation,
    Fault,
    NextModel,
    Surprise,
    Turn,
    Weight,
)

__all__ = [
    "BetterFit",
    "ConditionState",
    "Diagnosis",
    "Explanation",
    "Fault",
    "NextModel",
    "Surprise",
    "Turn",
    "Weight",
    "better_fit",
    "diagnose",
    "translated",
]
