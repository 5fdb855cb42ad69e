"""`faultnet tune`: what past jobs change of a model's numbers, how sure that is, and whether it changes the advice."""

import json
from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np

from faultnet.cli.chances import share_of, told_state, words_of
from faultnet.cli.progress import counted
from faultnet.cli.terminal import bold, note, table, wrapped, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.learning.conflict import SURPRISING
from faultnet.learning.learn import Change, Learned
from faultnet.model import Model
from faultnet.model.chances import LEAST_JOBS, SHARES, Chances, chances_of, shift
from faultnet.model.version import Version
from faultnet.words import percent
from faultnet.workshop.tuning import Tuned, Wanted, tune
from faultnet.workshop.versions import accept, check_named, check_said

SCHEMA_VERSION = 1
MOST_SHOWN = 12

_WHY_NOT = {
    "few": f"rest on fewer than {LEAST_JOBS} jobs",
    "untold": "rest on the file more than on the jobs, which tell them only together with others",
    "blanks": "change in the other direction if half of what nobody wrote down was normal",
}


def tune_model(
    wanted: Wanted, *, accepting: bool, by: str, reason: str, db: str, shop: str, full: bool, as_json: bool
) -> None:
    """Print what past jobs change; with `accepting`, make it the model's newest version."""
    if accepting:
        check_said(by, reason)
    workshop = workshop_of(db, shop)
    if accepting:
        check_named(workshop, workshop.load_model(wanted.model))
    with counted("learning", "rounds") as told:
        tuned = tune(workshop, wanted, lambda _what, n: told(n))
    version = accept(workshop, tuned.learned, tuned.number_in_use, by, reason) if accepting else None
    if as_json:
        print(json.dumps(tuned_json(tuned, version), indent=2))
        return
    print("\n".join(tuned_text(tuned, wanted, full=full)))
    if version is not None:
        print(f"Accepted as {version.id} by {version.by}. Take it back: faultnet model undo {version.model}")
    elif not tuned.learned.converged:
        note("it had not quite settled; more rounds would change it a little")


def tuned_text(tuned: Tuned, wanted: Wanted, *, full: bool = False) -> Iterator[str]:
    """What was learned, a line each."""
    learned = tuned.learned
    in_use = {each.id: each for each in chances_of(tuned.in_use)}
    yield bold(f"{tuned.in_use.version} and {learned.n_jobs} past jobs")
    for why, n in learned.left_out[: None if full else 3]:
        yield wrapped(f"left out, {n}: {why}", 2, 4)
    yield ""
    yield bold("Shares of the confirmed jobs") + "  (in brackets: 90 % interval)"
    shares = next((change for change in learned.changes if change.after.id == SHARES), None)
    yield from [] if shares is None else _shares(tuned.in_use, in_use[SHARES], shares)
    yield ""
    told = [change for change in learned.changes if not change.why_not and change.after.id != SHARES]
    told.sort(key=lambda change: -shift(in_use[change.after.id], change.after))
    yield bold("What else changes most") + "  (learned: from jobs enough, the same from everywhere)"
    yield from _rows(tuned.in_use, in_use, told[: None if full else MOST_SHOWN])
    yield ""
    others = Counter(change.why_not for change in learned.changes if change.why_not)
    if others:
        yield bold("Not called learned")
        yield from (wrapped(f"{n} numbers {_WHY_NOT[why]}", 2, 4) for why, n in others.most_common())
        yield ""
    if odd := [c for c in learned.changes if c.surprise is not None and c.surprise < SURPRISING]:
        yield bold("Jobs against the file") + f"  (less likely than {percent(SURPRISING)} by its own numbers)"
        yield from _rows(
            tuned.in_use, {each.before.id: each.before for each in odd}, odd[: None if full else MOST_SHOWN]
        )
        yield ""
    yield from (wrapped(sentence, 0) for sentence in closing(tuned, wanted))


def _shares(model: Model, before: Chances, shares: Change) -> Iterator[str]:
    order = np.argsort(-np.abs(np.array(shares.after.means) - before.means))
    rows = [("", "in use", "learned", "jobs")]
    for n in order:
        mode = model.modes[int(n)]
        jobs = shares.after.means[n] * shares.after.jobs
        rows.append((str(mode), share_of(before, int(n)), share_of(shares.after, int(n)), f"{jobs:.0f}"))
    yield from table(rows, "lrrr")


def _rows(model: Model, in_use: dict[str, Chances], changes: list[Change]) -> Iterator[str]:
    if not changes:
        yield "  nothing"
        return
    rows = [("in use", "learned", "jobs", "")]
    for change in changes:
        before = in_use[change.after.id]
        n = told_state(before, change.after)
        words = words_of(model, change.after, n)
        rows.append((share_of(before, n), share_of(change.after, n), f"{change.after.jobs:.0f}", words))
    yield from wrapped_table(rows, "rrrl")


def closing(tuned: Tuned, wanted: Wanted) -> list[str]:
    """Three sentences: whether the jobs are better described, what it does to the advice, what to do."""
    learned = tuned.learned
    gain = learned.log_score_after - learned.log_score_before
    changed = sum(each.before != each.after for each in tuned.advised)
    first = (
        f"A job of these is on average {np.exp(gain):.2f} times as likely with the learned numbers as with the "
        f"file's ({gain:+.3f} nats), on the jobs they were learned from."
    )
    second = (
        f"On {changed} of the last {len(tuned.advised)} jobs the advice before the first repair would have been "
        "another."
        if tuned.advised
        else "Whether the advice would change is not known: none of the shop's own jobs was looked at."
    )
    strength = learned.model.strength
    shares_jobs, rows_jobs = wanted.strength * strength.shares_jobs, wanted.strength * strength.rows_jobs
    third = (
        f"Of the file's numbers a share counts as {shares_jobs:g} jobs already seen and a table row as {rows_jobs:g} "
        "(--strength changes that); nothing is changed until you say --accept, with --by and --reason."
    )
    return [first, second, third]


def tuned_json(tuned: Tuned, version: Version | None = None) -> dict[str, Any]:
    """The same as plain values."""
    learned = tuned.learned
    in_use = {each.id: each for each in chances_of(tuned.in_use)}
    return {
        "schema_version": SCHEMA_VERSION,
        "model": learned.model.id,
        "in_use": tuned.in_use.version,
        "accepted": None if version is None else version.id,
        "jobs": learned.n_jobs,
        "left_out": [{"why": why, "jobs": n} for why, n in learned.left_out],
        "log_score_before": learned.log_score_before,
        "log_score_after": learned.log_score_after,
        "rounds": learned.steps,
        "converged": learned.converged,
        "numbers": [_change_json(learned, in_use[change.after.id], change) for change in learned.changes],
        "advice": [{"job": a.number, "before": a.before, "after": a.after} for a in tuned.advised],
    }


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
