"""The made-up history: sets, findings, volts, repairs and groups come up as often as the model says.

Each check is a chi-square or binomial test at the .001 level on a fixed seed, so together they would fail by chance in
about one seed of a hundred; that they can fail is shown beside them.
"""

from collections import Counter
from dataclasses import replace
from functools import cache
from math import sqrt
from pathlib import Path

import numpy as np
import pytest
from networks import import_file, packed
from scipy import stats

from faultnet.case import Case, believe
from faultnet.case.normal import normal_states
from faultnet.case.steps import replaced
from faultnet.engine.evidence import Likelihood, finding
from faultnet.engine.interface import Belief
from faultnet.files import load_model
from faultnet.model import Model
from faultnet.readings import Meter, Nominal, Spread
from faultnet.readings.density import Taken, state_density
from faultnet.readings.grid import grid_of
from faultnet.simulate.bench import SetOnBench
from faultnet.simulate.forward import forward, sets_with
from faultnet.simulate.habits import FLOW_CHART, Knowledge, next_test
from faultnet.simulate.shop import History, simulate
from faultnet.simulate.volts import drawn_volts
from faultnet.simulate.world import GROUPS, World

LEVEL = 0.001
PLAIN = World(groups=tuple(replace(group, odds={}) for group in GROUPS), drift={}, comes_back_anyway=0.0)


@cache
def backlight() -> Model:
    return load_model("backlight")


@cache
def history() -> History:
    return simulate(backlight(), 2000, seed=5)


def fits(counts: np.ndarray, chances: np.ndarray) -> float:
    """The p-value of counts against chances; rare ones are taken together so that each is expected five times."""
    order = np.argsort(-chances)
    counts, expected = counts[order].astype(float), chances[order] * counts.sum()
    kept = max(1, int((expected >= 5).sum()))
    observed = np.append(counts[:kept], counts[kept:].sum())
    wanted = np.append(expected[:kept], expected[kept:].sum())
    usable = wanted > 0
    assert observed[~usable].sum() == 0, "something came up that never can"
    return float(stats.chisquare(observed[usable], wanted[usable] * observed.sum() / wanted.sum()).pvalue)


# -- sets --------------------------------------------------------------------------------------------------------------


def test_sets_with_the_complaint_have_the_faults_the_model_expects() -> None:
    """All joint states of the components, against the engine's table."""
    model, rng = backlight(), np.random.default_rng(1)
    assert model.brought_in_for is not None
    states = sets_with(model.compiled.network, [*model.components], model.brought_in_for, 40_000, rng)
    sizes = [len(c.states) for c in model.components.values()]
    index = np.ravel_multi_index([states[c] for c in model.components], sizes)
    counts = np.bincount(index, minlength=int(np.prod(sizes)))
    wanted = believe(model, Case()).joint([*model.components]).reshape(-1)
    assert fits(counts, wanted) > LEVEL
    shifted = wanted.copy()
    shifted[np.argsort(-wanted)[:2]] *= (0.93, 1.07)
    assert fits(counts, shifted / shifted.sum()) < LEVEL


def test_findings_follow_their_tables() -> None:
    """Every observation of sets that are drawn, against its marginal in the network."""
    model, rng = backlight(), np.random.default_rng(2)
    names = [n.id for n in model.compiled.network]
    states = forward(model.compiled.network, names, 40_000, rng)
    table = model.compiled.engine.prior
    for observation in model.observations:
        counts = np.bincount(states[observation], minlength=len(model.observations[observation].states))
        assert fits(counts, table.marginal(observation)) > LEVEL / len(model.observations), observation


