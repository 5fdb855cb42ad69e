"""Shares of groups of jobs, such as sets with the same kind of panel, beside those of the whole shop."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from faultnet.model.chances import SECOND_FAULT, SECOND_STATES, SHARES, Chances, with_chances
from faultnet.model.model import Model

_KEPT = 16
"""Models with the shares of a group that a process keeps, for as long as one is asked about."""


@dataclass(frozen=True)
class GroupShares:
    """The shares of one group and its chance of a second fault, and the prior odds that they stand for."""

    shares: Chances
    second: Chances
    root_odds: tuple[float, ...]


@dataclass(frozen=True)
class Pooled:
    """Shares by the values of a column of the history, drawn towards the shop's.

    pull_jobs: as if every group had seen so many of the shop's jobs besides its own; low, high: 90 % of what it could
    be by the jobs. groups: by the value of the column.
    """

    column: str
    pull_jobs: float
    low: float
    high: float
    groups: Mapping[str, GroupShares]

    def as_document(self) -> dict[str, Any]:
        """All of it as plain values, for JSON."""
        return {
            "column": self.column,
            "pull_jobs": [self.pull_jobs, self.low, self.high],
            "groups": {
                value: {
                    "shares": [[*own.shares.means], own.shares.strength_jobs, own.shares.jobs],
                    "second_fault_share": [[*own.second.means], own.second.strength_jobs, own.second.jobs],
                    "root_odds": [*own.root_odds],
                }
                for value, own in self.groups.items()
            },
        }


def pooled_from_document(document: Mapping[str, Any], states: tuple[str, ...]) -> Pooled:
    """The same of such a document. states: of the shares. KeyError, TypeError, ValueError: it is none."""

    def chances(id_: str, states: tuple[str, ...], told: tuple[list[float], float, float]) -> Chances:
        means, strength, jobs = told
        return Chances(id_, states, tuple(map(float, means)), float(strength), float(jobs))

    pull_jobs, low, high = map(float, document["pull_jobs"])
    groups = {
        str(value): GroupShares(
            chances(SHARES, states, own["shares"]),
            chances(SECOND_FAULT, SECOND_STATES, own["second_fault_share"]),
            tuple(map(float, own["root_odds"])),
        )
        for value, own in document["groups"].items()
    }
    return Pooled(str(document["column"]), pull_jobs, low, high, groups)


def in_group(model: Model, value: str) -> Model:
    """The model with the shares of this group; itself where it has none of its own.

    The same for the same model, file and group as long as it is among the last ones asked for.
    """
    has_own = model.pooled is not None and value in model.pooled.groups
    return _with_shares_of(model, model.file, model.digest, value) if has_own else model


@lru_cache(maxsize=_KEPT)
def _with_shares_of(model: Model, file: str, digest: str, value: str) -> Model:
    """file, digest: those of the model, in which models that say the same may differ."""
    assert model.pooled is not None
    own = model.pooled.groups[value]
    shares = with_chances(model, [own.shares, own.second], model.version)
    return replace(shares, root_odds=own.root_odds, shares_of=value, file=file, digest=digest)
