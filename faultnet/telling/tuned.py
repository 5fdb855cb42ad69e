"""What past jobs change of a model's numbers, how sure that is, and whether it changes the advice."""

from collections import Counter
from collections.abc import Iterator

import numpy as np

from faultnet.cpt import Floats
from faultnet.learning.conflict import SURPRISING
from faultnet.learning.learn import Change, Learned
from faultnet.model import Model
from faultnet.model.chances import LEAST_JOBS, SHARES, Chances, chances_of, shift
from faultnet.pictures.shift import shift_picture
from faultnet.telling.block import Block, Line, Table, points
from faultnet.telling.chances import share_of, told_state, words_of
from faultnet.telling.medium import Medium
from faultnet.words import percent
from faultnet.workshop.tuning import Tuned, Wanted

MOST_SHOWN = 12
WORTH_TELLING = 0.03
"""Shares whose roots differ by less are as good as equal: 5 and 6.4 %, 40 and 44 %."""

_WHY_NOT = {
    "few": f"rest on fewer than {LEAST_JOBS} jobs",
    "untold": "rest on the file more than on the jobs, which tell them only together with others",
    "blanks": "change in the other direction if half of what nobody wrote down was normal",
}


def tuned_picture(tuned: Tuned) -> str:
    """The shares in use and as learned, with their intervals, as SVG."""
    before, after = (
        next(c for c in all_ if c.id == SHARES) for all_ in (chances_of(tuned.in_use), tuned.learned.chances)
    )
    return shift_picture(tuned.in_use, before, after)


def tuned_blocks(tuned: Tuned, wanted: Wanted, medium: Medium, *, full: bool = False) -> Iterator[Block]:
    """What was learned. full: every number."""
    learned = tuned.learned
    in_use = {each.id: each for each in chances_of(tuned.in_use)}
    yield Block(
        f"{tuned.in_use.version} and {learned.n_past} past jobs", lines=points(_learned_from(learned, full=full))
    )
    shares = next((change for change in learned.changes if change.after.id == SHARES), None)
    yield Block(
        "Shares of the confirmed jobs",
        "in brackets: 90 % interval",
        table=None if shares is None else _shares(tuned.in_use, in_use[SHARES], shares),
    )
    yield from _groups(learned, shares, medium, full=full)
    told = [change for change in learned.changes if not change.why_not and change.after.id != SHARES]
    told.sort(key=lambda change: -shift(in_use[change.after.id], change.after))
    what_else = "What else changes most", "learned: from jobs enough, the same from everywhere"
    yield _changes(*what_else, tuned.in_use, in_use, told, full=full)
    yield from _written(learned)
    if others := Counter(change.why_not for change in learned.changes if change.why_not):
        said = points(f"{n} numbers {_WHY_NOT[why]}" for why, n in others.most_common())
        yield Block("Not called learned", lines=said)
    if odd := [c for c in learned.changes if c.surprise is not None and c.surprise < SURPRISING]:
        against = "Jobs against the file", f"less likely than {percent(SURPRISING)} by its own numbers"
        yield _changes(*against, tuned.in_use, {each.before.id: each.before for each in odd}, odd, full=full)
    yield Block(lines=tuple(Line(sentence, 0) for sentence in _closing(tuned, wanted, medium)))


def _learned_from(learned: Learned, *, full: bool) -> Iterator[str]:
    if learned.n_jobs < learned.n_past:
        yield f"{learned.n_jobs} of them, drawn at random, are learned from: all would take too long"
    for why, n in learned.left_out[: None if full else 3]:
        yield f"left out, {n}: {why}"


def _shares(model: Model, before: Chances, shares: Change) -> Table:
    order = np.argsort(-np.abs(np.array(shares.after.means) - before.means))
    rows = []
    for n in map(int, order):
        jobs = shares.after.means[n] * shares.after.jobs
        rows.append((str(model.modes[n]), share_of(before, n), share_of(shares.after, n), f"{jobs:.0f}"))
    return Table(tuple(rows), ("", "in use", "learned", "jobs"), "lrrr")


