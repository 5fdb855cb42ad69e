"""Do intervals of shares hold the truth? Made-up shops whose true shares are known, counted and weighed.

    python tests/studies/shares.py [--jobs 2000] [--replicates 6] [--first 0] [--clean] [--file]

Each replicate makes up a shop's history with panel groups that differ, recorded as shops do (`--clean`: everything
written down, and rightly). Shares of jobs by component, of the whole shop and of each panel group, come with 90 %
intervals: from counting the part that was replaced, from jobs weighed by the model's numbers as the file has them
(`--file`) or as learned from the same jobs, by itself and partly pooled. Printed is how often each interval holds the
true share, and how wide it is on average. Results are kept in `shares.md`.
"""

import argparse
from collections import defaultdict
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from faultnet.analysis.weigh import weigh
from faultnet.counting import count_patterns
from faultnet.counting.tally import tally
from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.learning.learn import learn
from faultnet.model import Model
from faultnet.sheets.write import write_table
from faultnet.simulate.shop import History, simulate
from faultnet.simulate.world import GROUPS, World
from faultnet.statistics.shares import OverShares, jeffreys, pooled, unpooled

NOBODY_KNOWS = "?"
GROUP_OF = {code: group.name for group in GROUPS for code in group.codes}


def world(clean: bool) -> World:
    """The invented shop; clean: everything is written down, and rightly."""
    if clean:
        return World(unwritten=0.0, noted_wrong=0.0, sometimes=0.0, comes_back_anyway=0.0, drift={})
    return World()


def true_shares(history: History, model: Model) -> dict[tuple[str, str], float]:
    """Of each group, "" for all, and component: the chance that a set that came in had it faulty."""
    total: dict[tuple[str, str], float] = defaultdict(float)
    n: dict[str, int] = defaultdict(int)
    for job, truth in zip(history.jobs, history.truths, strict=True):
        if job.comeback == "same":
            continue
        for group in ("", truth.group):
            n[group] += 1
            for mode, share in history.shares[(truth.group, truth.month)].items():
                total[group, mode.partition(".")[0]] += share
    return {(group, c): total[group, c] / n[group] for group in n for c in model.components}


def intervals(history: History, model: Model, seed: int, as_in_file: bool):  # type: ignore[no-untyped-def]
    """Of each way and group and component, the estimate."""
    found = {}
    with TemporaryDirectory() as folder:
        file = Path(folder) / "jobs.parquet"
        write_table(file, columns([model]), (row_of(job, model) for job in history.jobs))
        told = {"by": ("panel_group",), "group_of": lambda code: GROUP_OF.get(code, code)}
        counts = tally(file, model, **told)  # type: ignore[arg-type]
        patterns = count_patterns(file, model, with_returned=False, **told)  # type: ignore[arg-type]
    for group in ("", *GROUP_OF.values()):
        mine = [each for each in counts if each.cure and group in ("", each.values[0])]
        for component in model.components:
            cured = [e for e in mine if any(component in model.repairs[r].fixes for r in e.cure)]
            of = sum(e.jobs for e in mine)
            found["counted", group, component] = jeffreys(sum(e.jobs for e in cured), of)
    numbers = model if as_in_file else learn(model, patterns, n_starts=0, with_blanks=False).as_version("tuned@1")
    targets = [(component, "") for component in model.components]
    for way, n_draws in (("numbers as they are", 0), ("numbers drawn", 12)):
        weighed = weigh(numbers, patterns, targets, n_draws=n_draws, seed=seed)
        groups = ["", *(value or NOBODY_KNOWS for (value,) in weighed.values)]
        for number, (component, _) in enumerate(targets):
            draws = [weighed.likelihoods(number, d) for d in range(min(1, n_draws), n_draws + 1)]
            for group, each in zip(groups, unpooled(*draws).estimates(), strict=True):
                found[way, group, component] = each
            named = [n for n, group in enumerate(groups) if group not in ("", NOBODY_KNOWS)]
            for_groups = [OverShares(each.log_odds, each.values[named]) for each in draws]
            for n, each in zip(named, pooled(*for_groups).of_groups.estimates(), strict=True):
                found[f"{way}, pooled", groups[n], component] = each
    return found


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=2000)
    parser.add_argument("--replicates", type=int, default=6)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--clean", action="store_true")
    parser.add_argument("--file", action="store_true")
    told = parser.parse_args()
    model = load_model("backlight@0")
    held, width, bias = defaultdict(list), defaultdict(list), defaultdict(list)
    for replicate in range(told.first, told.first + told.replicates):
        history = simulate(model, told.jobs, 100 + replicate, world(told.clean))
        truth = true_shares(history, model)
        for (way, group, component), (mean, low, high) in intervals(history, model, replicate, told.file).items():
            if (group, component) in truth:
                key = way, "groups" if group else "shop"
                true = truth[group, component]
                held[key].append(low <= true <= high)
                width[key].append(high - low)
                bias[key].append(mean - true)
        print(f"after {replicate + 1 - told.first} shops of {told.jobs} jobs")
        for key in sorted(held):
            off = np.sqrt(np.mean(np.square(bias[key])))
            print(f"  {key[1]:7} {key[0]:30} holds {np.mean(held[key]):6.1%} of {len(held[key]):4}; "
                  f"wide {np.mean(width[key]):.3f}; off by {off:.4f}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
