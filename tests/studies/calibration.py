"""Does `calibration` say what is true? Made-up shops on which forecasts are right, or too sure, or learned.

    python tests/studies/calibration.py right [--jobs 2000] [--replicates 20] [--first 0] [--clean]
    python tests/studies/calibration.py learned [--jobs 300] [--replicates 3] [--first 0] [--demo]

`right`: shops without drift and without odds of panel groups, drawn from the model file; judged are the file's own
numbers, and those with every table row sharpened (raised to a power of 1.5, scaled to sum to 1), which claims too much.
Of each: how often the bands hold the diagram, p-values, the overall excess of the log score, and alarms. With
`--clean` whoever repairs knows no more than what is written down: all of it is, rightly, and volts as words.
`learned`: shops whose numbers are drawn from the prior of the file; faultnet and the baselines learn from so many jobs,
and are judged on 2,000 further ones. With `--demo` the shop is like the demo's, with drift and groups, drawn from the
file. Results are kept in `calibration.md`.
"""

import argparse
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from recovery import drawn_truth, world

from faultnet.analysis.calibration import Calibration, calibration
from faultnet.analysis.judged import Judged
from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.model import Model
from faultnet.model.chances import Chances, chances_of, with_chances
from faultnet.sheets.write import write_table
from faultnet.simulate.shop import simulate
from faultnet.simulate.world import World

N_JUDGED = 2_000


def sharpened(model: Model, power: float) -> Model:
    """The model with every row of its tables raised to a power: too sure of what findings say."""

    def sharp(each: Chances) -> Chances:
        raised = np.array(each.means) ** power
        return replace(each, means=tuple((raised / raised.sum()).tolist()))

    rows = [sharp(each) for each in chances_of(model) if each.kind == "row"]
    odds = tuple(model.compiled.odds[mode] for mode in model.modes)
    return replace(with_chances(model, rows, model.version), root_odds=odds)


def told(found: Calibration) -> str:
    shown = []
    for name, each in (("repairs", found.repairs), ("causes", found.causes)):
        if each is not None:
            shown.append(
                f"{name} {each.n_jobs:4}: log {each.scores[0].log.mean:.3f} p {each.diagram.p_value:.4f} "
                f"holds {each.diagram.holds!s:5} z {each.watch.overall_z:+.2f} alarm {each.watch.since or '-'}"
            )
    return "  ".join(shown)


def right(arguments: argparse.Namespace) -> None:
    model, powers = load_model("backlight@0"), (1.0, 1.5)
    models = {power: model if power == 1 else sharpened(model, power) for power in powers}
    found: dict[float, list[Calibration]] = {power: [] for power in powers}
    shop = replace(world(clean=True), as_state=1.0) if arguments.clean else world()
    for seed in range(arguments.first, arguments.first + arguments.replicates):
        history = simulate(model, arguments.jobs, seed=5_000 + seed, world=shop)
        with TemporaryDirectory() as folder:
            file = Path(folder) / "jobs.csv"
            write_table(file, columns([model]), (row_of(job, model) for job in history.jobs))
            for power, judged in models.items():
                each = calibration(file, judged, since="2028-01-01", learning=False, seed=seed)
                found[power].append(each)
                print(f"{seed:3}  power {power:g}  {told(each)}", flush=True)
    for power, listed in found.items():
        _summed_up(f"power {power:g}, repairs", [each.repairs for each in listed])
        _summed_up(f"power {power:g}, causes", [each.causes for each in listed if each.causes is not None])


def _summed_up(what: str, listed: list[Judged]) -> None:
    held = sum(each.diagram.holds for each in listed)
    small = sum(each.diagram.p_value < 0.05 for each in listed)
    alarms = sum(bool(each.watch.since) for each in listed)
    z = np.array([each.watch.overall_z for each in listed])
    print(
        f"{what}: bands hold {held} of {len(listed)}, p below .05 in {small}, alarms {alarms}, z {z.mean():+.2f} "
        f"(sd {z.std(ddof=1):.2f})"
    )


def learned(arguments: argparse.Namespace) -> None:
    model = load_model("backlight@0")
    every: list[Calibration] = []
    for seed in range(arguments.first, arguments.first + arguments.replicates):
        truth = model if arguments.demo else replace(drawn_truth(model, seed, 1.0), id="backlight")
        shop = World() if arguments.demo else world()
        history = simulate(truth, arguments.jobs + N_JUDGED, seed=7_000 + seed, world=shop)
        since = f"{history.jobs[arguments.jobs].opened_at:%Y-%m-%d}"
        with TemporaryDirectory() as folder:
            file = Path(folder) / "jobs.csv"
            write_table(file, columns([model]), (row_of(job, model) for job in history.jobs))
            found = calibration(file, model, since=since, seed=seed)
            as_written = calibration(file, model, since=since, learning=False, seed=seed)
        every.append(found)
        both = ("repairs", found.repairs, as_written.repairs), ("causes", found.causes, as_written.causes)
        for asked, own, written in both:
            assert own is not None
            assert written is not None
            for each in (*own.scores, replace(written.scores[0], way="file")):
                print(
                    f"{seed:3}  {asked:7}  {each.way:14} log {each.log.mean:.3f} ({each.log_more.mean:+.3f}: "
                    f"{each.log_more.low:+.3f} to {each.log_more.high:+.3f})  brier {each.brier.mean:.3f}",
                    flush=True,
                )
        print(f"{seed:3}  {told(found)}  learned {found.n_learned}", flush=True)
    _compared("repairs", [found.repairs for found in every])
    _compared("causes", [found.causes for found in every if found.causes is not None])


def _compared(asked: str, listed: list[Judged]) -> None:
    for number, way in enumerate(each.way for each in listed[0].scores):
        logs, more, brier = (
            np.mean([getattr(judged.scores[number], name).mean for judged in listed])
            for name in ("log", "log_more", "brier")
        )
        print(f"{asked:7}  {way:14} log {logs:.3f} ({more:+.3f})  brier {brier:.3f}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("right", "learned"))
    parser.add_argument("--jobs", type=int, default=N_JUDGED)
    parser.add_argument("--replicates", type=int, default=20)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--clean", action="store_true")
    parser.add_argument("--demo", action="store_true")
    arguments = parser.parse_args()
    {"right": right, "learned": learned}[arguments.what](arguments)


if __name__ == "__main__":
    main()