def _groups(learned: Learned, shares: Change | None, medium: Medium, *, full: bool) -> Iterator[Block]:
    """Every group beside the shop, with the mode in which it differs most."""
    pooled = learned.pooled
    if pooled is None or shares is None:
        return
    apart = {value: _apart(shares.after, own.shares) for value, own in pooled.groups.items()}
    telling = sorted((v for v in apart if apart[v].max() >= WORTH_TELLING), key=lambda v: -apart[v].max())
    rows = []
    for value in telling[: None if full else MOST_SHOWN]:
        own, n = pooled.groups[value].shares, int(np.argmax(apart[value]))
        rows.append((f"{own.jobs:.0f}", value, own.states[n], percent(shares.after.means[n]), share_of(own, n)))
    beneath = []
    if len(apart) > len(rows):
        more = len(telling) - len(rows)
        like = len(apart) - len(telling)
        said = f"{like} group{'' if like == 1 else 's'} like the whole shop" if like else "all groups tell"
        beneath.append(said + (f"; {more} more: {medium.full}" if more else ""))
    beneath.append(
        f"Each is drawn towards the shop as if it had seen {pooled.pull_jobs:.0f} of the shop's jobs besides its own "
        f"({pooled.low:.0f} to {pooled.high:.0f} by how far groups differ)."
    )
    yield Block(
        f"Shares by {pooled.column.replace('_', ' ')}",
        "what differs most from the whole shop",
        table=Table(tuple(rows), ("jobs", "group", "", "shop", "group"), "rllrr") if telling else None,
        beneath=tuple(map(Line, beneath)),
    )


def _written(learned: Learned) -> Iterator[Block]:
    """How often results that are always looked at are written down."""
    if learned.written:
        rows = tuple((percent(normal), percent(other), leaf) for leaf, (normal, other) in learned.written.items())
        aside = "of what nearly every job looks at; a blank counts accordingly"
        yield Block("Written down", aside, table=Table(rows, ("normal", "other", ""), "rrl"))


def _apart(shop: Chances, group: Chances) -> Floats:
    """How far the shares of a group are from the shop's, on the scale on which their spread is even."""
    apart: Floats = np.abs(np.sqrt(group.means) - np.sqrt(shop.means))
    return apart


def _changes(
    heading: str, aside: str, model: Model, before: dict[str, Chances], changes: list[Change], *, full: bool
) -> Block:
    """Numbers before and after, with the jobs behind each; the first of them, or all."""
    if not changes:
        return Block(heading, aside, lines=(Line("nothing"),))
    rows = []
    for change in changes[: None if full else MOST_SHOWN]:
        was, now = before[change.after.id], change.after
        n = told_state(was, now)
        rows.append((share_of(was, n), share_of(now, n), f"{now.jobs:.0f}", words_of(model, now, n)))
    return Block(heading, aside, table=Table(tuple(rows), ("in use", "learned", "jobs", ""), "rrrl", folds=True))


def _closing(tuned: Tuned, wanted: Wanted, medium: Medium) -> Iterator[str]:
    """Three sentences: whether the jobs are better described, what it does to the advice, what to do."""
    learned = tuned.learned
    gain = learned.log_score_after - learned.log_score_before
    changed = sum(each.before != each.after for each in tuned.advised)
    yield (
        f"A job of these is on average {np.exp(gain):.2f} times as likely with the learned numbers as with the "
        f"file's ({gain:+.3f} nats), on the jobs they were learned from."
    )
    yield (
        f"On {changed} of the last {len(tuned.advised)} jobs the advice before the first repair would have been "
        "another."
        if tuned.advised
        else "Whether the advice would change is not known: none of the shop's own jobs was looked at."
    )
    strength = learned.model.strength
    factor = wanted.strength or 1.0
    rows_jobs = factor * learned.rows_factor * strength.rows_jobs
    by_jobs = f", {strength.rows_jobs:g} by the file" if wanted.strength is None else ""
    yield (
        f"Of the file's numbers a share counts as {factor * strength.shares_jobs:g} jobs already seen and a table row "
        f"as {rows_jobs:.3g}{by_jobs}{medium.change_strength}; nothing is changed {medium.to_accept}."
    )
