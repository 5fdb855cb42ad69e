"""What the end of a job says beyond "the set works": a proof that the part was bad, or a set that came back.

Rates of labels that turn out wrong are common practice, no source; nobody counted them.
"""

from collections.abc import Mapping

import numpy as np

from faultnet.case.events import RepairOutcome
from faultnet.engine.evidence import Likelihood, finding
from faultnet.model import Model
from faultnet.model.nodes import SET_WORKS

PROOFS: Mapping[str, float] = {"part_tested": 0.97, "proved_by_swap": 0.92}
"""How often a part was bad that was called so, tested on the bench or swapped back and forth. Whether the symptom
cleared, or that nobody looked, says no more than that the set works."""

SEEMED_CURED, SEEMED_CURED_AT_TIMES = 0.05, 0.5
"""A set that is not cured passes for cured this often; one that fails only at times, this often."""

CAME_BACK_UNCURED = 0.9
"""A set that passed for cured and was not comes back with the same complaint this often."""


def proof_of(model: Model, outcome: RepairOutcome, ended: str, verification: str) -> Likelihood | None:
    """What a verification says of the components that were repaired, before they were; None where it adds nothing.

    Of several parts replaced at once, that one of them was bad.
    """
    right = PROOFS.get(verification) if ended == "fixed" else None
    if right is None:
        return None
    parts = tuple(dict.fromkeys(part for made in outcome.made for part in model.repairs[made].fixes))
    table = np.full([len(model.components[part].states) for part in parts], right)
    table[(0,) * table.ndim] = 1 - right
    return Likelihood(parts, table)


def works_seen(model: Model, outcome: RepairOutcome, came_back: str = "", *, at_times: bool = False) -> Likelihood:
    """That the set works after a repair, or does not.

    A set that came back with the same complaint throws doubt on it: either the cure did not last, as the repair's
    comebacks say, or it was none. So does one that fails only at times, less so once its watch has passed.
    """
    if not outcome.works or not (came_back == "same" or at_times):
        return finding(model.compiled.network, SET_WORKS, "yes" if outcome.works else "no")
    lasts = 1 - max(model.repairs[made].comeback for made in outcome.made)
    seemed = SEEMED_CURED_AT_TIMES if at_times else SEEMED_CURED
    if came_back == "same":
        return Likelihood((SET_WORKS,), np.array([1 - lasts, seemed * CAME_BACK_UNCURED]))
    if came_back == "no":
        return Likelihood((SET_WORKS,), np.array([lasts, seemed * (1 - CAME_BACK_UNCURED)]))
    return Likelihood((SET_WORKS,), np.array([1.0, seemed]))
