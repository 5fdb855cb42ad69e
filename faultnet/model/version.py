"""A version of a model: numbers learned from a shop's jobs, in the place of those of its file."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from faultnet.model.chances import SHARES, Chances, chances_of, shift, with_chances
from faultnet.model.model import Model
from faultnet.model.pooled import Pooled, pooled_from_document


@dataclass(frozen=True)
class Version:
    """Numbers of a model, as they were accepted.

    number: from 1; parent: the version it was learned beside, 0 for the file as written. digest: SHA-256 of the file it
    was learned with. chances: all numbers that differ from the file's, none for the file as written again; root_odds:
    the solved priors; pooled: shares of groups of jobs, where they were learned. n_jobs, log_scores: how many jobs were
    learned from, and the log score of a job before and after (nats). by, reason, at: who accepted it, why, and when
    (ISO 8601, UTC). undoes: the version it takes back, or None.
    """

    model: str
    number: int
    parent: int
    digest: str
    chances: tuple[Chances, ...]
    root_odds: tuple[float, ...]
    n_jobs: int
    log_scores: tuple[float, float]
    by: str
    reason: str
    at: str
    undoes: int | None = None
    pooled: Pooled | None = None

    @property
    def id(self) -> str:
        """As people write it, `backlight@2`."""
        return f"{self.model}@{self.number}"

    def of(self, written: Model) -> Model:
        """The model of this file with the version's numbers. ValueError: it has no such numbers."""
        if not self.chances:
            return replace(written, version=self.id)
        numbers = with_chances(written, self.chances, self.id)
        return replace(numbers, root_odds=self.root_odds or None, pooled=self.pooled)

    def as_document(self) -> dict[str, Any]:
        """All of it as plain values, for JSON."""
        return {
            "model": self.model,
            "number": self.number,
            "parent": self.parent,
            "digest": self.digest,
            "chances": [[c.id, [*c.states], [*c.means], c.strength_jobs, c.jobs] for c in self.chances],
            "root_odds": [*self.root_odds],
            "n_jobs": self.n_jobs,
            "log_scores": [*self.log_scores],
            "by": self.by,
            "reason": self.reason,
            "at": self.at,
            "undoes": self.undoes,
            "pooled": None if self.pooled is None else self.pooled.as_document(),
        }


def version_from_document(document: Mapping[str, Any]) -> Version:
    """The version of such a document. KeyError, TypeError, ValueError: it is none."""
    chances = tuple(
        Chances(id_, tuple(states), tuple(map(float, means)), float(strength), float(jobs))
        for id_, states, means, strength, jobs in document["chances"]
    )
    before, after = map(float, document["log_scores"])
    modes = next((each.states for each in chances if each.id == SHARES), ())
    pooled = document.get("pooled")  # not in versions from before there were groups
    return Version(
        model=str(document["model"]),
        number=int(document["number"]),
        parent=int(document["parent"]),
        digest=str(document["digest"]),
        chances=chances,
        root_odds=tuple(map(float, document["root_odds"])),
        n_jobs=int(document["n_jobs"]),
        log_scores=(before, after),
        by=str(document["by"]),
        reason=str(document["reason"]),
        at=str(document["at"]),
        undoes=None if document["undoes"] is None else int(document["undoes"]),
        pooled=None if pooled is None else pooled_from_document(pooled, modes),
    )


def changed(before: Model, after: Model) -> list[tuple[Chances, Chances]]:
    """The numbers that differ between two versions of a model, the largest difference first."""
    both = zip(chances_of(before), chances_of(after), strict=True)
    differing = [(a, b) for a, b in both if (a.means, a.strength_jobs) != (b.means, b.strength_jobs)]
    return sorted(differing, key=lambda pair: -shift(*pair))
