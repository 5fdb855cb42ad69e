"""Does learning find the truth? Made-up shops whose numbers are drawn from the model's own prior, recorded as shops do.

    python tests/studies/recovery.py [--jobs 2000] [--replicates 12] [--first 0] [--wild 1] [--clean]

Each replicate draws the truth from the Dirichlets of the model file (`--wild 4`: as if each number counted for a
quarter of its jobs), makes a history up with gaps, doubtful labels and comebacks, learns from it, and weighs 2,000
further jobs of the same shop by four sets of numbers: the true ones, those of the file, those learned, and the file
with shares from counting "the part that was replaced". Prints, per job, the log score of all that was recorded, given
the complaint, and of the true cause, given what was found before the first repair; lower is better. Then how often 90 %
intervals hold the truth (a number's interval by its strength). With `--clean` everything is written down, and rightly,
and no set fails at times only: simulation-based calibration of the learning itself (Cook, Gelman & Rubin 2006; Talts et
al. 2018). Results are kept in `recovery.md`.
"""

import argparse
from contextlib import suppress
from dataclasses import replace
from itertools import product
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import numpy as np

from faultnet.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.case.steps import case_steps
from faultnet.counting import count_patterns
from faultnet.engine.evidence import findings
from faultnet.errors import ContradictoryEvidence, FaultnetError
from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.jobs import Job
from faultnet.jobs.replay import replayed
from faultnet.learning.learn import learn
from faultnet.learning.prepare import aim_at
from faultnet.model import Model
from faultnet.model.chances import SECOND_FAULT, SHARES, Chances, chances_of, row_id, with_chances
from faultnet.model.draws import Draws
from faultnet.patterns import Patterns
from faultnet.readings import Nominal
from faultnet.sheets.write import write_table
from faultnet.simulate.shop import History, simulate
from faultnet.simulate.world import GROUPS, World
from faultnet.workshop.tuning import before_repairs

KINDS = ("true", "file", "learned", "counted")


class Scores(NamedTuple):
    """Log scores per job, in nats: of what was recorded, and of the cause."""

    evidence: float
    cause: float


def world(clean: bool = False) -> World:
    """The invented shop without what a model cannot say: groups with odds of their own, and drift."""
    messy = World(groups=tuple(replace(group, odds={}) for group in GROUPS), drift={})
    rightly = replace(messy, unwritten=0.0, noted_wrong=0.0, sometimes=0.0, comes_back_anyway=0.0)
    return rightly if clean else messy


def drawn_truth(model: Model, seed: int, wild: float) -> Model:
    """A model with numbers drawn from the prior of this one; again where they cannot hold together.

    Or where more than one confirmed complaint in ten would come from a set with nothing faulty: where a link alone
    makes two faults as often as the draw says, all odds go to 0, and no shop is like that.
    """
    for attempt in range(100):
        try:
            truth = with_chances(model, drawn(model, 1000 * seed + attempt, wild), "truth@1")
            engine = truth.compiled.engine
            told = engine.belief(findings(engine.network, truth.confirmed))
        except FaultnetError:
            continue
        if told.targets[0] <= 0.1:
            return truth
    raise ValueError("no draw of the prior holds together")


def drawn(model: Model, seed: int, wild: float) -> list[Chances]:
    """Every number drawn from its Dirichlet."""
    thinner = with_chances(model, [replace(c, strength_jobs=c.strength_jobs / wild) for c in chances_of(model)], "x@1")
    draws, own = Draws(thinner, 1, seed), {each.id: each for each in chances_of(model)}
    means: dict[str, np.ndarray] = {SHARES: draws.shares()[0]}
    second = float(draws.second_fault_share()[0])
    means[SECOND_FAULT] = np.array([second, 1 - second])
    for condition in model.conditions:
        means[f"condition.{condition}"] = draws.condition(condition)[0]
    for link, chance in zip(model.collateral, draws.collateral()[0], strict=True):
        means[f"collateral.{link.cause}.{link.effect}"] = np.array([chance, 1 - chance])
    for seen in model.observations.values():
        if seen.id != model.complaint:
            for number, row in enumerate(draws.rows(seen.id)[0]):
                means[row_id(seen.id, number)] = row
    found = []
    for id_, values in means.items():
        kept = np.maximum(values, 1e-4)
        found.append(replace(own[id_], means=tuple((kept / kept.sum()).tolist())))
    rng = np.random.default_rng([seed, 1])
    for repair in model.repairs.values():
        for kind in ("success", "arrives_faulty"):
            each = own[f"{kind}.{repair.id}"]
            if 0 < each.means[0] < 1:
                chance = float(np.clip(rng.beta(*(np.array(each.means) * each.strength_jobs / wild)), 1e-3, 1 - 1e-3))
                found.append(replace(each, means=(chance, 1 - chance)))
    return found


def patterns_of(model: Model, jobs: tuple[Job, ...], folder: Path) -> Patterns:
    file = folder / "jobs.csv"
    write_table(file, columns([model]), (row_of(job, model) for job in jobs))
    return count_patterns(file, model, with_returned=False)


