"""By which name the cause of each row will be called."""

from collections.abc import Sequence
from contextlib import suppress

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.evidence import Change, Step, finding
from faultnet.engine.interface import Belief
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
        with suppress(ContradictoryEvidence):
            chances[number] = _named(model, pattern.steps(model))[: len(model.names)]
        if not chances[number].sum() > 0:
            problems.append(f"{rows.named(numbers, number)}: {model.id} holds what was seen there impossible")
    if problems:
        raise TableProblem(*problems)
    chances /= chances.sum(axis=1, keepdims=True)
    return chances[rows.pattern_of]


def _named(model: Model, steps: Sequence[Step]) -> Floats:
    """P(each name | steps), of the set as it came in: ``(n_names + 1,)`` or without the last, up to a factor."""
    engine = model.compiled.engine
    first = next((n for n, step in enumerate(steps) if isinstance(step, Change)), len(steps))
    before, then = engine.belief(steps[:first]), steps[first:]
    if all(isinstance(step, Change) for step in then):
        named: Floats = before.marginal(NAMED)
        return named
    logs = np.array([_log_evidence(before, [finding(engine.network, NAMED, name), *then]) for name in model.names])
    return np.exp(logs - logs.max()) if np.isfinite(logs.max()) else np.zeros(len(logs))


def _log_evidence(belief: Belief, steps: Sequence[Step]) -> float:
    """That of a belief after more steps, -inf where they are impossible, in nats."""
    try:
        for step in steps:
            belief = belief.change(step) if isinstance(step, Change) else belief.observe(step)
    except ContradictoryEvidence:
        return -np.inf
    return belief.log_evidence
