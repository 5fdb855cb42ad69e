"""The application: its screens and its JSON behind one gate."""

from pathlib import Path

from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.staticfiles import StaticFiles

from faultnet.version import __version__
from faultnet.web.api import answers as api_answers
from faultnet.web.api import history as api_history
from faultnet.web.api import jobs as api_jobs
from faultnet.web.api import reports as api_reports
from faultnet.web.api import settings as api_settings
from faultnet.web.api import versions as api_versions
from faultnet.web.api import voltages as api_voltages
from faultnet.web.entrance import Entrance
from faultnet.web.failures import handle_failures
from faultnet.web.guard import Guard
from faultnet.web.house import House
from faultnet.web.screens import (
    calibration,
    closing,
    entrance,
    entries,
    history,
    incoming,
    job,
    jobs,
    network,
    price,
    rates,
    repair,
    reports,
    settings,
    sheet,
    shop,
    step,
    tablet,
    tuning,
    voltages,
    volts,
    why,
)
from faultnet.web.worker import while_it_works, worker_of

AT_THE_BENCH = (jobs, job, step, volts, repair, why, network, entries, price, closing, sheet, tablet)

IN_THE_SHOP = (shop, history, incoming, voltages, settings, tuning, rates, calibration, reports)

SCREENS = (*AT_THE_BENCH, entrance, *IN_THE_SHOP)
"""In the order in which their paths are tried."""

API = (api_jobs, api_answers, api_history, api_voltages, api_settings, api_reports, api_versions)

ABOUT = (
    "The calls of the command line as JSON. Bodies are `application/json`. On a network (`faultnet serve --lan`) every "
    "call needs `Authorization: Bearer PIN`. Errors are an object with `problems`, a list of sentences."
)

STATIC = Path(__file__).parent / "static"


def make_app(house: House) -> FastAPI:
    """The application for a house; its document is at `/api/openapi.json`."""
    worker = worker_of(house)
    app = FastAPI(
        title="faultnet",
        version=__version__,
        description=ABOUT,
        docs_url=None,  # these two would load scripts from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
        middleware=[Middleware(Guard, names=house.names), Middleware(Entrance, house=house)],
        lifespan=while_it_works(worker, house),
    )
    app.state.house, app.state.worker = house, worker
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for screen in SCREENS:
        app.include_router(screen.router, include_in_schema=False)
    for part in API:
        app.include_router(part.router)
    handle_failures(app)
    return app
