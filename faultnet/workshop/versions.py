"""Versions of models at work: accepted, taken back, and mirrored where they are read without a database."""

from dataclasses import replace
from typing import TYPE_CHECKING

from faultnet.errors import Stale, UsageProblem
from faultnet.files.load import digest_of
from faultnet.model import Model
from faultnet.model.version import Version
from faultnet.store.tables import moment_text
from faultnet.store.versions import insert_version, newest_number, read_versions
from faultnet.workshop.mirror import mirror_versions
from faultnet.workshop.workshop import Workshop

if TYPE_CHECKING:  # versions are looked at and taken back without what it takes to learn them
    from faultnet.learning.learn import Learned


WHO, WHY = "say who accepts it", "say why"


def accept(workshop: Workshop, learned: "Learned", parent: int, by: str, reason: str) -> Version:
    """Make what was learned the model's newest version. parent: the version that was in use when it was learned.

    UsageProblem: no name or reason, a model that is not what its id means, or another version was accepted meanwhile.
    """
    check_said(by, reason)
    check_named(workshop, learned.model)
    return accept_version(workshop, would_be(learned, parent), by, reason)


def would_be(learned: "Learned", parent: int) -> Version:
    """What was learned as the version that it would be: nobody has accepted it, so by, reason and at are "".

    FileProblem: the model's file cannot be read any more.
    """
    model = learned.as_version(f"{learned.model.id}@{parent + 1}")
    return Version(
        model=model.id,
        number=parent + 1,
        parent=parent,
        digest=digest_of(learned.model),
        chances=learned.chances,
        root_odds=tuple(model.compiled.odds[mode] for mode in model.modes),
        n_jobs=learned.n_jobs,
        log_scores=(learned.log_score_before, learned.log_score_after),
        by="",
        reason="",
        at="",
        pooled=learned.pooled,
    )


def accept_version(workshop: Workshop, version: Version, by: str, reason: str) -> Version:
    """Make such a version the newest one.

    UsageProblem: no name or reason, its model's file was changed, or another version was accepted meanwhile.
    """
    check_said(by, reason)
    if digest_of(workshop.load_model(f"{version.model}@0")) != version.digest:
        raise UsageProblem(f"the file of {version.model} is not the one that this was learned with: tune again")
    at = moment_text(workshop.clock())
    return _kept(workshop, replace(version, by=by.strip(), reason=reason.strip(), at=at))


def check_said(by: str, reason: str) -> None:
    """UsageProblem: nobody said who accepts a version, or why."""
    options = {WHO: "--by CODE", WHY: "--reason TEXT"}
    if problems := [f"{what}: {options[what]}" for what in unsaid(by, reason)]:
        raise UsageProblem(*problems)


def unsaid(by: str, reason: str) -> tuple[str, ...]:
    """What was not said of who accepts a version, or takes one back, and why."""
    return tuple(what for what, said in ((WHO, by), (WHY, reason)) if not said.strip())


def check_named(workshop: Workshop, model: Model) -> None:
    """UsageProblem: a model was read from another file than the one that its id means, which a version would be for."""
    meant = workshop.load_model(f"{model.id}@0")
    if digest_of(meant) != digest_of(model):
        raise UsageProblem(
            f"{model.file} is not what {model.id} means here ({meant.file}): a version would be for another text. "
            "Give it an id of its own and put it into your models folder, then tune it by that id"
        )


def take_back(workshop: Workshop, model: str, by: str, reason: str, number: int | None = None) -> Version:
    """The numbers from before the newest version again, as a version of its own; taken back again, those before these.

    number: of the version that is meant. UsageProblem: there is none to take back. Stale: it is not the newest.
    """
    known = {each.number: each for each in versions_of(workshop, model)}
    newest = known[max(known)] if known else None
    if newest is None or not newest.chances:
        raise UsageProblem(f"{model} is in use as its file was written; there is nothing to take back")
    if number is not None and number != newest.number:
        raise Stale(f"{newest.id} was accepted meanwhile, by {newest.by}: look again before you take anything back")
    target = known.get(newest.parent)
    written = replace(newest, chances=(), root_odds=(), pooled=None, n_jobs=0, log_scores=(0.0, 0.0))
    numbers = written if target is None else target
    version = replace(
        numbers,
        number=newest.number + 1,
        parent=0 if target is None else target.parent,
        by=by.strip(),
        reason=reason.strip() or f"{newest.id} taken back",
        at=moment_text(workshop.clock()),
        undoes=newest.number,
    )
    return _kept(workshop, version)


def _kept(workshop: Workshop, version: Version) -> Version:
    with workshop.database.write() as connection:
        insert_version(connection, version)
    mirror_versions(workshop.database)
    return version


def versions_of(workshop: Workshop, model: str) -> list[Version]:
    """All versions of a model, the oldest first."""
    with workshop.database.read() as connection:
        return read_versions(connection, model)


def number_in_use(workshop: Workshop, model: str) -> int:
    """The number of the version in use, 0 for the file as written."""
    with workshop.database.read() as connection:
        return newest_number(connection, model)
