"""By which name the cause of each row will be called."""

from collections.abc import Sequence

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.evidence import Change, Step, finding
from faultnet.errors import ContradictoryEvidence, TableProblem
from faultnet.estimator.table import Rows
from faultnet.model import Model
from faultnet.model.named import NAMED


def forecast(model: Model, rows: Rows, numbers: Sequence[object]) -> Floats:
    """P(name of the cause | what a row says, and that it has one of these names): ``(n_rows, n_names)``.

    numbers: what rows are called in messages. TableProblem: rows that the model holds impossible.
    """
    chances = np.zeros((len(rows.patterns), len(model.names)))
    problems = []
    for number, pattern in enumerate(rows.patterns):
        try:
            chances[number] = _named(model, pattern.steps(model))[: len(model.names)]
        except ContradictoryEvidence:
            pass
        if not chances[number].sum() > 0:
            problems.append(f"{rows.named(numbers, number)}: {model.id} holds what was seen there impossible")
    if problems:
        raise TableProblem(*problems)
    chances /= chances.sum(axis=1, keepdims=True)
    return chances[rows.pattern_of]


def _named(model: Model, steps: Sequence[Step]) -> Floats:
    """P(each name | steps), of the set as it came in: ``(n_names + 1,)``, up to a factor."""
    engine = model.compiled.engine
    if not any(isinstance(step, Change) for step in steps):
        named: Floats = engine.belief(steps).marginal(NAMED)
        return named
    logs = []
    for name in model.names:
        try:
            logs.append(engine.belief([finding(engine.network, NAMED, name), *steps]).log_evidence)
        except ContradictoryEvidence:
            logs.append(-np.inf)
    most = max(logs)
    return np.exp(np.array(logs) - most) if np.isfinite(most) else np.zeros(len(logs))
