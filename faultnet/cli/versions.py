"""`faultnet model diff` and `undo`: versions of a model beside each other, and back."""

import json

from faultnet.cli.blocks import text_of
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.telling.differing import differing_block, differing_json
from faultnet.telling.medium import TERMINAL
from faultnet.workshop.versions import take_back


def diff(one: str, other: str, *, db: str, shop: str, full: bool, as_json: bool) -> None:
    """Print the numbers in which two versions differ; of one alone, beside the file as written."""
    workshop = workshop_of(db, shop)
    after = workshop.load_model(one)
    before = workshop.load_model(other or f"{after.id}@0")
    if other:
        before, after = after, before
    if before.id != after.id:
        raise UsageProblem(
            f"{before.id} and {after.id} are different models; a version is compared with another of its own"
        )
    if as_json:
        print(json.dumps(differing_json(before, after), indent=2))
    else:
        print(text_of([differing_block(before, after, TERMINAL, full=full)]))


def undo(model: str, *, by: str, reason: str, db: str, shop: str, as_json: bool) -> None:
    """Take the newest version of a model back."""
    workshop = workshop_of(db, shop)
    version = take_back(workshop, workshop.load_model(f"{model.partition('@')[0]}@0").id, by, reason)
    if as_json:
        print(json.dumps({"version": version.id, "undoes": version.undoes}, indent=2))
        return
    same = f"{version.model}@{version.undoes}"
    print(
        f"{same} was taken back: {version.id} has the numbers from before it. Nothing is lost; {same} can be looked at."
    )
