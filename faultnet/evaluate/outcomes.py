"""How past jobs turned out, beside what was known of them before the first repair."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case.events import RepairOutcome
from faultnet.cpt import Ints
from faultnet.learning.verdicts import PROOFS
from faultnet.model import Model
from faultnet.patterns import Patterns
from faultnet.patterns.pattern import Key, LeftOut

WORKS = "the set works", "it does not"
"""What a repair can lead to."""

NOT_TRIED = "no repair was tried"
NOT_FIXED = "not fixed: what the cause was, nothing says"
NOT_VERIFIED = "fixed, but the old part was neither tested nor swapped back: the cause was not verified"
NO_REPAIR = "fixed, but no repair after which the set worked is written down"
SEVERAL = "several components repaired at once: which of them was the cause is not known"


@dataclass(frozen=True, eq=False)
class Outcomes:
    """Jobs with what is to be forecast of them: one of some classes that exclude each other.

    classes: the components that can be the cause, or `WORKS`. evidence: what was known before the first repair;
    first_repair: of each evidence the repairs then made at once, where these are part of the question, else none. Of
    each row: pattern, the number of its evidence; label, that of its class; jobs, how many; by, the values that the
    history was counted by. ``(n_rows,)`` each.
    """

    classes: tuple[str, ...]
    evidence: Patterns
    first_repair: tuple[tuple[str, ...], ...]
    pattern: Ints
    label: Ints
    jobs: Ints
    by: tuple[tuple[str, ...], ...]
    left_out: tuple[LeftOut, ...]

    @property
    def n_jobs(self) -> int:
        """In all rows."""
        return int(self.jobs.sum())

    @property
    def is_of_repairs(self) -> bool:
        """Whether it is asked if the set works, not what the cause was."""
        return self.classes == WORKS

    def only(self, rows: Ints, why: str) -> "Outcomes":
        """Some of the rows. why: the others are left out."""
        n_left = int(self.jobs.sum() - self.jobs[rows].sum())
        by = tuple(self.by[n] for n in rows.tolist())
        left_out = (*self.left_out, LeftOut(why, n_left)) if n_left else self.left_out
        return replace(
            self, pattern=self.pattern[rows], label=self.label[rows], jobs=self.jobs[rows], by=by, left_out=left_out
        )


def curable(model: Model) -> tuple[str, ...]:
    """The components that some repair of the model fixes: only they can be named as what cured a set."""
    fixed = {part for repair in model.repairs.values() for part in repair.fixes}
    return tuple(component for component in model.components if component in fixed)


def repairs_of(patterns: Patterns) -> Outcomes:
    """The jobs of a history in which something was repaired, and whether the set worked after the first repair.

    Every one of them counts, however it ended: nothing is picked by how it went.
    """
    counted: list[tuple[str, Key, tuple[str, ...], int]] = []
    for key, n_jobs in zip(patterns.keys, patterns.jobs.tolist(), strict=True):
        first = _first_repair(patterns, key)
        if first is None:
            counted.append((NOT_TRIED, key, (), n_jobs))
        else:
            counted.append((WORKS[0] if first.works else WORKS[1], key, tuple(sorted(first.made)), n_jobs))
    return _outcomes(WORKS, patterns, counted)


def causes_of(model: Model, patterns: Patterns, *, verified: bool) -> Outcomes:
    """The jobs of a history that were cured by repairing one component: the last repair after which the set worked.

    verified: only jobs whose old part was tested on the bench, or swapped with one known good. Either way they are
    picked by how they went: a set that nobody could cure, as its cause was not what was likeliest, is not among them.
    """
    numbered = zip(patterns.keys, patterns.jobs.tolist(), strict=True)
    counted = [(_cause(model, patterns, key, verified=verified), key, (), n_jobs) for key, n_jobs in numbered]
    return _outcomes(curable(model), patterns, counted)


def _outcomes(
    classes: tuple[str, ...], patterns: Patterns, counted: Iterable[tuple[str, Key, tuple[str, ...], int]]
) -> Outcomes:
    """From the class of each pattern, or why it has none, its key, what was repaired, and its jobs."""
    evidence: dict[tuple[Key, tuple[str, ...]], int] = {}
    rows: Counter[tuple[int, int, tuple[str, ...]]] = Counter()
    left_out: Counter[str] = Counter()
    for told, key, repaired, n_jobs in counted:
        if told not in classes:
            left_out[told] += n_jobs
            continue
        number = evidence.setdefault((_before_repairs(patterns, key), repaired), len(evidence))
        rows[number, classes.index(told), key[-1][3:]] += n_jobs
    number_of, label, by = zip(*rows, strict=True) if rows else ((), (), ())
    jobs = np.array([*rows.values()], dtype=np.intp)
    pattern = np.array(number_of, dtype=np.intp)
    keys = tuple(key for key, _ in evidence)
    by_evidence = np.bincount(pattern, jobs, len(keys))
    return Outcomes(
        classes=classes,
        evidence=replace(patterns, n_jobs=rows.total(), jobs=by_evidence, keys=keys, apart=(), left_out=(), by=()),
        first_repair=tuple(repaired for _, repaired in evidence),
        pattern=pattern,
        label=np.array(label, dtype=np.intp),
        jobs=jobs,
        by=tuple(by),
        left_out=(*(LeftOut(why, n) for why, n in left_out.most_common()), *patterns.left_out),
    )


def _first_repair(patterns: Patterns, key: Key) -> RepairOutcome | None:
    items = (patterns.vocabulary.items[number] for number in key[0])
    return next((item for item in items if isinstance(item, RepairOutcome)), None)


def _cause(model: Model, patterns: Patterns, key: Key, *, verified: bool) -> str:
    """The component that cured the jobs of a pattern, or why there is none to name."""
    numbers, *_, (outcome, verification, *_rest) = key
    if outcome != "fixed":
        return NOT_FIXED
    if verified and verification not in PROOFS:
        return NOT_VERIFIED
    items = (patterns.vocabulary.items[number] for number in reversed(numbers))
    last = next((item for item in items if isinstance(item, RepairOutcome) and item.works), None)
    if last is None:
        return NO_REPAIR
    parts = {part for made in last.made for part in model.repairs[made].fixes}
    return parts.pop() if len(parts) == 1 else SEVERAL


def _before_repairs(patterns: Patterns, key: Key) -> Key:
    """What a pattern says up to the first repair, and nothing of how its jobs ended."""
    numbers, given, nominal, is_told, _ = key
    items = patterns.vocabulary.items
    first = next((n for n, number in enumerate(numbers) if isinstance(items[number], RepairOutcome)), len(numbers))
    return numbers[:first], given, nominal, is_told, ("", "", "")
