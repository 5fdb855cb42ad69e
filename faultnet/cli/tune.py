"""`faultnet tune`: what past jobs change of a model's numbers, how sure that is, and whether it changes the advice."""

import json
from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np

from faultnet.cli.picture import check_picture, write_picture
from faultnet.cli.progress import counted
from faultnet.cli.terminal import bold, note, table, wrapped, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.cpt import Floats
from faultnet.errors import UsageProblem
from faultnet.learning.conflict import SURPRISING
from faultnet.learning.learn import Change, Learned
from faultnet.model import Model
from faultnet.model.chances import LEAST_JOBS, SHARES, Chances, chances_of, shift
from faultnet.model.pooled import Pooled
from faultnet.model.version import Version
from faultnet.telling.chances import share_of, told_state, words_of
from faultnet.words import percent
from faultnet.workshop.tuning import Tuned, Wanted, tune
from faultnet.workshop.versions import accept, check_named, check_said

SCHEMA_VERSION = 1
MOST_SHOWN = 12
WORTH_TELLING = 0.03
"""Shares whose roots differ by less are as good as equal: 5 and 6.4 %, 40 and 44 %."""

FROM_JOBS, LEAST_STRENGTH, MOST_STRENGTH = "data", 0.01, 100.0

_WHY_NOT = {
    "few": f"rest on fewer than {LEAST_JOBS} jobs",
    "untold": "rest on the file more than on the jobs, which tell them only together with others",
    "blanks": "change in the other direction if half of what nobody wrote down was normal",
}


def strength_of(text: str) -> float | None:
    """What was typed after --strength: a factor, or None for `data`. UsageProblem: neither."""
    if text == FROM_JOBS:
        return None
    try:
        factor = float(text)
    except ValueError:
        factor = 0.0
    if not LEAST_STRENGTH <= factor <= MOST_STRENGTH:
        raise UsageProblem(
            f"--strength {text}: a number from {LEAST_STRENGTH:g} to {MOST_STRENGTH:g}, such as 0.5 for half as much, "
            f"or {FROM_JOBS}"
        )
    return factor


def tune_model(
    wanted: Wanted,
    *,
    accepting: bool,
    by: str,
    reason: str,
    picture: str = "",
    db: str,
    shop: str,
    full: bool,
    as_json: bool,
) -> None:
    """Print what past jobs change; with `accepting`, make it the model's newest version. picture: of the shares."""
    check_picture(picture)
    if accepting:
        check_said(by, reason)
    workshop = workshop_of(db, shop)
    if accepting:
        check_named(workshop, workshop.load_model(wanted.model))
    if picture and workshop.load_model(wanted.model).is_imported:
        raise UsageProblem(f"--picture {picture}: {wanted.model} is an imported network, which has no shares to draw")
    with counted("learning", "rounds") as told:
        tuned = tune(workshop, wanted, lambda _what, n: told(n))
    if picture:
        write_picture(picture, tuned_picture(tuned))
    version = accept(workshop, tuned.learned, tuned.number_in_use, by, reason) if accepting else None
    if as_json:
        print(json.dumps(tuned_json(tuned, version), indent=2))
        return
    print("\n".join(tuned_text(tuned, wanted, full=full)))
    if version is not None:
        print(f"Accepted as {version.id} by {version.by}. Take it back: faultnet model undo {version.model}")
    elif not tuned.learned.converged:
        note("it had not quite settled; more rounds would change it a little")


def tuned_picture(tuned: Tuned) -> str:
    """The shares in use and as learned, with their intervals."""
    from faultnet.pictures.shift import shift_picture

    before, after = (
        next(c for c in all_ if c.id == SHARES) for all_ in (chances_of(tuned.in_use), tuned.learned.chances)
    )
    return shift_picture(tuned.in_use, before, after)


