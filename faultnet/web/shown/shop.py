"""The shop in a few counts: its jobs, and which numbers its models go by."""

from dataclasses import dataclass

from faultnet.files.finder import list_models
from faultnet.jobs.stage import ENDED
from faultnet.store.summary import count_stages
from faultnet.store.versions import listed_versions
from faultnet.workshop.workshop import Workshop


@dataclass(frozen=True)
class InUse:
    """A version of a model that is in use, and the day since when."""

    version: str
    since: str


@dataclass(frozen=True)
class ShopShown:
    """n_at_work, n_ended: jobs; learned: versions in use; as_written: models in use as their files are."""

    n_at_work: int
    n_ended: int
    learned: tuple[InUse, ...]
    as_written: tuple[str, ...]


def shop_shown(workshop: Workshop) -> ShopShown:
    """The shop as it is now."""
    with workshop.database.read() as connection:
        stages, versions = count_stages(connection), listed_versions(connection)
    n_ended = sum(stages.get(stage, 0) for stage in ENDED)
    newest = {model: max(found) for model, found in versions.items()}
    return ShopShown(
        sum(stages.values()) - n_ended,
        n_ended,
        tuple(InUse(f"{model}@{number}", at[:10]) for model, (number, at) in newest.items()),
        tuple(model for model in list_models() if model not in newest),
    )
