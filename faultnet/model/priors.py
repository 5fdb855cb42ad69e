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
from faultnet.model.faults import Bools, mode_indicator
from faultnet.model.graph import Odds, build_network, component_node
from faultnet.model.model import Model

_STARTING_FAULT_MASS = 0.1
_LEAST_ODDS = 1e-12
_MOST_NOTHING = 0.5
_CLOSE_ENOUGH = 1e-12
_MOST_ROUNDS = 400


class NoSuchPriors(FaultnetError):
    """The stated numbers cannot hold together in this network; `section` is the part of the file to look at."""

    exit_code = 3

    def __init__(self, message: str, section: str = "second_fault_share") -> None:
        self.section = section
        super().__init__(message)


def solve_root_odds(model: Model) -> Odds:
    """Odds against "ok" of every failure mode. NoSuchPriors when the numbers of the file cannot hold together.

    A fixed point: each odds is scaled by stated share over present share, all of them by stated over present chance of
    two or more faults. Shares are compared after scaling to sum to 1, since a job with two faults counts for both. With
    a single component there are no second faults, and the odds keep their usual sum.
    """
    shares = np.array([model.shares[mode] for mode in model.modes])
    odds = _STARTING_FAULT_MASS * shares
    engine = compile_joint(build_network(model, _as_odds(model, odds)), tuple(model.components))
    seen = _chance_of_confirmed_complaint(model, engine)
    is_mode = mode_indicator(model)
    n_faults = is_mode.sum(axis=1)
    _refuse_the_impossible(model, seen, is_mode)
    posterior = _posterior(model, engine, odds, seen)
    for _ in range(_MOST_ROUNDS):
        present = posterior @ is_mode
        by_mode = shares / (present / present.sum())
        overall = _overall(model, odds, by_mode, float(posterior[n_faults >= 2].sum()))
        if max(abs(np.log(by_mode)).max(), abs(np.log(overall))) < _CLOSE_ENOUGH:
            break
        odds = odds * by_mode * np.clip(overall, 0.2, 5.0)
        if not np.all(odds > _LEAST_ODDS):
            raise _unreachable(model, float(posterior[n_faults >= 2].sum()))
        posterior = _posterior(model, engine, odds, seen)
    else:
        raise _unreachable(model, float(posterior[n_faults >= 2].sum()))
    if (nothing := float(posterior[n_faults == 0].sum())) > _MOST_NOTHING:
        raise NoSuchPriors(
            f"with these numbers a confirmed complaint would come from a set with nothing faulty {nothing:.0%} of the "
            "time. Lower the chance of the complaint on a healthy set, or raise second_fault_share."
        )
    return _as_odds(model, odds)


def _overall(model: Model, odds: Floats, by_mode: Floats, second: float) -> float:
    """The factor on all odds: from the chance of a second fault, or back to the usual sum where there is none."""
    if len(model.components) > 1:
        return model.second_fault_share / second
    return _STARTING_FAULT_MASS / float((odds * by_mode).sum())


def _posterior(model: Model, engine: JointEngine, odds: Floats, seen: Floats) -> Floats:
    """P(joint state | confirmed complaint) with these odds: ``(n_joint,)``."""
    weight = _prior(model, engine, _as_odds(model, odds)) * seen
    by_state = weight.reshape(-1, weight.shape[-1]).sum(axis=0)
    posterior: Floats = by_state / by_state.sum()
    return posterior


def _refuse_the_impossible(model: Model, seen: Floats, is_mode: Bools) -> None:
    """NoSuchPriors when a failure mode, or any two faults together, can never give the confirmed complaint."""
    possible = np.broadcast_to(seen, (*seen.shape[:-1], len(is_mode))).reshape(-1, len(is_mode)).max(axis=0) > 0
    never = [str(mode) for mode, has in zip(model.modes, is_mode.T, strict=True) if not possible[has].any()]
    if never:
        raise NoSuchPriors(
            f"the confirmed complaint can never be seen with {', '.join(never)}: rows of the complaint or of "
            "`confirmed_by` say 0. A share then says nothing about how often a part fails; give them small chances.",
            section="complaint",
        )
    if len(model.components) > 1 and not possible[is_mode.sum(axis=1) >= 2].any():
        never_two = "the confirmed complaint can never be seen with two faults; give its rows small chances."
        raise NoSuchPriors(never_two, section="complaint")


def _unreachable(model: Model, second: float) -> NoSuchPriors:
    return NoSuchPriors(
        f"second_fault_share {model.second_fault_share:g} cannot hold with these shares and collateral links: at best "
        f"two or more faults are as likely as {second:.3g}. Change it, or the chance of a collateral link."
    )


def _chance_of_confirmed_complaint(model: Model, engine: JointEngine) -> Floats:
    """P(complaint and the findings that confirm it | joint state), over coupled sides only."""
    column: Floats = np.ones((1,) * (len(engine.axes.sides) + 1))
    for step in findings(engine.network, model.confirmed):
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
