"""`faultnet history summary`: what the shop's jobs amount to."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import asdict

from faultnet.cli.terminal import bar, bold, table, wrapped, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.jobs.closing import OUTCOMES, VERIFICATIONS
from faultnet.jobs.stage import STAGES
from faultnet.shop.groups import PanelGroups
from faultnet.store.summary import Counts, Summary, summarize
from faultnet.words import percent

MOST_SHOWN = 12
SCHEMA_VERSION = 1


def show_summary(*, db: str, shop: str, as_json: bool) -> None:
    """Print the counts."""
    workshop = workshop_of(db, shop)
    with workshop.database.read() as connection:
        found = summarize(connection)
    if as_json:
        groups = by_group(found.by_panel, workshop.shop.panel_groups)
        print(json.dumps({"schema_version": SCHEMA_VERSION, **asdict(found), "by_panel_group": groups}, indent=2))
    elif not found.n_jobs:
        print("No jobs yet: faultnet job open, or faultnet history import FILE")
    else:
        print("\n".join(_text(found, workshop.shop.panel_groups)))


def _text(found: Summary, groups: PanelGroups) -> Iterator[str]:
    first, last = min(found.by_month), max(found.by_month)
    yield wrapped(f"{found.n_jobs} jobs from {first} to {last}, {found.n_comebacks} of them comebacks", 0, 2)
    yield ""
    yield bold("How they ended") + "  (counts; of all jobs)"
    yield from _bars(found.by_outcome, OUTCOMES, found.n_jobs)
    yield ""
    yield bold("How the cause of those fixed was verified")
    yield from _bars(found.by_verification, VERIFICATIONS, sum(found.by_verification.values()))
    yield ""
    yield bold("What cured them") + "  (the last repair of jobs that were fixed)"
    rows = [("", "verified", "not verified")]
    rows += [(name, str(sure), str(other)) for name, (sure, other) in [*found.cured_by.items()][:MOST_SHOWN]]
    yield from wrapped_table(rows, "lrr") if found.cured_by else ("  none",)
    yield ""
    yield bold("How often each test is recorded") + "  (jobs)"
    yield from _bars(found.tests, {}, found.n_jobs)
    yield ""
    yield bold("Not recorded") + "  (jobs)"
    yield from _bars(found.gaps, {}, found.n_jobs)
    yield ""
    if groups.codes:
        yield bold("By panel group") + "  (jobs)"
        named = {name or "none written": n for name, n in by_group(found.by_panel, groups).items()}
        yield from _bars(dict([*named.items()][:MOST_SHOWN]), {}, found.n_jobs)
        yield ""
    yield bold("By panel code") + "  (jobs; the most frequent)"
    shown = {name or "none written": n for name, n in [*found.by_panel.items()][:MOST_SHOWN]}
    yield from _bars(shown, {}, found.n_jobs)
    yield ""
    yield bold("By month") + "  (jobs that came in)"
    yield from _years(found.by_month)
    if any(stage not in ("done", "watched") for stage in found.by_stage):
        yield ""
        yield bold("Now")
        yield from _bars(found.by_stage, STAGES, found.n_jobs)


def by_group(by_panel: Counts, groups: PanelGroups) -> dict[str, int]:
    """Jobs by panel group, the most frequent first; a code in none by itself, "" where nobody wrote one."""
    counts: Counter[str] = Counter()
    for code, n in by_panel.items():
        counts[groups.group_of(code)] += n
    return dict(counts.most_common())


def _bars(counts: Counts, words: Mapping[str, str], n_all: int) -> Iterator[str]:
    rows = [
        (words.get(name, name), bar(n / max(1, n_all), 12), str(n), percent(n / max(1, n_all)) if n else "none")
        for name, n in counts.items()
    ]
    yield from table(rows, "llrr") if rows else ("  none",)


def _years(by_month: Counts) -> Iterator[str]:
    """A line a year, its months side by side."""
    years = sorted({month[:4] for month in by_month})
    rows = [("", *(f"{m:02}" for m in range(1, 13)))]
    rows += [(year, *(str(by_month.get(f"{year}-{m:02}", "")) for m in range(1, 13))) for year in years]
    yield from table(rows, "l" + "r" * 12)
