"""The answer of `faultnet tune` as JSON."""

from typing import Any

from faultnet.learning.learn import Change, Learned
from faultnet.model.chances import Chances, chances_of
from faultnet.model.pooled import Pooled
from faultnet.model.version import Version
from faultnet.telling.chances import words_of
from faultnet.workshop.tuning import Tuned

SCHEMA_VERSION = 1


def tuned_json(tuned: Tuned, version: Version | None = None) -> dict[str, Any]:
    """What was learned as plain values. version: as which it was accepted, if so."""
    learned = tuned.learned
    in_use = {each.id: each for each in chances_of(tuned.in_use)}
    return {
        "schema_version": SCHEMA_VERSION,
        "model": learned.model.id,
        "in_use": tuned.in_use.version,
        "accepted": None if version is None else version.id,
        "jobs": learned.n_jobs,
        "past_jobs": learned.n_past,
        "left_out": [{"why": why, "jobs": n} for why, n in learned.left_out],
        "log_score_before": learned.log_score_before,
        "log_score_after": learned.log_score_after,
        "rounds": learned.steps,
        "converged": learned.converged,
        "numbers": [_change_json(learned, in_use[change.after.id], change) for change in learned.changes],
        "written": {leaf: {"normal": n, "other": o} for leaf, (n, o) in learned.written.items()},
        "rows_count_for_times": learned.rows_factor,
        "groups": None if learned.pooled is None else _groups_json(learned.pooled),
        "advice": [{"job": a.number, "before": a.before, "after": a.after} for a in tuned.advised],
    }


def _groups_json(pooled: Pooled) -> dict[str, Any]:
    groups = []
    for value, own in pooled.groups.items():
        states = [
            {
                "state": state,
                "learned": own.shares.means[n],
                **dict(zip(("low", "high"), own.shares.interval(n), strict=True)),
            }
            for n, state in enumerate(own.shares.states)
        ]
        groups.append(
            {"value": value, "jobs": own.shares.jobs, "strength_jobs": own.shares.strength_jobs, "states": states}
        )
    pull = {"pull_jobs": pooled.pull_jobs, "low": pooled.low, "high": pooled.high}
    return {"column": pooled.column, **pull, "groups": groups}


def _change_json(learned: Learned, in_use: Chances, change: Change) -> dict[str, Any]:
    states = []
    for n, state in enumerate(change.after.states):
        low, high = change.after.interval(n)
        own = {
            "state": state,
            "file": change.before.means[n],
            "in_use": in_use.means[n],
            "learned": change.after.means[n],
        }
        states.append({**own, "low": low, "high": high})
    return {
        "id": change.after.id,
        "words": words_of(learned.model, change.after, None),
        "jobs": change.after.jobs,
        "strength_jobs": change.after.strength_jobs,
        "source": "learned" if not change.why_not else "mixed" if change.after.jobs else "seed",
        "why_not": change.why_not,
        "surprise": change.surprise,
        "states": states,
    }
