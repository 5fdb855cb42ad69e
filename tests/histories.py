"""Histories for tests: made-up jobs, a table as a shop keeps it; written out, taken in, read back."""

from functools import cache
from pathlib import Path

from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.jobs import Job
from faultnet.model import Model
from faultnet.sheets.write import write_table
from faultnet.simulate.shop import History, simulate
from faultnet.store.bulk import all_jobs
from faultnet.store.check import check_database
from faultnet.workshop.importing import Report, Source, take_in
from faultnet.workshop.workshop import Workshop


@cache
def backlight() -> Model:
    return load_model("backlight")


@cache
def made_up(n: int) -> History:
    return simulate(backlight(), n, seed=11)


def written_out(file: Path, jobs: tuple[Job, ...]) -> Path:
    write_table(file, columns([backlight()]), (row_of(job, backlight()) for job in jobs))
    return file


def jobs_in(workshop: Workshop) -> list[Job]:
    with workshop.database.read() as connection:
        assert list(check_database(connection)) == []
        return list(all_jobs(connection))


def taken(workshop: Workshop, file: Path, *, partial: bool = False, **told: object) -> Report:
    return take_in(workshop, Source(file, backlight(), **told), partial=partial)  # type: ignore[arg-type]


KEPT = """\
Order No;Date in;Inches;Got sound?;Torch Test;LED plug volts;Parts replaced;Result;Charged;Cat
17;3.5.2031;50;yes;picture;0,2 / 0,1;LED strips + power supply, ok;ok;180,50;grey
18;4.5.2031;43;;no picture seen;36,8;main board, still dark;NFF;;
"""


def kept(folder: Path, text: str = KEPT, encoding: str = "cp1252") -> Path:
    file = folder / "kept.csv"
    file.write_text(text, encoding=encoding)
    return file
