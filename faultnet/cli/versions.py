"""`faultnet model diff` and `undo`: versions of a model beside each other, and back."""

import json
from collections.abc import Iterator

from faultnet.cli.terminal import bold, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.model import Model
from faultnet.model.version import changed
from faultnet.telling.chances import share_of, told_state, words_of
from faultnet.workshop.versions import take_back

MOST_SHOWN = 20


def diff(one: str, other: str, *, db: str, shop: str, full: bool, as_json: bool) -> None:
    """Print the numbers in which two versions differ; of one alone, beside the file as written."""
    workshop = workshop_of(db, shop)
    after = workshop.load_model(one)
    before = workshop.load_model(other or f"{after.id}@0")
    if other:
        before, after = after, before
    if before.id != after.id:
        raise UsageProblem(
            f"{before.id} and {after.id} are different models; a version is compared with another of its own"
        )
    pairs = changed(before, after)
    if as_json:
        numbers = [
            {"id": a.id, "states": [*a.states], "before": [*a.means], "after": [*b.means], "jobs": b.jobs}
            for a, b in pairs
        ]
        groups = {which: _groups(model) for which, model in (("before", before), ("after", after))}
        found = {"before": before.version, "after": after.version, "numbers": numbers, "groups": groups}
        print(json.dumps(found, indent=2))
        return
    print(bold(f"{before.version} and {after.version}"))
    if not pairs and before.pooled == after.pooled:
        print("  say the same")
        return
    rows = [(before.version, after.version, "jobs", "")]
    for a, b in pairs[: None if full else MOST_SHOWN]:
        n = told_state(a, b)
        rows.append((share_of(a, n), share_of(b, n), f"{b.jobs:.0f}", words_of(after, b, n)))
    print("\n".join(wrapped_table(rows, "rrrl")))
    if len(pairs) > len(rows) - 1:
        print(f"  and {len(pairs) - len(rows) + 1} more: --full")
    if before.pooled != after.pooled:
        print("\n".join(_groups_text(before, after)))


def _groups(model: Model) -> dict[str, object] | None:
    """Shares by group as plain values."""
    if model.pooled is None:
        return None
    groups = {value: [*own.shares.means] for value, own in model.pooled.groups.items()}
    return {"column": model.pooled.column, "pull_jobs": model.pooled.pull_jobs, "groups": groups}


def _groups_text(before: Model, after: Model) -> Iterator[str]:
    for model in (before, after):
        if model.pooled is None:
            yield f"  {model.version} has no shares of groups"
        else:
            column, n = model.pooled.column.replace("_", " "), len(model.pooled.groups)
            yield f"  {model.version} has shares by {column} of its own for {n} groups"


def undo(model: str, *, by: str, reason: str, db: str, shop: str, as_json: bool) -> None:
    """Take the newest version of a model back."""
    workshop = workshop_of(db, shop)
    version = take_back(workshop, workshop.load_model(f"{model.partition('@')[0]}@0").id, by, reason)
    if as_json:
        print(json.dumps({"version": version.id, "undoes": version.undoes}, indent=2))
        return
    same = f"{version.model}@{version.undoes}"
    print(
        f"{same} was taken back: {version.id} has the numbers from before it. Nothing is lost; {same} can be looked at."
    )
