"""From a model and the patterns of its jobs to what is maximised."""

import numpy as np

from faultnet.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.cpt import Floats
from faultnet.learning.complaint import confirmed_column, told_of
from faultnet.learning.expect import History
from faultnet.learning.hidden import Hidden, RootPrior, TablePrior
from faultnet.learning.layout import layout_of
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Frame, frame_of
from faultnet.learning.program import program_of
from faultnet.learning.roots import Roots
from faultnet.model import Model
from faultnet.patterns import Patterns


def aim_at(model: Model, patterns: Patterns, usual: Case | None = None, times: float = 1.0) -> Aim:
    """What is maximised to learn a model's numbers from patterns of evidence.

    usual: the shop's meters. times: what each job counts for.

    UsageProblem: the model is too large.
    """
    layout, frame = layout_of(model), frame_of(model)
    hidden: Hidden = TablePrior(frame, layout) if model.is_imported else RootPrior(frame, Roots(layout))
    history = History(program_of(layout, patterns, usual, times), frame, hidden)
    confirmed = np.ones(layout.n_roots)
    if not model.is_imported:
        confirmed = confirmed_column(history, frame.own, model.confirmed)
    return Aim(history, told_of(history), times * _apart(model, frame, patterns), confirmed)


def _apart(model: Model, frame: Frame, patterns: Patterns) -> Floats:
    """Counts that need no inference: findings that say nothing hidden, and whether repaired sets came back."""
    counts: Floats = np.zeros(len(frame.own.chances))
    network = model.compiled.network
    for each in patterns.apart:
        node, given = network[each.node], dict(each.given)
        if each.node in {*model.conditions, model.complaint} or not set(node.parents) <= set(given):
            continue  # conditions are given: how often they were says more about who noted them
        states = tuple(network[parent].states.index(given[parent]) for parent in node.parents)
        place = frame.place[f"row.{each.node}.{int(node.cpt.row_of[states])}"]
        counts[place.start + model.states_of(each.node).index(each.state)] += each.jobs
    for pattern, n_jobs in zip(patterns, patterns.jobs, strict=True):
        if pattern.outcome == "fixed" and pattern.came_back in ("same", "other", "no"):
            last = next((i for i in reversed(pattern.items) if isinstance(i, RepairOutcome) and i.works), None)
            for made in () if last is None else last.made:
                place = frame.place[f"comeback.{made}"]
                counts[place.start + (pattern.came_back != "same")] += n_jobs
    return counts
