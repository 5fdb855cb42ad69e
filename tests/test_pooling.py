"""Shares by group: published data, exact integrals, a small model, and what the bench sees of it."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from learners import model_of, pattern
from scipy.optimize import minimize
from scipy.special import betaln
from small_models import TINY
from test_versions import learned

from faultnet.learning.learn import Learned, learn
from faultnet.learning.pooling import drawn, each_job, log_marginals, pull_of
from faultnet.model import Model
from faultnet.model.chances import SECOND_FAULT, SHARES, chances_of, with_chances
from faultnet.model.pooled import GroupShares, Pooled, in_group
from faultnet.model.version import version_from_document
from faultnet.patterns import Patterns
from faultnet.patterns.split import split
from faultnet.shop.groups import PanelGroups, in_own_group
from faultnet.workshop.versions import accept
from faultnet.workshop.workshop import Workshop

# Rat tumours (Tarone 1982; Gelman et al., Bayesian Data Analysis, table 5.1): rats with one and all rats, by group.
# Written down from memory; the sums (71 groups, 1739 rats, 267 tumours) are the published ones.
TUMOURS = (
    "0/20 0/20 0/20 0/20 0/20 0/20 0/20 0/19 0/19 0/19 0/19 0/18 0/18 0/17 1/20 1/20 1/20 1/20 1/19 1/19 1/18 1/18 "
    "2/25 2/24 2/23 2/20 2/20 2/20 2/20 2/20 2/20 1/10 5/49 2/19 5/46 3/27 2/17 7/49 7/47 3/20 3/20 2/13 9/48 10/50 "
    "4/20 4/20 4/20 4/20 4/20 4/20 4/20 10/48 4/19 4/19 4/19 5/22 11/46 12/49 5/20 5/20 6/23 5/19 6/22 6/20 6/20 6/20 "
    "16/52 15/47 15/46 9/24 4/14"
)


def rats() -> np.ndarray:
    pairs = [tuple(map(int, each.split("/"))) for each in TUMOURS.split()]
    return np.array([(y, n - y) for y, n in pairs], dtype=float)


@pytest.mark.published
def test_the_strength_of_rat_tumours() -> None:
    """Maximum of the marginal likelihood: Beta(2.34161, 14.11480), -730.33845 (recomputed; BDA reads 2.4, 14.0)."""
    counts = rats()
    assert (len(counts), counts.sum(), counts[:, 0].sum()) == (71, 1739, 267)

    def worth(x: np.ndarray) -> float:
        a, b = np.exp(x)
        return -float(log_marginals(counts, np.array([a, b]) / (a + b), np.array([a + b]))[0])

    best = minimize(worth, np.log([1.0, 10.0]), method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    a, b = np.exp(best.x)
    assert a == pytest.approx(2.34161, abs=0.01)
    assert b == pytest.approx(14.11480, abs=0.05)
    assert -best.fun == pytest.approx(-730.33845, abs=1e-4)
    pull = pull_of(counts, np.array([a, b]) / (a + b))
    assert pull.low < a + b < pull.high
    shrunk = (4 + pull.jobs * a / (a + b)) / (14 + pull.jobs)
    assert shrunk == pytest.approx(0.21086, abs=0.01)  # theta of 4/14 by the maximum


def test_posterior_means_of_rat_tumours() -> None:
    """Under (a + b)^(-5/2): E(a) = 2.4027, E(b) = 14.320, on a grid over log(a/b) and log(a + b) (BDA 5.3)."""
    counts, logits, logs = rats(), np.linspace(-2.6, -1.0, 161), np.linspace(0.5, 6.5, 301)
    means = 1 / (1 + np.exp(-logits))
    values = np.array([log_marginals(counts, np.array([m, 1 - m]), np.exp(logs)) for m in means])
    a, b = means[:, None] * np.exp(logs), (1 - means)[:, None] * np.exp(logs)
    values += -2.5 * logs + np.log(a) + np.log(b)  # the prior, and the change of variables
    weights = np.exp(values - values.max())
    weights /= weights.sum()
    assert (weights * a).sum() == pytest.approx(2.4027, abs=0.02)
    assert (weights * b).sum() == pytest.approx(14.320, abs=0.1)


def test_how_far_batters_stand_from_their_mean() -> None:
    """18 players, 45 at-bats each (Efron & Morris 1975, hits from memory): Stein's rule keeps .212 of what is own.

    Ours is another estimator (the spread averaged over its posterior, and binomial), so it is near it, no more.
    """
    hits = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7], dtype=float)
    mean = float(hits.sum() / (18 * 45))
    pull = pull_of(np.stack([hits, 45 - hits], axis=1), np.array([mean, 1 - mean]))
    kept = 45 / (45 + pull.jobs)
    assert kept == pytest.approx(0.212, abs=0.05)
    assert mean + kept * (0.4 - mean) == pytest.approx(0.294, abs=0.01)


def test_few_groups_and_like_groups() -> None:
    """Groups that are alike are drawn together, however many jobs; groups that differ stand alone."""
    means = np.array([0.6, 0.3, 0.1])
    alike = pull_of(np.array([[60, 30, 10]] * 6, dtype=float), means)
    apart = pull_of(np.array([[90, 5, 5], [20, 70, 10], [50, 10, 40], [80, 15, 5]], dtype=float), means)
    assert alike.jobs > 300
    assert apart.jobs < 20
    alone = pull_of(np.array([[6, 3, 1.0]]), means)
    assert alone.high > 500 * alone.low  # one group says nothing


def soft_labels() -> tuple[np.ndarray, np.ndarray]:
    """P(state | job) of 5 groups of 30 jobs in which one state is told from another by a doubtful sign."""
    rng = np.random.default_rng(3)
    labels, group = [], []
    for number, chance in enumerate((0.9, 0.2, 0.7, 0.3, 0.5)):
        is_first = rng.random(30) < chance
        sign = np.where(rng.random(30) < 0.8, is_first, ~is_first)
        labels += [(0.8, 0.2, 0.0) if each else (0.2, 0.8, 0.0) for each in sign]
        group += [number] * 30
    return np.array(labels), np.array(group)


def test_draws_agree_with_the_integral() -> None:
    """Two states, doubtful labels: pull and chances by integrating every group's chance out on a fine grid."""
    labels, group = soft_labels()
    found = drawn(labels, group, np.tile([0.5, 0.5, 0.0], (5, 1)), seed=1)
    theta = (np.arange(4000) + 0.5) / 4000
    pulls = np.exp(np.linspace(np.log(0.5), np.log(1e5), 100))
    like = [np.exp(np.log((labels[group == g, :2] / 0.5) @ np.stack([theta, 1 - theta])).sum(axis=0)) for g in range(5)]
    logs, chances = np.zeros(len(pulls)), np.zeros((len(pulls), 5))
    for n, pull in enumerate(pulls):
        a = 0.5 * pull
        prior = np.exp((a - 1) * (np.log(theta) + np.log(1 - theta)) - betaln(a, a)) / 4000
        prior /= prior.sum()
        for g in range(5):
            total = float(prior @ like[g])
            logs[n] += np.log(total)
            chances[n, g] = float((prior * like[g]) @ theta) / total
    weights = np.exp(logs - 0.5 * np.log(pulls) - (logs - 0.5 * np.log(pulls)).max())
    weights /= weights.sum()
    assert found.shares[:, 0] == pytest.approx(weights @ chances, abs=0.04)
    assert found.pull.jobs**-0.5 == pytest.approx(weights @ pulls**-0.5, rel=0.1)


