"""`faultnet job sheet`: one page of a job, for the folder and for whoever opens the set next."""

from pathlib import Path

from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.telling.paper import write_paper
from faultnet.telling.sheet import sheet_of
from faultnet.workshop.workshop import on_the_bench


def write_sheet(number: str, *, out: str, as_pdf: bool, db: str, shop: str) -> None:
    """Write the job sheet. UsageProblem: the name ends in something else, or cannot be written."""
    file = Path(out or f"job-{number.replace('/', '-')}.{'pdf' if as_pdf else 'html'}")
    if as_pdf and file.suffix.lower() != ".pdf":
        raise UsageProblem(f"--out {out}: with --pdf the name ends in .pdf")
    if file.suffix.lower() not in (".html", ".pdf"):
        raise UsageProblem(f"--out {out}: write a name that ends in .html or .pdf")
    workshop = workshop_of(db, shop)
    write_paper(file, sheet_of(workshop, on_the_bench(workshop, number)), "--out")
    print(f"job sheet written: {file}")
