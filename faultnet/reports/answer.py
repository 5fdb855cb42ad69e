"""What is asked of past jobs, answered through the same calls as at the command line."""

from faultnet.analysis.comebacks import Comebacks
from faultnet.plots.inline import inline_svg
from faultnet.plots.rates import draw_comebacks, draw_rates
from faultnet.plots.reliability import draw_reliability
from faultnet.reports.document import Document
from faultnet.reports.incoming import incoming
from faultnet.store.reports import Report
from faultnet.telling.calibration import calibration_blocks
from faultnet.telling.calibration_json import as_document
from faultnet.telling.comebacks import comebacks_blocks
from faultnet.telling.medium import PAGE
from faultnet.telling.rates import rates_blocks, rates_json, words_for
from faultnet.telling.tuned import tuned_blocks, tuned_picture
from faultnet.telling.tuned_json import tuned_json
from faultnet.workshop import calibrating, rating, tuning
from faultnet.workshop.asked import wanted_of
from faultnet.workshop.uploading import IMPORT
from faultnet.workshop.versions import would_be
from faultnet.workshop.workshop import Workshop


def answer(workshop: Workshop, report: Report) -> Document:
    """What comes out of a report. FaultnetError: as the calls behind it say."""
    if report.kind == IMPORT:
        return incoming(workshop, report)
    wanted = wanted_of(workshop, report.kind, report.asked)
    if isinstance(wanted, tuning.Wanted):
        return _tuned(workshop, wanted)
    if isinstance(wanted, rating.Wanted):
        return _rates(workshop, wanted)
    return _calibration(workshop, wanted)


def _tuned(workshop: Workshop, wanted: tuning.Wanted) -> Document:
    tuned = tuning.tune(workshop, wanted)
    picture = {} if tuned.in_use.is_imported else {"shares": tuned_picture(tuned)}
    blocks, everything = (tuple(tuned_blocks(tuned, wanted, PAGE, full=full)) for full in (False, True))
    version = would_be(tuned.learned, tuned.number_in_use).as_document()
    return Document(blocks, everything, tuned_json(tuned), picture, version)


def _rates(workshop: Workshop, wanted: rating.Wanted) -> Document:
    found = rating.rate(workshop, wanted)
    if isinstance(found, Comebacks):
        told = tuple(comebacks_blocks(found))
        picture = inline_svg(draw_comebacks(found), told[0].title)
        return Document(told, told, rates_json(found), {"comebacks": picture})
    model = workshop.load_model(found.model.partition("@")[0])
    blocks, everything = (tuple(rates_blocks(found, model, PAGE, full=full)) for full in (False, True))
    picture = inline_svg(draw_rates(found, words_for(found, model)), blocks[0].title)
    return Document(blocks, everything, rates_json(found), {"rates": picture})


def _calibration(workshop: Workshop, wanted: calibrating.Wanted) -> Document:
    found = calibrating.calibrate(workshop, wanted)
    told = tuple(calibration_blocks(found, workshop.load_model(wanted.model), PAGE))
    picture = inline_svg(draw_reliability(found), f"Do the chances of {found.model} hold?")
    return Document(told, told, as_document(found), {"reliability": picture})
