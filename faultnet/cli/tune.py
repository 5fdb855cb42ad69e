"""`faultnet tune`: what past jobs change of a model's numbers, how sure that is, and whether it changes the advice."""

import json

from faultnet.cli.blocks import text_of
from faultnet.cli.picture import check_picture, write_picture
from faultnet.cli.progress import counted
from faultnet.cli.terminal import note
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.telling.medium import TERMINAL
from faultnet.telling.tuned import tuned_blocks, tuned_picture
from faultnet.telling.tuned_json import tuned_json
from faultnet.workshop.tuning import LEAST_STRENGTH, MOST_STRENGTH, Wanted, tune
from faultnet.workshop.versions import accept, check_named, check_said

FROM_JOBS = "data"


def strength_of(text: str) -> float | None:
    """What was typed after --strength: a factor, or None for `data`. UsageProblem: neither."""
    if text == FROM_JOBS:
        return None
    try:
        factor = float(text)
    except ValueError:
        factor = 0.0
    if not LEAST_STRENGTH <= factor <= MOST_STRENGTH:
        raise UsageProblem(
            f"--strength {text}: a number from {LEAST_STRENGTH:g} to {MOST_STRENGTH:g}, such as 0.5 for half as much, "
            f"or {FROM_JOBS}"
        )
    return factor


def tune_model(
    wanted: Wanted,
    *,
    accepting: bool,
    by: str,
    reason: str,
    picture: str = "",
    db: str,
    shop: str,
    full: bool,
    as_json: bool,
) -> None:
    """Print what past jobs change; with `accepting`, make it the model's newest version. picture: of the shares."""
    check_picture(picture)
    if accepting:
        check_said(by, reason)
    workshop = workshop_of(db, shop)
    if accepting:
        check_named(workshop, workshop.load_model(wanted.model))
    if picture and workshop.load_model(wanted.model).is_imported:
        raise UsageProblem(f"--picture {picture}: {wanted.model} is an imported network, which has no shares to draw")
    with counted("learning", "rounds") as told:
        tuned = tune(workshop, wanted, lambda _what, n: told(n))
    if picture:
        write_picture(picture, tuned_picture(tuned))
    version = accept(workshop, tuned.learned, tuned.number_in_use, by, reason) if accepting else None
    if as_json:
        print(json.dumps(tuned_json(tuned, version), indent=2))
        return
    print(text_of(tuned_blocks(tuned, wanted, TERMINAL, full=full)))
    if version is not None:
        print(f"Accepted as {version.id} by {version.by}. Take it back: faultnet model undo {version.model}")
    elif not tuned.learned.converged:
        note("it had not quite settled; more rounds would change it a little")
