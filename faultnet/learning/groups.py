"""Shares of groups of jobs, drawn towards the shop's as far as the groups' spread says (partial pooling).

Everything else about a set is as the whole shop has it. A group's modes are as often the cause as in the whole shop,
times a factor each; factors and pull are drawn together, from what each job says of its cause at the shop's numbers.
"""

import numpy as np

from faultnet.learning.hidden import RootPrior
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.pooling import drawn, each_job
from faultnet.learning.said import cause_columns, said_and_usual
from faultnet.model.chances import Chances
from faultnet.model.pooled import GroupShares, Pooled
from faultnet.patterns.split import Split

LEAST_GROUPS = 4
"""Fewer groups than this do not say how much they differ."""

MOST_JOBS = 50_000
"""Of more jobs a sample stands for all."""


def pooled_shares(
    aim: Aim, point: Point, learned: tuple[Chances, Chances], split: Split, seed: int = 0
) -> Pooled | None:
    """The shares of every group by one column; None where too few groups were written down.

    point: the shop's numbers; learned: its shares and chance of a second fault.
    """
    shop, second = learned
    values = [value for (value,) in split.values if value]
    if len(values) < LEAST_GROUPS or not isinstance(aim.history.hidden, RootPrior):
        return None
    labelled = np.isin(split.value, [split.values.index((value,)) for value in values])
    pairs = np.flatnonzero(labelled)
    pair = pairs[each_job(split.jobs[pairs], MOST_JOBS, np.random.default_rng(seed))]
    if not len(pair):
        return None
    group = np.searchsorted([split.values.index((value,)) for value in values], split.value[pair])
    pattern, place = np.unique(split.pattern[pair], return_inverse=True)
    labels, like = (each[place] for each in said_and_usual(aim, point, pattern, cause_columns(aim)))
    everybody = like.mean(axis=0)
    usual = np.stack([like[here].mean(axis=0) if (here := group == n).any() else everybody for n in range(len(values))])
    found = drawn(labels, group, usual, seed)
    shares = np.array(shop.means)
    groups = {}
    for n, value in enumerate(values):
        present = usual[n, :-1]
        times = np.divide(found.shares[n], present / present.sum(), out=np.ones_like(present), where=present > 0)
        changed = Point(point.odds * times / (shares @ times), point.chances)
        own, spread = found.shares[n], float(found.variances[n].sum())
        of_group = float((own * (1 - own)).sum()) / spread if spread > 0 else np.inf
        strength = 1 / (1 / shop.strength_jobs + 1 / of_group)  # as unsure as the shop's, and as what sets it apart
        jobs = float(split.of(value)[1].sum())
        told = aim.causes.chances_at(changed, jobs, (strength, second.strength_jobs))
        groups[value] = GroupShares(told[0], told[1], tuple(changed.odds.tolist()))
    return Pooled(split.columns[0], found.pull.jobs, found.pull.low, found.pull.high, groups)
