"""Sets in service, and how often jobs come of them: per 1,000 set-years."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from scipy.special import gammaincinv

from faultnet.analysis.values import NOT_WRITTEN, Values, shown
from faultnet.counting.columns import names_of_columns
from faultnet.cpt import Floats
from faultnet.errors import FileProblem, PlacedProblem, Problem
from faultnet.jobs.codes import code_key
from faultnet.model import Model
from faultnet.sheets.read import Row, read_table
from faultnet.statistics.estimate import LEVEL, Estimate
from faultnet.statistics.group_rates import group_rates
from faultnet.statistics.occurrences import Rate, gamma_rate
from faultnet.statistics.shares import LEAST_GROUPS

SETS, YEARS, FROM, TO = "sets", "years", "from", "to"
PER = 1_000
"""Rates are per so many set-years."""

_DAYS_A_YEAR = 365.25
_N_QUANTILES, _NEGLIGIBLE = 401, 1e-9


@dataclass(frozen=True)
class InService:
    """Set-years by group, as shown; of all sets as ()."""

    set_years: Mapping[Values, float]

    def matched(self, groups: Iterable[Values]) -> dict[Values, float]:
        """Set-years of these groups, however their values are written, and of others that are in service.

        () is all that is in service.
        """
        known = {tuple(map(code_key, values)): values for values in groups}
        found: dict[Values, float] = {}
        for values, years in self.set_years.items():
            own = known.get(tuple(map(code_key, values)), values)
            found[own] = found.get(own, 0.0) + years
        return found


@dataclass(frozen=True)
class Occurrence:
    """Jobs of a group per 1,000 set-years: jobs, set_years; by itself, and drawn towards the other groups."""

    values: Values
    jobs: int
    set_years: float
    rate: Estimate
    pooled: Estimate | None


def read_in_service(
    file: Path, model: Model, by: Sequence[str] = (), *, since: str = "", before: str = "", decimal_comma: bool = False
) -> InService:
    """Sets in service from a table: `sets`, and `years` that each was in service or the days `from` and `to`; with the
    columns counted by, and more if you like.

    since, before: of days only the part between them counts, as of jobs. PlacedProblem: every row nobody can read;
    FileProblem: no table, or columns are missing.
    """
    table = read_table(file)
    place = {name.strip().lower().replace(" ", "_"): n for n, name in enumerate(table.columns)}
    _check(file, place, model, by)
    reader = _Reader(place, by, _day(since), _day(before), decimal_comma)
    total: dict[Values, float] = {}
    problems: list[Problem] = []
    for row in table.rows:
        values, set_years = reader.read(row, problems)
        for group in dict.fromkeys([(), values]):
            total[group] = total.get(group, 0.0) + set_years
    if problems:
        raise PlacedProblem(str(file), [each.printable() for each in problems])
    if not total.get((), 0.0) > 0:
        raise FileProblem(f"{file}: no set was in service in the time that is counted")
    return InService(total)


def _check(file: Path, place: Mapping[str, int], model: Model, by: Sequence[str]) -> None:
    """FileProblem: what the table lacks."""
    missing = [each for each in (SETS, *by) if each not in place]
    if YEARS not in place and not {FROM, TO} <= place.keys():
        missing.append(f"{YEARS} (or {FROM} and {TO})")
    if missing:
        known = ", ".join(names_of_columns(model))
        raise FileProblem(f"{file}: no column {', '.join(missing)}; beside the numbers it may have {known}")


@dataclass(frozen=True)
class _Reader:
    place: Mapping[str, int]
    by: Sequence[str]
    since: date | None
    before: date | None
    decimal_comma: bool

    def read(self, row: Row, problems: list[Problem]) -> tuple[Values, float]:
        """The group of a row and its set-years; what is wrong is added to the problems."""
        found: list[str] = []
        sets = self._number(row, SETS, found)
        years = self._number(row, YEARS, found) if YEARS in self.place else self._between(row, found)
        problems += [Problem("", each, row.number) for each in found]
        return shown([self._cell(row, name) for name in self.by], self.by), sets * years

    def _cell(self, row: Row, name: str) -> str:
        place = self.place[name]
        return row.cells[place].strip() if place < len(row.cells) else ""

    def _number(self, row: Row, name: str, found: list[str]) -> float:
        text = self._cell(row, name)
        try:
            value = float(text.replace(",", ".") if self.decimal_comma else text)
            if value >= 0 and np.isfinite(value):
                return value
        except ValueError:
            pass
        found.append(f"{name}: {text or 'nothing'} is no number from 0 on")
        return 0.0

    def _between(self, row: Row, found: list[str]) -> float:
        days = [_day(self._cell(row, name)) for name in (FROM, TO)]
        for name, day in zip((FROM, TO), days, strict=True):
            if day is None:
                found.append(f"{name}: {self._cell(row, name) or 'nothing'} is no day; write it as 2031-05-17")
        if None in days:
            return 0.0
        first, last = (day or date.min for day in days)
        if first > last:
            found.append(f"{FROM} {first} comes after {TO} {last}")
            return 0.0
        first, last = max(first, self.since or first), min(last, self.before or last)
        return max(0, (last - first).days) / _DAYS_A_YEAR


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def occurrences(jobs: Mapping[Values, int], set_years: Mapping[Values, float]) -> tuple[Occurrence, ...]:
    """Jobs of every group with sets in service per 1,000 set-years, first of all these groups together, as ().

    jobs: by group, with all of them as (); set_years: matched to them. A group without a job is one with none in its
    set-years. Gamma-Poisson with Jeffreys' prior; pooled: the groups' rates are gamma around a common one.
    """
    groups = [values for values in dict.fromkeys([*jobs, *set_years]) if values and set_years.get(values, 0.0) > 0]
    counts = {values: jobs.get(values, 0) for values in groups}
    of_all = sum(counts.values()) if groups else jobs[()]
    named = [values for values in groups if NOT_WRITTEN not in values]
    pooled: dict[Values, Estimate] = {}
    if len(named) >= LEAST_GROUPS:
        found = group_rates([counts[v] for v in named], [set_years[v] / PER for v in named])
        each = zip(named, found.mean.tolist(), found.low.tolist(), found.high.tolist(), strict=True)
        pooled = {values: Estimate(*told) for values, *told in each}
    return tuple(
        Occurrence(values, n, set_years[values], _rate(n, set_years[values]), pooled.get(values))
        for values, n in {(): of_all, **counts}.items()
        if set_years.get(values, 0.0) > 0
    )


def _rate(jobs: int, set_years: float) -> Estimate:
    rate = gamma_rate(jobs, set_years / PER)
    return Estimate(rate.mean, rate.low, rate.high)


def of_cause(jobs: int, set_years: float, chances: Floats, shares: Floats) -> Estimate:
    """Jobs with one cause per 1,000 set-years: the rate of jobs times the cause's share, whose chances are given.

    chances, shares: ``(n_nodes,)``. Mean and central interval of the product of the two.
    """
    rate: Rate = gamma_rate(jobs, set_years / PER)
    kept = chances > _NEGLIGIBLE * chances.max()
    tails = (np.arange(_N_QUANTILES) + 0.5) / _N_QUANTILES
    product = (gammaincinv(rate.shape, tails) / rate.exposure)[:, None] * shares[kept]
    weight = np.broadcast_to(chances[kept] / _N_QUANTILES, product.shape).reshape(-1)
    order = np.argsort(product, axis=None)
    values, up_to = product.reshape(-1)[order], np.cumsum(weight[order])
    low, high = np.interp([(1 - LEVEL) / 2, (1 + LEVEL) / 2], up_to / up_to[-1], values).tolist()
    return Estimate(rate.mean * float(chances @ shares), low, high)
