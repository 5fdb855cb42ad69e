"""From shares of jobs with the confirmed complaint to the prior odds of independent parts.

A person knows what share of the jobs *with this complaint* each failure mode causes. The network needs the chance that
a part is faulty before anything is known. Typing the one in as the other makes double faults far too likely; this
module solves for the odds with which the network, given the confirmed complaint, gives the shares back, and two or more
faulty components as often as stated.
"""

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.evidence import findings
from faultnet.engine.joint import JointEngine, compile_joint
from faultnet.errors import FaultnetError
from faultnet.model.faults import mode_indicator
from faultnet.model.graph import Odds, build_network, component_node
from faultnet.model.model import Model

_STARTING_FAULT_MASS = 0.1
_CLOSE_ENOUGH = 1e-12
_MOST_ROUNDS = 400


class NoSuchPriors(FaultnetError):
    """The stated shares and second-fault share cannot hold together in this network."""

    exit_code = 3


def solve_root_odds(model: Model) -> Odds:
    """Odds against "ok" of every failure mode. NoSuchPriors when the numbers of the file cannot hold together.

    A fixed point: each odds is scaled by stated share over present share, all of them by stated over present chance of
    two or more faults. Shares are compared after scaling to sum to 1, since a job with two faults counts for both.
    """
    shares = np.array([model.shares[mode] for mode in model.modes])
    odds = _STARTING_FAULT_MASS * shares
    engine = compile_joint(build_network(model, _as_odds(model, odds)), tuple(model.components))
    seen = _chance_of_confirmed_complaint(model, engine)
    is_mode = mode_indicator(model, engine.axes)
    second_fault = is_mode.sum(axis=1) >= 2
    for _ in range(_MOST_ROUNDS):
        weight = _prior(model, engine, _as_odds(model, odds)) * seen
        posterior = weight.reshape(-1, weight.shape[-1]).sum(axis=0)
        posterior = posterior / posterior.sum()
        present = posterior @ is_mode
        second = float(posterior[second_fault].sum())
        by_mode = shares / (present / present.sum())
        overall = model.second_fault_share / second
        if max(abs(np.log(by_mode)).max(), abs(np.log(overall))) < _CLOSE_ENOUGH:
            return _as_odds(model, odds)
        odds = odds * by_mode * np.clip(overall, 0.2, 5.0)
        if not np.all(odds > 1e-9):
            break
    raise NoSuchPriors(
        f"second_fault_share {model.second_fault_share:g} cannot hold with these shares and collateral links: "
        f"they alone make two or more faults as likely as {second:.3g}. Raise it, or lower a collateral chance."
    )


def _chance_of_confirmed_complaint(model: Model, engine: JointEngine) -> Floats:
    """P(complaint and the findings that confirm it | joint state), over coupled sides only."""
    column: Floats = np.ones((1,) * (len(engine.axes.sides) + 1))
    for step in findings(engine.network, {model.complaint: model.complaint_state, **model.confirmed_by}):
        column = column * engine.likelihood_column(step)
    for side in sorted(engine.axes.sides_of(column) - engine.coupled):
        column = (column * engine.side_prior(side)).sum(axis=side, keepdims=True)
    return column


def _prior(model: Model, engine: JointEngine, odds: Odds) -> Floats:
    """P(coupled sides, joint state) with these odds; the layout of the engine is used again."""
    axes = engine.axes
    prior: Floats = np.ones((1,) * (len(axes.sides) + 1))
    for side in sorted(engine.coupled):
        prior = prior * engine.side_prior(side)
    for component in model.components.values():
        node = component_node(model, component, odds)
        row = np.zeros((1,) * (len(axes.sides) + 1), dtype=np.intp)
        for parent, size in zip(node.parents, node.cpt.parent_sizes, strict=True):
            row = row * size + axes.index[parent]
        prior = prior * node.cpt.rows[row, axes.index[component.id]]
    return prior


def _as_odds(model: Model, odds: Floats) -> Odds:
    return {mode: float(o) for mode, o in zip(model.modes, odds, strict=True)}
