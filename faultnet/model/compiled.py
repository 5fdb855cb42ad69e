"""A model made ready for questions: its network with solved priors, and the engine over it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.interface import Engine, compile_engine
from faultnet.engine.joint import JointEngine, compile_joint
from faultnet.model.draws import Draws
from faultnet.model.faults import mode_indicator
from faultnet.model.graph import Odds, build_network
from faultnet.model.imported import imported_network
from faultnet.model.model import Model
from faultnet.model.named import with_named_leaf
from faultnet.model.priors import solve_root_odds
from faultnet.network import Network


@dataclass(frozen=True, eq=False)
class Compiled:
    """The network of a model, the engine whose targets are its components, and the prior odds of every mode (none of
    an imported network)."""

    model: Model
    network: Network
    engine: Engine
    odds: Odds
    _draws: dict[tuple[int, int], Draws] = field(default_factory=dict, init=False, repr=False)

    def draws(self, n: int, seed: int) -> Draws:
        """So many seeded draws of the model's numbers; the last ones asked for are kept."""
        draws = self._draws.get((n, seed))
        if draws is None:
            draws = Draws(self.model, n, seed)
            self._draws.clear()
            self._draws[n, seed] = draws
        return draws

    @cached_property
    def table(self) -> JointEngine:
        """The engine over one table of joint states, also where another answers the questions."""
        return self.engine if isinstance(self.engine, JointEngine) else compile_joint(self.network, self.engine.targets)

    @cached_property
    def moved_with(self) -> Mapping[str, frozenset[str]]:
        """For every node the components whose change changes it (`Network.moved_with`)."""
        return self.network.moved_with(self.engine.targets)

    @cached_property
    def is_mode(self) -> Floats:
        """1 where a joint state has a failure mode: ``(n_joint, n_modes)``."""
        return mode_indicator(self.model).astype(float)

    @cached_property
    def n_faults(self) -> Ints:
        """Faulty components in each joint state: ``(n_joint,)``."""
        counts: Ints = self.is_mode.sum(axis=1).astype(np.intp)
        return counts

    @cached_property
    def needs_work(self) -> Mapping[str, tuple[int, ...]]:
        """The grouping "which components need work": ok or not, for each."""
        return {c.id: (0, *(1 for _ in c.modes)) for c in self.model.components.values()}

    @cached_property
    def decided(self) -> Ints:
        """Which joint states of the components decide the same, by number: ``(n_joint,)``; `to_decide` says what."""
        number: Ints = np.zeros(1, dtype=np.intp)
        for component in self.model.components:
            groups = np.array(self.to_decide[component])
            number = (number[:, None] * (groups.max() + 1) + groups).reshape(-1)
        return number

    @cached_property
    def to_decide(self) -> Mapping[str, tuple[int, ...]]:
        """The grouping that orders tests: which components need work, and the state of every asked condition.

        Where neither says anything (one component, nothing asked), each failure mode by itself.
        """
        asked = {c: tuple(range(len(self.model.states_of(c)))) for c in self.model.asked}
        if asked or len(self.model.components) > 1:
            return {**self.needs_work, **asked}
        return {c.id: tuple(range(len(c.states))) for c in self.model.components.values()}


def compile_model(model: Model) -> Compiled:
    """Solve the priors (unless the model brings them along) and compile the engine.

    ValueError: an imported network that is too large for both engines.
    """
    if model.is_imported:
        network = with_named_leaf(model, imported_network(model))
        return Compiled(model, network, compile_engine(network, tuple(model.components), model.engine), {})
    known = model.root_odds
    odds = solve_root_odds(model) if known is None else dict(zip(model.modes, known, strict=True))
    network = with_named_leaf(model, build_network(model, odds))
    return Compiled(model, network, compile_engine(network, tuple(model.components), model.engine), odds)
