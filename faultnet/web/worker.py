"""What works beside the page, begun with it and stopped with it: reports, and answers ahead of their question."""

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from typing import Annotated

from fastapi import Depends, FastAPI, Request

from faultnet.reports.working import Worker, place_of
from faultnet.web.house import House


def worker_of(house: House) -> Worker:
    """A new one, at the house's shop. StoreProblem: its database cannot be written."""
    return Worker(house.opened, place_of(house.opened, house.shop_file))


def while_it_works(worker: Worker, house: House) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """What an application runs in: once it stops, nobody waits for what is being worked out."""

    @asynccontextmanager
    async def running(_: FastAPI) -> AsyncIterator[None]:
        house.ahead.start(house.remembered)
        try:
            yield
        finally:
            house.ahead.stop()
            worker.close()

    return running


def _worker(request: Request) -> Worker:
    worker: Worker = request.app.state.worker
    return worker


Working = Annotated[Worker, Depends(_worker)]