def test_sure_labels_are_counted() -> None:
    """Where nothing is doubtful, chances of groups are counts drawn to the means as far as the pull says."""
    rng = np.random.default_rng(0)
    state, group = rng.integers(0, 3, 200), np.repeat([0, 1, 2, 3], [2, 28, 70, 100])
    means = np.tile([0.2, 0.5, 0.3], (4, 1))
    found = drawn(np.eye(4)[state], group, np.column_stack([means, np.zeros(4)]))
    counts = np.array([np.bincount(state[group == g], minlength=3) for g in range(4)], dtype=float)
    same = pull_of(counts, means)
    assert (found.pull.jobs, found.pull.low, found.pull.high) == pytest.approx((same.jobs, same.low, same.high))
    assert np.abs(found.shares[0] - means[0]).max() < 0.1  # two jobs
    own = counts[3] / 100
    assert np.abs(found.shares[3] - own).max() < np.abs(means[3] - own).max()


def test_jobs_that_count_for_less_are_fewer() -> None:
    rng = np.random.default_rng(0)
    assert [*each_job(np.array([2.0, 0.0, 1.0]), 10, rng)] == [0, 0, 2]
    numbers = each_job(np.full(10_000, 1.25), 100_000, rng)
    assert len(numbers) == pytest.approx(12_500, abs=200)
    assert len(each_job(np.full(100, 3.0), 50, rng)) == 50


# -- groups of a model ---------------------------------------------------------------------------------------------


@cache
def sure() -> Model:
    """The small model with rows and second faults that are not for the jobs to change."""
    model = model_of(TINY.replace("strength: {shares: 10, rows: 5}", "strength: {shares: 10, rows: 2000}"))
    second = next(each for each in chances_of(model) if each.id == SECOND_FAULT)
    return with_chances(model, [replace(second, strength_jobs=1e5)], model.version)


def grouped(jobs: dict[str, dict[str, int]]) -> Patterns:
    """Jobs of the small model by group: how many had an open lamp that was replaced, and how many no feed."""
    model = sure()
    told = {"open": ["look=dark", "volts=30", "replace_lamp=works"], "feed": ["look=dark", "volts=0.1"]}
    listed = [
        (replace(pattern(model, told[what]), by=(group,)), n)
        for group, each in jobs.items()
        for what, n in each.items()
    ]
    return Patterns.of(model.id, listed, by=("panel_group",))


