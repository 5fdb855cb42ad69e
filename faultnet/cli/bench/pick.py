"""Picking the job to work on, or opening a new one."""

from faultnet.cli.bench.ask import choose
from faultnet.cli.bench.keys import Left, ask_key, ask_line
from faultnet.cli.job.show import row_of
from faultnet.cli.terminal import bold, note, table
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.files.finder import list_models
from faultnet.jobs.facts import FACTS, OCCURRENCES
from faultnet.jobs.stage import BEFORE_THE_END
from faultnet.store.jobs import list_jobs
from faultnet.workshop.opening import Opening, open_job
from faultnet.workshop.workshop import Workshop

_SHOWN = 9


def pick_job(workshop: Workshop, by: str) -> str:
    """The number of the job that was picked, or of a new one. Left: neither."""
    with workshop.database.read() as connection:
        found = list_jobs(connection, BEFORE_THE_END)[:_SHOWN]
    while True:
        print(bold("Which job?"))
        rows = [(str(n), *row_of(job, job.stage)) for n, job in enumerate(found, start=1)]
        print("\n".join(table(rows, "rllllll") if rows else ["  no job is open"]))
        pressed = ask_key("its key, n new, j by number, l leave: ").lower()
        if pressed.isdecimal() and 1 <= int(pressed) <= len(found):
            return found[int(pressed) - 1].number
        if pressed == "j":
            return ask_line("number: ")
        if pressed == "n":
            try:
                return _open_new(workshop, by)
            except UsageProblem as error:
                note(str(error))
        if pressed == "l":
            raise Left


def _open_new(workshop: Workshop, by: str) -> str:
    models = [*list_models()]
    number = choose("What came in?", [(load_model(model).title, model) for model in models])
    if number is None:
        raise UsageProblem("no job was opened")
    facts = {}
    for name in ("panel", "size", "age", "nominal"):
        unit = f" in {FACTS[name].unit}" if FACTS[name].unit else ""
        if text := ask_line(f"{FACTS[name].means}{unit}, or nothing: "):
            facts[name] = text
    fails = choose("When does it fail?", [(words, "") for words in OCCURRENCES.values()])
    facts["occurrence"] = [*OCCURRENCES][fails or 0]
    return open_job(workshop, Opening(models[number], facts=facts, by=by))
