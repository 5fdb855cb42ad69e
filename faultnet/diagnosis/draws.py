"""Draws of a model's numbers: what they could be as well, given the few jobs each is worth.

Every number is drawn from the Dirichlet or Beta with its own mean and strength, each from a stream of its own, so that
the draws of one number do not depend on which others are asked for.
"""

from dataclasses import dataclass
from zlib import crc32

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.model import Model


@dataclass(frozen=True)
class Draws:
    """Seeded draws of the numbers of a model."""

    model: Model
    n: int
    seed: int

    def shares(self) -> Floats:
        """Shares of the failure modes, in the model's order: ``(n, n_modes)``."""
        means = np.array([self.model.shares[mode] for mode in self.model.modes])
        return self._dirichlet("shares", means[None], np.array([self.model.strength.shares_jobs]))[:, 0]

    def second_fault_share(self) -> Floats:
        """P(two or more components faulty | confirmed complaint): ``(n,)``."""
        share, strength = self.model.second_fault_share, self.model.strength.second_fault
        return self._dirichlet("second_fault_share", np.array([[share, 1 - share]]), np.array([strength]))[:, 0, 0]

    def collateral(self) -> Floats:
        """Chance of every collateral link: ``(n, n_links)``."""
        links = self.model.collateral
        means = np.array([[link.chance, 1 - link.chance] for link in links]).reshape(-1, 2)
        return self._dirichlet("collateral", means, np.array([link.strength_jobs for link in links]))[..., 0]

    def condition(self, condition: str) -> Floats:
        """Shares of a condition's states: ``(n, n_states)``."""
        known = self.model.conditions[condition]
        return self._dirichlet(condition, np.array([known.shares]), np.array([known.strength_jobs]))[:, 0]

    def rows(self, observation: str) -> Floats:
        """The written rows of an observation, or the leak and effects of its noisy form: ``(n, n_rows, n_states)``."""
        written = self.model.observations[observation].written
        means = np.array([row.probabilities for row in written])
        return self._dirichlet(observation, means, np.array([row.strength_jobs for row in written]))

    def _dirichlet(self, name: str, means: Floats, strengths: Floats) -> Floats:
        """Dirichlet draws with these means and strengths (added counts): ``(n, *means.shape)``."""
        stream = np.random.default_rng([self.seed, crc32(name.encode())])
        counts = stream.standard_gamma(means * strengths[:, None], size=(self.n, *means.shape))
        totals = counts.sum(axis=-1, keepdims=True)
        drawn: Floats = np.where(totals > 0, counts / np.where(totals > 0, totals, 1), means)
        return drawn
