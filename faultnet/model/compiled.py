"""A model made ready for questions: its network with solved priors, and the engine over it."""

from dataclasses import dataclass

from faultnet.engine.joint import JointEngine, compile_joint
from faultnet.model.graph import Odds, build_network
from faultnet.model.model import Model
from faultnet.model.priors import solve_root_odds
from faultnet.network import Network


@dataclass(frozen=True, eq=False)
class Compiled:
    """The network of a model, the engine whose targets are its components, and the prior odds of every mode."""

    network: Network
    engine: JointEngine
    odds: Odds


def compile_model(model: Model) -> Compiled:
    """Solve the priors (unless the model brings them along) and compile the engine."""
    if model.root_odds is None:
        odds = solve_root_odds(model)
    else:
        odds = dict(zip(model.modes, model.root_odds, strict=True))
    network = build_network(model, odds)
    return Compiled(network, compile_joint(network, tuple(model.components)), odds)
