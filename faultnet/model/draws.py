"""Draws of a model's numbers: what they could be as well, given the few jobs each is worth.

Every number is drawn from the Dirichlet or Beta with its own mean and strength, each from a stream of its own, so that
the draws of one number do not depend on which others are asked for.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from zlib import crc32

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.model import Model


@dataclass(frozen=True)
class Draws:
    """Seeded draws of the numbers of a model. What was drawn is kept, and cannot be written to."""

    model: Model
    n: int
    seed: int
    _kept: dict[tuple[str, str], Floats] = field(default_factory=dict, init=False, repr=False, compare=False)

    def shares(self) -> Floats:
        """Shares of the failure modes, in the model's order: ``(n, n_modes)``."""
        means = [self.model.shares[mode] for mode in self.model.modes]
        return self._drawn("", "shares", [means], [self.model.strength.shares_jobs])[:, 0]

    def second_fault_share(self) -> Floats:
        """P(two or more components faulty | confirmed complaint): ``(n,)``."""
        share, strength = self.model.second_fault_share, self.model.strength.second_fault
        return self._drawn("", "second_fault_share", [(share, 1 - share)], [strength])[:, 0, 0]

    def collateral(self) -> Floats:
        """Chance of every collateral link: ``(n, n_links)``."""
        links = self.model.collateral
        means = [(link.chance, 1 - link.chance) for link in links]
        return self._drawn("", "collateral", means, [link.strength_jobs for link in links])[..., 0]

    def condition(self, condition: str) -> Floats:
        """Shares of a condition's states: ``(n, n_states)``."""
        known = self.model.conditions[condition]
        return self._drawn("condition", condition, [known.shares], [known.strength_jobs])[:, 0]

    def rows(self, observation: str) -> Floats:
        """The written rows of an observation, or the leak and effects of its noisy form: ``(n, n_rows, n_states)``."""
        written = self.model.observations[observation].written
        means = [row.probabilities for row in written]
        return self._drawn("rows", observation, means, [row.strength_jobs for row in written])

    def _drawn(self, kind: str, name: str, means: Sequence[Sequence[float]], strengths: Sequence[float]) -> Floats:
        """Dirichlet draws with these means and strengths (added counts): ``(n, n_rows, n_states)``.

        name: of the stream they are from; kind: what it is the name of.
        """
        if (kind, name) not in self._kept:
            rows = np.array(means, dtype=float).reshape(len(means), -1 if means else 2)
            drawn = _dirichlet(
                np.random.default_rng([self.seed, crc32(name.encode())]), rows, np.array(strengths), self.n
            )
            drawn.setflags(write=False)
            self._kept[kind, name] = drawn
        return self._kept[kind, name]


def _dirichlet(stream: np.random.Generator, means: Floats, strengths: Floats, n: int) -> Floats:
    counts = stream.standard_gamma(means * strengths[:, None], size=(n, *means.shape))
    totals = counts.sum(axis=-1, keepdims=True)
    drawn: Floats = np.where(totals > 0, counts / np.where(totals > 0, totals, 1), means)
    return drawn
