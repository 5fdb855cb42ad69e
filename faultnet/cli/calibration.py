"""`faultnet calibration`: can a model's chances be trusted?"""

import json
from typing import TYPE_CHECKING

from faultnet.analysis.calibration import Calibration
from faultnet.cli.blocks import text_of
from faultnet.cli.progress import counted
from faultnet.cli.shown import Shown
from faultnet.cli.workshop import workshop_of
from faultnet.telling.calibration import calibration_blocks
from faultnet.telling.calibration_json import as_document
from faultnet.telling.medium import TERMINAL
from faultnet.workshop.calibrating import Wanted, calibrate

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def show_calibration(wanted: Wanted, shown: Shown, *, db: str, shop: str) -> None:
    """Judge, write files, and print."""
    shown.check()
    workshop = workshop_of(db, shop)
    with counted("learning, then judging", "rounds") as told:
        found = calibrate(workshop, wanted, lambda _what, n: told(n))
    shown.write(found.to_frame(), lambda: _figure(found))
    if shown.as_json:
        print(json.dumps(as_document(found), indent=2))
    else:
        print(text_of(calibration_blocks(found, workshop.load_model(wanted.model), TERMINAL)))


def _figure(found: Calibration) -> "Figure":
    from faultnet.plots.reliability import draw_reliability

    return draw_reliability(found)