def tuned_text(tuned: Tuned, wanted: Wanted, *, full: bool = False) -> Iterator[str]:
    """What was learned, a line each."""
    learned = tuned.learned
    in_use = {each.id: each for each in chances_of(tuned.in_use)}
    yield bold(f"{tuned.in_use.version} and {learned.n_past} past jobs")
    if learned.n_jobs < learned.n_past:
        yield wrapped(f"{learned.n_jobs} of them, drawn at random, are learned from: all would take too long", 2, 4)
    for why, n in learned.left_out[: None if full else 3]:
        yield wrapped(f"left out, {n}: {why}", 2, 4)
    yield ""
    yield bold("Shares of the confirmed jobs") + "  (in brackets: 90 % interval)"
    shares = next((change for change in learned.changes if change.after.id == SHARES), None)
    yield from [] if shares is None else _shares(tuned.in_use, in_use[SHARES], shares)
    yield ""
    yield from _groups(learned, shares, full=full)
    told = [change for change in learned.changes if not change.why_not and change.after.id != SHARES]
    told.sort(key=lambda change: -shift(in_use[change.after.id], change.after))
    yield bold("What else changes most") + "  (learned: from jobs enough, the same from everywhere)"
    yield from _rows(tuned.in_use, in_use, told[: None if full else MOST_SHOWN])
    yield ""
    yield from _written(learned)
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


def _groups(learned: Learned, shares: Change | None, *, full: bool) -> Iterator[str]:
    """Every group beside the shop, with the mode in which it differs most."""
    pooled = learned.pooled
    if pooled is None or shares is None:
        return
    yield bold(f"Shares by {pooled.column.replace('_', ' ')}") + "  (what differs most from the whole shop)"
    apart = {value: _apart(shares.after, own.shares) for value, own in pooled.groups.items()}
    telling = sorted((v for v in apart if apart[v].max() >= WORTH_TELLING), key=lambda v: -apart[v].max())
    rows = [("jobs", "group", "", "shop", "group")]
    for value in telling[: None if full else MOST_SHOWN]:
        own, n = pooled.groups[value].shares, int(np.argmax(apart[value]))
        rows.append((f"{own.jobs:.0f}", value, own.states[n], percent(shares.after.means[n]), share_of(own, n)))
    if telling:
        yield from table(rows, "rllrr")
    if len(apart) > len(rows) - 1:
        more = len(telling) - len(rows) + 1
        like = len(apart) - len(telling)
        said = f"{like} group{'' if like == 1 else 's'} like the whole shop" if like else "all groups tell"
        yield f"  {said}" + (f"; {more} more: --full" if more else "")
    yield wrapped(
        f"Each is drawn towards the shop as if it had seen {pooled.pull_jobs:.0f} of the shop's jobs besides its own "
        f"({pooled.low:.0f} to {pooled.high:.0f} by how far groups differ).",
        2,
    )
    yield ""


def _written(learned: Learned) -> Iterator[str]:
    """How often results that are always looked at are written down."""
    if not learned.written:
        return
    yield bold("Written down") + "  (of what nearly every job looks at; a blank counts accordingly)"
    rows = [("normal", "other", "")]
    rows += [(percent(normal), percent(other), leaf) for leaf, (normal, other) in learned.written.items()]
    yield from table(rows, "rrl")
    yield ""


def _apart(shop: Chances, group: Chances) -> Floats:
    """How far the shares of a group are from the shop's, on the scale on which their spread is even."""
    apart: Floats = np.abs(np.sqrt(group.means) - np.sqrt(shop.means))
    return apart


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
    factor = wanted.strength or 1.0
    rows_jobs = factor * learned.rows_factor * strength.rows_jobs
    by_jobs = f", {strength.rows_jobs:g} by the file" if wanted.strength is None else ""
    third = (
        f"Of the file's numbers a share counts as {factor * strength.shares_jobs:g} jobs already seen and a table row "
        f"as {rows_jobs:.3g}{by_jobs} (--strength changes that); nothing is changed until you say --accept, with --by "
        "and --reason."
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
