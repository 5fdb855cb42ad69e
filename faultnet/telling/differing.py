"""Two versions of a model beside each other."""

from collections.abc import Iterator
from typing import Any

from faultnet.model import Model
from faultnet.model.version import changed
from faultnet.telling.block import Block, Line, Table
from faultnet.telling.chances import share_of, told_state, words_of
from faultnet.telling.medium import Medium

MOST_SHOWN = 20


def differing_json(before: Model, after: Model) -> dict[str, Any]:
    """The numbers in which they differ as plain values, for JSON."""
    numbers = [
        {"id": a.id, "states": [*a.states], "before": [*a.means], "after": [*b.means], "jobs": b.jobs}
        for a, b in changed(before, after)
    ]
    groups = {which: _groups(model) for which, model in (("before", before), ("after", after))}
    return {"before": before.version, "after": after.version, "numbers": numbers, "groups": groups}


def _groups(model: Model) -> dict[str, object] | None:
    """Shares by group as plain values."""
    if model.pooled is None:
        return None
    groups = {value: [*own.shares.means] for value, own in model.pooled.groups.items()}
    return {"column": model.pooled.column, "pull_jobs": model.pooled.pull_jobs, "groups": groups}


def differing_block(before: Model, after: Model, medium: Medium, *, full: bool = False) -> Block:
    """The numbers in which they differ, told. full: all of them."""
    pairs = changed(before, after)
    heading = f"{before.version} and {after.version}"
    if not pairs and before.pooled == after.pooled:
        return Block(heading, lines=(Line("say the same"),))
    rows = []
    for a, b in pairs[: None if full else MOST_SHOWN]:
        n = told_state(a, b)
        rows.append((share_of(a, n), share_of(b, n), f"{b.jobs:.0f}", words_of(after, b, n)))
    beneath = [f"and {len(pairs) - len(rows)} more: {medium.full}"] if len(pairs) > len(rows) else []
    if before.pooled != after.pooled:
        beneath += _groups_told(before, after)
    table = Table(tuple(rows), (before.version, after.version, "jobs", ""), "rrrl", folds=True)
    return Block(heading, table=table, beneath=tuple(map(Line, beneath)))


def _groups_told(before: Model, after: Model) -> Iterator[str]:
    for model in (before, after):
        if model.pooled is None:
            yield f"{model.version} has no shares of groups"
        else:
            column, n = model.pooled.column.replace("_", " "), len(model.pooled.groups)
            yield f"{model.version} has shares by {column} of its own for {n} groups"
