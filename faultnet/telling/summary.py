"""What the shop's jobs amount to, told: counts beneath headings, each beside what it is a part of."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from faultnet.jobs.closing import OUTCOMES, VERIFICATIONS
from faultnet.jobs.stage import STAGES
from faultnet.shop.groups import PanelGroups
from faultnet.store.summary import Counts, Summary
from faultnet.telling.block import Table
from faultnet.words import percent

MOST_SHOWN = 12
SCHEMA_VERSION = 1

_OVER = ("done", "watched")
"""Stages of jobs that nobody works on any more."""


@dataclass(frozen=True)
class Bar:
    """A count of something, and the number of jobs that it is a part of."""

    words: str
    n: int
    n_all: int

    @property
    def share(self) -> float:
        """The part it is, from 0 to 1."""
        return self.n / max(1, self.n_all)

    @property
    def told(self) -> str:
        """The part in words: "31 %", "none"."""
        return percent(self.share) if self.n else "none"


@dataclass(frozen=True)
class Part:
    """Counts beneath a heading, as bars or as a table; aside: what to know beside the heading."""

    heading: str
    aside: str = ""
    bars: tuple[Bar, ...] = ()
    table: Table | None = None


def headline(found: Summary) -> str:
    """How many jobs from when to when; there must be some."""
    first, last = min(found.by_month), max(found.by_month)
    return f"{found.n_jobs} jobs from {first} to {last}, {found.n_comebacks} of them comebacks"


def summary_parts(found: Summary, groups: PanelGroups, names: Mapping[str, str] | None = None) -> Iterator[Part]:
    """All that is told of jobs, of which there must be some. names: of tests and repairs; None for their ids."""
    n_fixed = sum(found.by_verification.values())
    yield _bars("How they ended", "counts; of all jobs", found.by_outcome, found.n_jobs, OUTCOMES)
    yield _bars("How the cause of those fixed was verified", "", found.by_verification, n_fixed, VERIFICATIONS)
    yield Part("What cured them", "the last repair of jobs that were fixed", table=_cures(found, names))
    yield _bars("How often each test is recorded", "jobs", found.tests, found.n_jobs, names)
    yield _bars("Not recorded", "jobs", found.gaps, found.n_jobs)
    if groups.codes:
        yield _bars("By panel group", "jobs", _first(by_group(found.by_panel, groups)), found.n_jobs)
    yield _bars("By panel code", "jobs; the most frequent", _first(found.by_panel), found.n_jobs)
    yield Part("By month", "jobs that came in", table=_years(found.by_month))
    if any(stage not in _OVER for stage in found.by_stage):
        yield _bars("Now", "", found.by_stage, found.n_jobs, STAGES)


def summary_json(found: Summary, groups: PanelGroups) -> dict[str, Any]:
    """The same as plain values, for JSON."""
    return {"schema_version": SCHEMA_VERSION, **asdict(found), "by_panel_group": by_group(found.by_panel, groups)}


def by_group(by_panel: Counts, groups: PanelGroups) -> dict[str, int]:
    """Jobs by panel group, the most frequent first; a code in none by itself, "" where nobody wrote one."""
    counts: Counter[str] = Counter()
    for code, n in by_panel.items():
        counts[groups.group_of(code)] += n
    return dict(counts.most_common())


def _bars(heading: str, aside: str, counts: Counts, n_all: int, words: Mapping[str, str] | None = None) -> Part:
    named = words or {}
    return Part(heading, aside, tuple(Bar(named.get(name, name), n, n_all) for name, n in counts.items()))


def _first(counts: Counts) -> Counts:
    """The first of the counts by code."""
    return {name or "none written": n for name, n in [*counts.items()][:MOST_SHOWN]}


def _cures(found: Summary, names: Mapping[str, str] | None) -> Table | None:
    """None where nothing cured any."""
    cured = [*found.cured_by.items()][:MOST_SHOWN]
    rows = tuple((_together(repairs, names), str(sure), str(other)) for repairs, (sure, other) in cured)
    return Table(rows, ("", "verified", "not verified"), "lrr", folds=True) if rows else None


def _together(repairs: str, names: Mapping[str, str] | None) -> str:
    """Repairs that were made at once."""
    return repairs if names is None else " + ".join(names.get(each, each) for each in repairs.split("+"))


def _years(by_month: Counts) -> Table:
    """A row a year, its months side by side."""
    years = sorted({month[:4] for month in by_month})
    rows = tuple((year, *(str(by_month.get(f"{year}-{m:02}", "")) for m in range(1, 13))) for year in years)
    return Table(rows, ("", *(f"{m:02}" for m in range(1, 13))), "l" + "r" * 12)