@pytest.mark.parametrize("fault", ["strips.open", "driver.dead", "supply.feed_missing", "panel.no_video"])
def test_what_a_bench_sees_of_a_faulty_set_is_what_the_model_says(fault: str) -> None:
    """Four findings that hang on each other through the driver, looked at in one set each, given the fault."""
    model, rng = backlight(), np.random.default_rng(3)
    component, mode = fault.split(".")
    network, looked = model.compiled.network, ("startup_flash", "loaded_voltage", "open_voltage")
    healthy = dict.fromkeys(model.components, 0) | {component: model.components[component].states.index(mode)}
    counts: Counter[tuple[str, ...]] = Counter()
    for _ in range(4000):
        states = healthy | {c.id: int(rng.choice(len(c.shares), p=c.shares)) for c in model.conditions.values()}
        set_ = SetOnBench(model, states, 54.0, rng)
        counts[tuple(set_.see(name) for name in looked)] += 1
    steps = [finding(network, c, model.components[c].states[s]) for c, s in healthy.items()]
    given = _with_shares(model, steps)
    joint = given.joint(looked)
    index = {key: np.ravel_multi_index(key, joint.shape) for key in np.ndindex(joint.shape)}
    observed = np.zeros(joint.size)
    for seen, n in counts.items():
        place = tuple(network[name].states.index(state) for name, state in zip(looked, seen, strict=True))
        observed[index[place]] = n
    assert fits(observed, joint.reshape(-1)) > LEVEL / 4


def _with_shares(model: Model, steps: list[Likelihood]) -> Belief:
    """The belief given the components, conditions as often as their shares say: odds factors undone by weighing."""
    belief = model.compiled.engine.belief(steps)
    for condition in model.conditions.values():
        now = belief.marginal(condition.id)
        weights = np.where(now > 0, np.array(condition.shares) / np.maximum(now, 1e-300), 0.0)
        belief = belief.observe(Likelihood((condition.id,), weights / weights.max()))
    return belief


def test_a_test_made_again_on_the_same_set_shows_the_same_until_something_is_changed() -> None:
    model, rng = backlight(), np.random.default_rng(4)
    states = dict.fromkeys(model.components, 0) | {"strips": 1} | dict.fromkeys(model.conditions, 0)
    set_ = SetOnBench(model, states, 54.0, rng)
    first = [set_.see("strip_tester") for _ in range(20)]
    assert len(set(first)) == 1
    cured = []
    for _ in range(200):
        set_ = SetOnBench(model, dict(states), 54.0, rng)
        set_.see("strip_tester")
        while not set_.works:
            set_.repair(["replace_strips"])
        cured.append(set_.see("strip_tester"))
    assert cured.count("all_light_ok") > 150, "looked at anew once the strips are new"


def test_repairs_cure_as_often_as_they_say() -> None:
    model, rng, n = backlight(), np.random.default_rng(6), 3000
    for repair in model.repairs.values():
        part = repair.fixes[0]
        cured = 0
        for _ in range(n):
            states = dict.fromkeys(model.components, 0) | {part: 1} | dict.fromkeys(model.conditions, 0)
            cured += SetOnBench(model, states, 54.0, rng).repair([repair.id])
        chance = float(replaced(model, repair.id, part)[1, 0])
        others = np.prod([replaced(model, repair.id, other)[0, 0] for other in repair.fixes[1:]])
        assert stats.binomtest(cured, n, chance * float(others)).pvalue > LEVEL / len(model.repairs), repair.id


# -- volts -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("observation", "state", "hold"),
    [
        ("loaded_voltage", "normal", "steady"),
        ("loaded_voltage", "off_level", "steady"),
        ("loaded_voltage", "low", "steady"),
        ("loaded_voltage_peak", "above", "max"),
        ("loaded_voltage_peak", "none", "max"),
        ("open_voltage", "rises_then_off", "max"),
    ],
)
def test_volts_are_drawn_as_their_density_says(observation: str, state: str, hold: str) -> None:
    """Against the density that weighs readings, integrated over thirty stretches of equal chance."""
    model, rng, meter, nominal = backlight(), np.random.default_rng(7), Meter(), 54.0
    how = model.observations[observation].reading
    assert how is not None
    assert model.nominal is not None
    at = {"off_output": "rail"}
    drawn = np.array([drawn_volts(how, state, hold, at, nominal, model.nominal, meter, rng) for _ in range(3000)])
    edges = np.linspace(0, 120, 24_001)
    middles = (edges[1:] + edges[:-1]) / 2
    known = grid_of(model, Nominal(Spread(nominal, 1e-6), "label"))
    density = state_density(how, state, at, Taken(middles[:, None], hold, meter, known)) @ known.weights
    below = np.append(0.0, np.cumsum(density * np.diff(edges)))
    cuts = np.interp(np.linspace(0, below[-1], 31)[1:-1], below, edges)
    counts = np.bincount(np.searchsorted(cuts, drawn[drawn < 120]), minlength=30)
    assert fits(counts, np.full(30, 1 / 30)) > LEVEL
    assert abs((drawn < 120).mean() - below[-1]) < 4 * sqrt(0.01 * 0.99 / 3000)


