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
from faultnet.learning.point import WHATS, Frame, frame_of, written_id
from faultnet.learning.program import Program, program_of
from faultnet.learning.roots import Roots
from faultnet.model import Model
from faultnet.patterns import Patterns


def aim_at(
    model: Model,
    patterns: Patterns,
    usual: Case | None = None,
    times: float = 1.0,
    usual_leaves: tuple[str, ...] = (),
) -> Aim:
    """What is maximised to learn a model's numbers from patterns of evidence.

    usual: the shop's meters. times: what each job counts for. usual_leaves: observations that nearly every job looks
    at, of which is learned how often normal results are written down, and others; what is blank of them says something.

    UsageProblem: the model is too large.
    """
    layout, frame = layout_of(model), frame_of(model, usual_leaves)
    hidden: Hidden = TablePrior(frame, layout) if model.is_imported else RootPrior(frame, Roots(layout))
    program = program_of(layout, patterns, usual, times, usual_leaves)
    history = History(program, frame, hidden)
    confirmed = np.ones(layout.n_roots)
    if not model.is_imported:
        confirmed = confirmed_column(history, frame.own, model.confirmed)
    apart = times * _apart(model, frame, patterns)
    for leaf in usual_leaves:
        _add_written(program, frame, leaf, apart)
    return Aim(history, told_of(history), apart, confirmed)


def _add_written(program: Program, frame: Frame, leaf: str, counts: Floats) -> None:
    """Add how often results of a leaf were written down, by the state that they speak for most."""
    node, is_normal = program.layout.number_of[leaf], frame.is_normal(leaf)
    normal, other = (frame.place[written_id(leaf, what)].start for what in WHATS)
    place_of = np.full(len(program.acts), -1)
    for number, act in enumerate(program.acts):
        seen = program.seen[act.sight]
        if act.sight >= 0 and node in seen.sight.nodes and not seen.sight.with_healthy and act.place not in seen.blanks:
            table = np.moveaxis(seen.tables[act.place].reshape(seen.sight.widths), seen.sight.nodes.index(node), -1)
            likeliest = int(table.reshape(-1, len(is_normal)).max(axis=0).argmax())
            place_of[number] = normal if is_normal[likeliest] else other
    pattern = np.repeat(np.arange(program.n_patterns), np.diff(program.start))
    places = place_of[program.act_of]
    np.add.at(counts, places[places >= 0], program.jobs[pattern][places >= 0])


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
