"""What cured past jobs, beside what was known of them before the first repair."""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case.events import RepairOutcome
from faultnet.cpt import Ints
from faultnet.learning.verdicts import PROOFS
from faultnet.model import Model
from faultnet.patterns import Patterns
from faultnet.patterns.pattern import Key, LeftOut

NOT_FIXED = "not fixed: what the cause was, nothing says"
NOT_VERIFIED = "fixed, but the old part was neither tested nor swapped back: the cause was not verified"
NO_REPAIR = "fixed, but no repair after which the set worked is written down"
SEVERAL = "several components repaired at once: which of them was the cause is not known"


@dataclass(frozen=True, eq=False)
class Cures:
    """Jobs that a repair of one component cured.

    evidence: what was known before the first repair, equal ones once. Of each row: pattern, the number of its evidence;
    label, that of the component that cured it (in `components`); jobs, how many; by, the values that the history was
    counted by. ``(n_rows,)`` each.
    """

    components: tuple[str, ...]
    evidence: Patterns
    pattern: Ints
    label: Ints
    jobs: Ints
    by: tuple[tuple[str, ...], ...]
    left_out: tuple[LeftOut, ...]

    @property
    def n_jobs(self) -> int:
        """In all rows."""
        return int(self.jobs.sum())

    def only(self, rows: Ints, left_out: tuple[LeftOut, ...] = ()) -> "Cures":
        """Some of the rows. left_out: of the others, and why."""
        return replace(
            self,
            pattern=self.pattern[rows],
            label=self.label[rows],
            jobs=self.jobs[rows],
            by=tuple(self.by[n] for n in rows.tolist()),
            left_out=(*self.left_out, *left_out),
        )


def curable(model: Model) -> tuple[str, ...]:
    """The components that some repair of the model fixes: only they can be named as what cured a set."""
    fixed = {part for repair in model.repairs.values() for part in repair.fixes}
    return tuple(component for component in model.components if component in fixed)


def cures_of(model: Model, patterns: Patterns, *, verified: bool) -> Cures:
    """The jobs of a history that were cured by repairing one component: the last repair after which the set worked.

    verified: only jobs whose old part was tested on the bench, or swapped with one known good. Patterns whose jobs
    count for less with age are no use here.
    """
    components = curable(model)
    evidence: dict[Key, int] = {}
    rows: Counter[tuple[int, int, tuple[str, ...]]] = Counter()
    left_out: Counter[str] = Counter()
    for key, n_jobs in zip(patterns.keys, patterns.jobs.tolist(), strict=True):
        told = _cure(model, patterns, key, verified=verified)
        if told not in components:
            left_out[told] += n_jobs
            continue
        before = _before_repairs(patterns, key)
        row = evidence.setdefault(before, len(evidence)), components.index(told), key[-1][3:]
        rows[row] += n_jobs
    number, label, by = zip(*rows, strict=True) if rows else ((), (), ())
    n_evidence = np.bincount(np.array(number, dtype=np.intp), np.array([*rows.values()]), len(evidence))
    return Cures(
        components=components,
        evidence=replace(patterns, n_jobs=rows.total(), jobs=n_evidence, keys=tuple(evidence), apart=(), by=()),
        pattern=np.array(number, dtype=np.intp),
        label=np.array(label, dtype=np.intp),
        jobs=np.array([*rows.values()], dtype=np.intp),
        by=tuple(by),
        left_out=(*(LeftOut(why, n) for why, n in left_out.most_common()), *patterns.left_out),
    )


def _cure(model: Model, patterns: Patterns, key: Key, *, verified: bool) -> str:
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