# -- the shop ----------------------------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_history_and_another_another() -> None:
    one, again, other = (simulate(backlight(), 60, seed) for seed in (3, 3, 4))
    assert (one.jobs, one.truths) == (again.jobs, again.truths)
    assert one.jobs != other.jobs


def test_shares_of_groups_and_months_are_those_that_are_told() -> None:
    """Sets that came in for the first time, by group, against the shares in the truth."""
    told = history()
    first = {job.number for job in told.jobs if not job.after}
    for group in GROUPS:
        mine = [truth for truth in told.truths if truth.group == group.name and truth.job in first]
        for mode in ("strips.open", "strips.shorted", "driver.dead"):
            chances = np.array([told.shares[group.name, truth.month][mode] for truth in mine])
            count = sum(mode in truth.faults for truth in mine)
            z = (count - chances.sum()) / sqrt((chances * (1 - chances)).sum())
            assert abs(z) < stats.norm.isf(LEVEL / 36), (group.name, mode)


def test_groups_and_months_differ_as_the_world_says() -> None:
    shares = history().shares
    assert shares["otter", 0]["driver.dead"] > 1.8 * shares["heron", 0]["driver.dead"]
    assert shares["heron", 35]["strips.shorted"] > 1.6 * shares["heron", 0]["strips.shorted"]


def test_a_plain_world_has_the_same_shares_everywhere() -> None:
    told = simulate(backlight(), 50, 1, PLAIN)
    assert len({tuple(shares.values()) for shares in told.shares.values()}) == 1


def test_records_have_the_gaps_that_shops_leave() -> None:
    """Everything that the issue of learning has to live with is there, about as often as the world says."""
    jobs, truths = history().jobs, history().truths
    outcomes = Counter(job.closing.outcome for job in jobs if job.closing is not None)
    assert {"fixed", "declined", "not_worth_repairing", "no_part", "harmed", "no_fault_found"} == set(outcomes)
    normal = normal_states(backlight())
    seen = [e for job in jobs for e in job.entries if e.kind == "finding" and e.name == "sound"]
    made = sum(any(e.name == "flashlight" for e in job.entries) for job in jobs)
    assert 0.3 < sum(e.state == normal["sound"] for e in seen) / made < 1.2
    assert sum(any("+" in e.name for e in job.entries if e.kind == "repair") for job in jobs) > 50
    assert sum(any(e.kind == "skipped" for e in job.entries) for job in jobs) > 100
    fixed = [job for job in jobs if job.closing is not None and job.closing.outcome == "fixed"]
    assert {job.closing.verification for job in fixed if job.closing is not None} == set(World().verifications)
    assert {job.stage for job in fixed} == {"done", "watched"}
    assert sum(bool(job.after) for job in jobs) > 60
    assert {truth.habit for truth in truths} == set(World().habits)
    wrong = [truth for truth, job in zip(truths, jobs, strict=True)
             if job.closing is not None and job.closing.outcome == "fixed" and truth.left]  # fmt: skip
    assert 0 < len(wrong) < len(fixed) / 10, "some sets go out with their fault, and seem to work"


def test_habits_pick_the_tests_they_are_called_for() -> None:
    known = Knowledge(backlight())
    seen: dict[str, str] = {}
    for name in FLOW_CHART:
        assert next_test("flow_chart", known, seen, frozenset()) == name
        seen[name] = backlight().observations[name].states[0]
    assert next_test("flow_chart", known, seen, frozenset()) == ""
    assert next_test("cheapest", known, {}, frozenset()) == "sound"
    assert next_test("advised", known, {}, frozenset()) == "sound", "what the trade makes first"
    assert next_test("advised", known, {"sound": "present"}, frozenset({"sound"})) != "sound"


def test_a_model_without_a_complaint_cannot_be_simulated(tmp_path: Path) -> None:
    asia = import_file(packed("asia"), tmp_path / "asia.yaml")[1]
    with pytest.raises(ValueError, match="about no complaint"):
        simulate(asia, 5, seed=1)
