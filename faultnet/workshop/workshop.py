"""The shop at work as one value, handed to everything that reads or writes jobs."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Engine

from faultnet.case import Case
from faultnet.errors import UsageProblem
from faultnet.files.load import shared_model
from faultnet.jobs import Job
from faultnet.jobs.replay import Replayed, replayed
from faultnet.model import Model
from faultnet.shop import Shop, load_shop
from faultnet.shop.groups import in_own_group
from faultnet.shop.nominal import KnownNominal, NominalTyped, known_nominal
from faultnet.shop.voltages import Entry
from faultnet.store.database import Database, open_database
from faultnet.store.jobs import find_job
from faultnet.store.voltages import read_voltages
from faultnet.workshop.backup import back_up_before
from faultnet.workshop.mirror import mirror_versions
from faultnet.workshop.place import known_versions, usual_database


@dataclass(frozen=True)
class Workshop:
    """A shop's settings and its open database; clock: what time it is, with its zone."""

    shop: Shop
    database: Database
    clock: Callable[[], datetime]

    def load_model(self, name: str) -> Model:
        """A model in the version that this shop uses, or in the one that is named; as `files.load.shared_model`."""
        return shared_model(name, versions=known_versions(self.database.shown))


@dataclass(frozen=True)
class Bench:
    """A job on the bench: with its model, the case it makes and how the set stands.

    after: the job it came back from. notes: what to know beside the answer: of its voltages, of entries left out.
    """

    job: Job
    model: Model
    replayed: Replayed
    after: Job | None
    notes: tuple[str, ...]

    @property
    def case(self) -> Case:
        return self.replayed.case


def open_workshop(clock: Callable[[], datetime], shop_file: str = "", database: str = "") -> Workshop:
    """The shop of these settings and this database: a file, or a URL; each found in its usual place where not named."""
    shop = load_shop(shop_file)

    def before_upgrade(engine: Engine) -> None:
        back_up_before(engine, shop, "upgrade", clock())

    opened = open_database(database or usual_database(shop), before_upgrade)
    mirror_versions(opened, is_usual=not database)
    return Workshop(shop, opened, clock)


def read_job(workshop: Workshop, number: str) -> tuple[Job, Job | None]:
    """A job, and the one it came back from. UsageProblem: there is none of this number."""
    with workshop.database.read() as connection:
        job = find_job(connection, number)
        return job, find_job(connection, job.after) if job.after else None


def on_the_bench(workshop: Workshop, number: str) -> Bench:
    """A job with its model, and all that was entered as a case. UsageProblem: no such job, or its model is gone."""
    job, after = read_job(workshop, number)
    model = model_of(workshop, job)
    return bench_of(workshop, job, model, after)


def bench_of(workshop: Workshop, job: Job, model: Model, after: Job | None) -> Bench:
    """The same of a job that was read before; with the shares of the set's own group, where there are any."""
    shop = workshop.shop
    model = in_own_group(model, job.facts, shop.panel_groups)
    known = nominal_of_job(workshop, job)
    usual = Case(nominal=known.nominal, meter=shop.meter, meters=shop.meters)
    made = replayed(job, model, usual, after)
    left_out = tuple(
        f"entry {entry.seq}, {entry.name}={entry.state or entry.value}, was for another model; not known to {model.id}"
        for entry in made.left_out
    )
    told = (model.notice,) if model.notice else ()
    return Bench(job, model, made, after, (*told, *known.notes, *left_out))


def nominal_of_job(workshop: Workshop, job: Job) -> KnownNominal:
    """What is known of the set's voltages, from what was noted and the shop's list."""

    def listed() -> list[Entry]:
        with workshop.database.read() as connection:
            return read_voltages(connection)

    return known_nominal(nominal_typed(job), listed)


def nominal_typed(job: Job) -> NominalTyped:
    """What was noted about the set's voltages."""
    facts = job.facts
    volts = float(facts["nominal"]) if "nominal" in facts else None
    leds = "" if volts is not None else facts.get("leds", "")
    return NominalTyped(volts, leds, facts.get("panel", ""), facts.get("board", ""))


def model_of(workshop: Workshop, job: Job) -> Model:
    """The model of a job. UsageProblem: it is gone."""
    try:
        return workshop.load_model(job.model)
    except UsageProblem as error:
        raise UsageProblem(*(f"job {job.number}: {problem}" for problem in error.problems)) from None
