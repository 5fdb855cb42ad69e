"""`faultnet history summary`: what the shop's jobs amount to."""

import json
from collections.abc import Iterator

from faultnet.cli.blocks import table_lines
from faultnet.cli.terminal import bar, bold, table, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.store.summary import summarize
from faultnet.telling.summary import Bar, Part, headline, summary_json, summary_parts

_NONE = "  none"


def show_summary(*, db: str, shop: str, as_json: bool) -> None:
    """Print the counts."""
    workshop = workshop_of(db, shop)
    groups = workshop.shop.panel_groups
    with workshop.database.read() as connection:
        found = summarize(connection)
    if as_json:
        print(json.dumps(summary_json(found, groups), indent=2))
    elif not found.n_jobs:
        print("No jobs yet: faultnet job open, or faultnet history import FILE")
    else:
        told = [[wrapped(headline(found), 0, 2)], *(_lines(part) for part in summary_parts(found, groups))]
        print("\n\n".join("\n".join(lines) for lines in told))


def _lines(part: Part) -> Iterator[str]:
    yield bold(part.heading) + (f"  ({part.aside})" if part.aside else "")
    if part.table is not None:
        yield from table_lines(part.table)
    else:
        yield from table(map(_row, part.bars), "llrr") if part.bars else (_NONE,)


def _row(each: Bar) -> tuple[str, str, str, str]:
    return each.words, bar(each.share, 12), str(each.n), each.told
