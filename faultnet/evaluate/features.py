"""Evidence as columns for classifiers that know nothing of televisions."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isinf

import numpy as np

from faultnet.case.events import Finding, Reading, SoftFinding
from faultnet.case.sequence import Item, Together
from faultnet.cpt import Floats, Ints
from faultnet.evaluate.outcomes import Outcomes
from faultnet.patterns import Pattern

OVER_RANGE_VOLTS = 1_000.0
"""What a reading over range counts as."""


@dataclass(frozen=True, eq=False)
class Features:
    """kinds: codes of what was noted in words, -1 where nothing was, ``(n_rows, n_words)``; n_kinds: of each how many
    codes there are; numbers: volts, and volts over the set's nominal, NaN where not read, ``(n_rows, n_readings)``."""

    kinds: Ints
    n_kinds: tuple[int, ...]
    numbers: Floats

    @property
    def n_columns(self) -> int:
        """Of both sorts together."""
        return len(self.n_kinds) + int(self.numbers.shape[1])


def features(earlier: Outcomes, later: Outcomes) -> tuple[Features, Features]:
    """Those of earlier and of later jobs. Columns and codes are those that the earlier have; what is new is missing."""
    rows = _told(earlier)
    codes: dict[str, dict[str, int]] = {}
    names: dict[str, None] = {}
    for said, read in rows:
        names.update(dict.fromkeys(read))
        for name, word in said.items():
            of_name = codes.setdefault(name, {})
            of_name.setdefault(word, len(of_name))
    return _laid_out(rows, codes, [*names]), _laid_out(_told(later), codes, [*names])


Told = tuple[Mapping[str, str], Mapping[str, float]]
"""Words and numbers, by column."""


def _laid_out(rows: Sequence[Told], codes: Mapping[str, Mapping[str, int]], names: Sequence[str]) -> Features:
    kinds = [[of_name.get(said.get(name, ""), -1) for name, of_name in codes.items()] for said, _ in rows]
    numbers = [[read.get(name, np.nan) for name in names] for _, read in rows]
    return Features(
        np.array(kinds, dtype=np.intp).reshape(len(rows), len(codes)),
        tuple(map(len, codes.values())),
        np.array(numbers, dtype=float).reshape(len(rows), len(names)),
    )


def _told(outcomes: Outcomes) -> list[Told]:
    """Of each row: what was found, the set's group, and what was then repaired if it is asked whether that cured it."""
    by_pattern = [_of_pattern(pattern) for pattern in outcomes.evidence]
    found: list[Told] = []
    for number, by in zip(outcomes.pattern.tolist(), outcomes.by, strict=True):
        said, read = by_pattern[number]
        group = {"group": by[-1]} if by and by[-1] else {}
        repaired = {f"repair {made}": "made" for made in outcomes.first_repair[number]}
        found.append(({**said, **group, **repaired}, read))
    return found


def _of_pattern(pattern: Pattern) -> Told:
    """What a pattern says; of what was seen twice the later."""
    said, read = dict(pattern.given), dict[str, float]()
    nominal = None if pattern.nominal is None else pattern.nominal.volts
    for each in _seen(pattern.items):
        if isinstance(each, Reading):
            volts = float(np.mean([OVER_RANGE_VOLTS if isinf(point) else point for point in each.reached]))
            read[each.observation] = volts
            if nominal:
                read[f"{each.observation} over nominal"] = volts / nominal
        else:
            name, word = each
            said[name] = word
    return said, read


def _seen(items: Sequence[Item]) -> Iterator[Reading | tuple[str, str]]:
    """Readings, and findings as an observation and its state; of an unclear one the likeliest."""
    for item in items:
        if isinstance(item, Together):
            yield from (reading for reading in item.readings if reading.reached)
        elif isinstance(item, Finding):
            yield item.observation, item.state
        elif isinstance(item, SoftFinding):
            yield item.observation, max(item.likelihoods, key=lambda each: each[1])[0]