def counted(model: Model, jobs: tuple[Job, ...]) -> Model:
    """The file's numbers with shares from counting what was replaced last before the set worked."""
    counts = dict.fromkeys(model.components, 0.0)
    for job in jobs:
        if job.closing is not None and job.closing.outcome == "fixed":
            events = replayed(job, model, Case()).case.events
            last = next((e for e in reversed(events) if isinstance(e, RepairOutcome) and e.works), None)
            parts = {part for made in last.made for part in model.repairs[made].fixes} if last else set()
            for part in parts:
                counts[part] += 1 / len(parts)
    shares = next(each for each in chances_of(model) if each.id == SHARES)
    own = {c.id: sum(m.share for m in c.modes) for c in model.components.values()}
    n = np.array([counts[m.component] * model.shares[m] / own[m.component] for m in model.modes])
    means = (n + shares.strength_jobs * np.array(shares.means)) / (n.sum() + shares.strength_jobs)
    seconds = (model.second_fault_share, *np.geomspace(0.004, 0.3, 10).tolist())
    for weaker, second in product((1.0, 0.5, 0.2, 0.05), seconds):  # the first with which these shares can hold
        links = tuple(replace(link, chance=weaker * link.chance) for link in model.collateral)
        changed = replace(model, second_fault_share=second, collateral=links)
        made = with_chances(changed, [replace(shares, means=tuple(means.tolist()))], "counted@1")
        with suppress(FaultnetError):
            assert made.compiled.odds
            return made
    raise ValueError("no chance of a second fault holds with these shares")


def scores(model: Model, held_out: History, patterns: Patterns) -> Scores:
    aim = aim_at(model, patterns)
    own = aim.frame.own
    expected = aim.history.expect(own)
    fixed = aim.log_likelihood(own, expected) / patterns.n_jobs
    return Scores(-fixed, float(np.mean([*cause_scores(model, held_out)])))


def cause_scores(model: Model, held_out: History) -> list[float]:
    engine = model.compiled.engine
    sizes = [len(c.states) for c in model.components.values()]
    found = []
    for job, truth in zip(held_out.jobs, held_out.truths, strict=True):
        states = dict.fromkeys(model.components, 0)
        for fault in truth.faults:
            component, _, mode = fault.partition(".")
            states[component] = model.components[component].states.index(mode)
        nominal = Nominal.label(float(job.facts["nominal"])) if "nominal" in job.facts else None
        case = replayed(before_repairs(job), model, Case(nominal=nominal)).case
        try:
            belief = engine.belief(case_steps(model, case))
        except ContradictoryEvidence:
            continue
        chance = belief.targets[int(np.ravel_multi_index(tuple(states.values()), sizes))]
        found.append(-float(np.log(max(chance, 1e-12))))
    return found


def replicate(model: Model, seed: int, told: argparse.Namespace) -> tuple[dict[str, Scores], dict[str, list[bool]]]:
    truth, shop = drawn_truth(model, seed, told.wild), world(told.clean)
    past = simulate(replace(truth, id="backlight"), told.jobs, seed=2 * seed + 1, world=shop)
    held_out = simulate(replace(truth, id="backlight"), 2_000, seed=2 * seed + 2, world=shop)
    with TemporaryDirectory() as name:
        folder = Path(name)
        learned = learn(model, patterns_of(model, past.jobs, folder), n_starts=0, with_blanks=False)
        later = patterns_of(model, held_out.jobs, folder)
    models = {
        "true": truth,
        "file": model,
        "learned": learned.as_version("learned@1"),
        "counted": counted(model, past.jobs),
    }
    return {kind: scores(models[kind], held_out, later) for kind in KINDS}, held(truth, learned.chances)


def held(truth: Model, learned: tuple[Chances, ...]) -> dict[str, list[bool]]:
    """Whether the interval of each number holds the truth, by kind of number; of those that jobs say something of."""
    true = {each.id: each for each in chances_of(truth)}
    found: dict[str, list[bool]] = {}
    for each in learned:
        if each.jobs >= 5 and each.kind != "comeback":
            for n in range(len(each.means)):
                low, high = each.interval(n)
                if true[each.id].means[n] > 2e-4:
                    found.setdefault(each.kind, []).append(low <= true[each.id].means[n] <= high)
    return found


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=2_000)
    parser.add_argument("--replicates", type=int, default=12)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--wild", type=float, default=1.0)
    parser.add_argument("--clean", action="store_true")
    told = parser.parse_args()
    model = load_model("backlight@0")
    every: list[dict[str, Scores]] = []
    holds: dict[str, list[bool]] = {}
    for seed in range(told.first, told.first + told.replicates):
        found, own = replicate(model, seed, told)
        every.append(found)
        for kind, each in own.items():
            holds.setdefault(kind, []).extend(each)
        line = "  ".join(f"{k} {found[k].evidence:.4f}/{found[k].cause:.4f}" for k in KINDS)
        print(f"{seed:3}  evidence/cause  {line}", flush=True)
    print(f"\n{told.jobs} jobs, {len(every)} truths, wildness {told.wild:g}")
    for number, name in enumerate(Scores._fields):
        table = {kind: np.array([found[kind][number] for found in every]) for kind in KINDS}
        excess = {kind: float((table[kind] - table["true"]).mean()) for kind in KINDS}
        share = 100 * excess["learned"] / float(table["true"].mean())
        ratio = excess["counted"] / excess["learned"]
        print(
            f"{name}: true {table['true'].mean():.4f}; above it: file {excess['file']:.4f}, "
            f"learned {excess['learned']:.4f} ({share:.1f} %), counted {excess['counted']:.4f} "
            f"({ratio:.1f} times learned)"
        )
    for kind, each in sorted(holds.items()):
        print(f"90 % intervals of {kind}: hold {100 * np.mean(each):.1f} % of {len(each)}")
    pooled = [held_ for each in holds.values() for held_ in each]
    print(f"pooled: {100 * np.mean(pooled):.1f} % of {len(pooled)}")


if __name__ == "__main__":
    main()
