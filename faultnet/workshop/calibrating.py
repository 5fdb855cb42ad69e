"""Whether a model's chances hold on the shop's own jobs, or on files of past jobs."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from faultnet.analysis.calibration import Calibration, calibration
from faultnet.learning.learn import Told
from faultnet.store.voltages import read_voltages
from faultnet.workshop.tuning import usual_case
from faultnet.workshop.workshop import Workshop


@dataclass(frozen=True)
class Wanted:
    """What to judge. since: jobs that came in from this day on, and were not learned from. A model with its version is
    used as it is, and nothing is learned. files: past jobs as Parquet or CSV, none for the shop's own."""

    model: str
    since: str = ""
    files: Sequence[Path] = ()
    seed: int = 0


def calibrate(workshop: Workshop, wanted: Wanted, told: Told = lambda _what, _n: None) -> Calibration:
    """How a model's forecasts turned out, with the shop's meters, voltages and panel groups. Errors: as they say."""
    model = workshop.load_model(wanted.model)
    is_named = "@" in wanted.model
    if not is_named and model.version != f"{model.id}@0":
        model = workshop.load_model(f"{model.id}@0")
    with workshop.database.read() as connection:
        voltages = read_voltages(connection)
    return calibration(
        [*wanted.files] or workshop.database,
        model,
        since=wanted.since,
        learning=not is_named,
        usual=usual_case(workshop),
        voltages=voltages,
        group_of=workshop.shop.panel_groups.group_of,
        seed=wanted.seed,
        told=told,
    )
