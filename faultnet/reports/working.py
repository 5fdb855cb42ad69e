"""Reports worked out one after the other, each in a process of its own, so that no bench waits for one."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from threading import Event

from faultnet.errors import FaultnetError
from faultnet.workshop.reporting import BROKEN_OFF, fail, fail_broken_off, finish, report_of
from faultnet.workshop.workshop import Workshop, open_workshop

UNEXPECTED = "It failed, which is a fault of the program ({error}). Ask for less, or tell whoever looks after it."


_NICE = 5

Work = Callable[["Place", int], None]
"""What works a report out: given where the shop is, and its number."""


@dataclass(frozen=True)
class Place:
    """Where a shop is. database: its file or URL; shop_file: its settings, "" for their usual place."""

    database: str
    shop_file: str = ""


def place_of(workshop: Workshop, shop_file: str = "") -> Place:
    """Where a shop that is open is. shop_file: as it was opened with."""
    return Place(workshop.database.engine.url.render_as_string(hide_password=False), shop_file)


def work_out(place: Place, number: int) -> None:
    """Answer what a report asks and keep that, or why it cannot be answered; in a process of its own."""
    from faultnet.reports.answer import answer  # compiled kernels and plots: only here

    workshop = open_workshop(lambda: datetime.now(UTC), place.shop_file, place.database)
    try:
        finish(workshop, number, answer(workshop, report_of(workshop, number)).as_data())
    except FaultnetError as error:
        fail(workshop, number, str(error))
    except Exception as error:
        fail(workshop, number, UNEXPECTED.format(error=f"{type(error).__name__}: {error}"))
        raise
    finally:
        workshop.database.close()


def work_out_behind(place: Place, number: int) -> None:
    """The same, while no bench wants the processor."""
    if hasattr(os, "nice"):
        os.nice(_NICE)
    work_out(place, number)


class Worker:
    """Works out reports, in the order in which they were asked for. do: what works one out, in its own process."""

    def __init__(self, workshop: Workshop, place: Place, do: Work = work_out_behind) -> None:
        self._workshop, self._place, self._do = workshop, place, do
        self._line = ThreadPoolExecutor(1, thread_name_prefix="reports")
        self._is_closed = Event()
        self._process: BaseProcess | None = None
        fail_broken_off(workshop)

    def take(self, number: int) -> None:
        """Have a report worked out as soon as those before it are."""
        self._line.submit(self._work, number)

    def _work(self, number: int) -> None:
        """Wait for a process of its own; say so where that ended before the report was done."""
        with suppress(FaultnetError):  # dropped since, or the database is away: then the next start says so
            if not self._is_closed.is_set() and report_of(self._workshop, number).is_open:
                self._in_a_process(number)
                fail(self._workshop, number, BROKEN_OFF)

    def _in_a_process(self, number: int) -> None:
        process = get_context("spawn").Process(target=self._do, args=(self._place, number), daemon=True)
        self._process = process
        process.start()
        if self._is_closed.is_set():
            process.terminate()
        process.join()

    def close(self) -> None:
        """Stop, whatever is being worked out; its report says so."""
        self._is_closed.set()
        if self._process is not None and self._process.is_alive():
            self._process.terminate()
        self._line.shutdown(cancel_futures=True)