OPEN = {"a": 150, "b": 80, "c": 2, "d": 110, "e": 95, "f": 125, "g": 70, "h": 115}
"""Jobs with an open lamp in eight groups; the others of 200 jobs have no feed, but group c has two jobs only."""

APART = {group: {"open": n, "feed": 200 - n} if n > 2 else {"open": n} for group, n in OPEN.items()}


def test_a_group_with_two_jobs_stays_near_the_shop_and_one_with_200_stands_alone() -> None:
    patterns = grouped(APART)
    found = learn(sure(), patterns, n_starts=0, with_blanks=False)
    without = learn(sure(), split(patterns).patterns, n_starts=0, with_blanks=False)
    assert found.pooled is not None
    assert without.pooled is None
    assert [each.means for each in found.chances] == [each.means for each in without.chances]
    shop = next(each for each in found.chances if each.id == SHARES)
    first = {value: own.shares.means[0] for value, own in found.pooled.groups.items()}
    pull = found.pooled.pull_jobs
    assert 5 < pull < 60
    for value, opened in OPEN.items():
        n = sum(APART[value].values())
        assert first[value] == pytest.approx((opened + pull * shop.means[0]) / (n + pull), abs=0.06)
    assert first["a"] == pytest.approx(0.75, abs=0.05)
    assert first["c"] == pytest.approx(shop.means[0], abs=0.1)
    assert {value: own.shares.jobs for value, own in found.pooled.groups.items()} == {
        value: sum(each.values()) for value, each in APART.items()
    }
    strengths = {value: own.shares.strength_jobs for value, own in found.pooled.groups.items()}
    assert strengths["c"] < strengths["a"] <= shop.strength_jobs


def test_too_few_groups_say_nothing_and_nobody_knows_the_group() -> None:
    patterns = grouped({**{k: APART[k] for k in "abd"}, "": {"open": 50}})
    assert learn(sure(), patterns, n_starts=0, with_blanks=False).pooled is None


def test_patterns_without_their_column_are_the_same_jobs() -> None:
    patterns = grouped(APART)
    found = split(patterns)
    assert found.values == tuple((each,) for each in "abcdefgh")
    assert [*found.patterns.jobs] == [747, 655]
    assert found.patterns.n_jobs == patterns.n_jobs == 1402
    assert all(each.by == () for each in found.patterns)
    number, jobs = found.of("c")
    assert [found.patterns[int(n)].items for n in number] == [patterns[3].items] or len(number) == 1
    assert jobs.sum() == 2
    again = split(found.patterns)
    assert (again.columns, again.values, again.of()[1].sum()) == ((), ((),), 1402)


# -- what the bench sees ---------------------------------------------------------------------------------------------


def with_groups(by: float) -> Learned:
    """What some jobs changed, with shares of its own for the group otter, in which drivers fail four times as often."""
    told = learned(by)
    model = told.as_version("backlight@1")
    shares, second = (next(c for c in chances_of(model) if c.id == id_) for id_ in (SHARES, SECOND_FAULT))
    moved = np.array(shares.means) * np.where([s.startswith("driver.dead") for s in shares.states], 4.0, 1.0)
    own = replace(shares, means=tuple((moved / moved.sum()).tolist()), jobs=12.0)
    odds = with_chances(model, [own], model.version).compiled.odds
    group = GroupShares(own, second, tuple(odds[mode] for mode in model.modes))
    return replace(told, pooled=Pooled("panel_group", 40.0, 20.0, 90.0, {"otter": group}))


def test_a_panel_uses_its_group(on_sqlite: Workshop, capsys: pytest.CaptureFixture[str]) -> None:
    version = accept(on_sqlite, with_groups(0.02), 0, "bo", "a year")
    assert version_from_document(json.loads(json.dumps(version.as_document()))) == version
    document = version.as_document()
    del document["pooled"]  # as versions were before there were groups
    assert version_from_document(document).pooled is None
    model = on_sqlite.load_model("backlight")
    groups = PanelGroups({"otter": ("OTR-50", "OTR-50K")})
    own = in_own_group(model, {"panel": "otr 50k"}, groups)
    assert own.shares_of == "otter"
    assert in_own_group(model, {"panel": "OTR-50"}, groups) is own, "made once, so that it is compiled once"
    assert (own.file, own.digest) == (model.file, model.digest)
    assert [*own.shares.values()] == pytest.approx(next(iter(version.pooled.groups.values())).shares.means)  # type: ignore[union-attr]
    assert own.jobs_behind[SHARES] == 12
    assert in_own_group(model, {"panel": "HRN-43"}, groups) is model
    assert in_own_group(model, {}, groups) is model
    assert in_group(own, "nobody") is own
    other = {each.id: each for each in chances_of(model)}
    assert all(each == other[each.id] for each in chances_of(own) if each.id != SHARES)
    by_board = replace(model, pooled=replace(model.pooled, column="board"))  # type: ignore[type-var]
    assert in_own_group(by_board, {"board": "OTTER"}, groups).shares_of == "otter"
    assert in_own_group(by_board, {"panel": "OTTER"}, groups).shares_of == ""
    capsys.readouterr()
