"""One model asked by several threads at once, as by the benches of a server: the same answers as asked alone."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from threading import Barrier
from typing import Any

import pytest
from bench_models import ODDS, lamp
from small_models import TINY, edit, write_model

from faultnet.case import Case, parse_events
from faultnet.diagnosis import diagnose
from faultnet.files import load_model
from faultnet.files.fits import fits_better
from faultnet.files.load import shared_model
from faultnet.model import Model
from faultnet.ranking import rank_tests
from faultnet.ranking.on_top import with_times_on_top
from faultnet.readings import Nominal
from faultnet.settings import ShopSettings

BENCHES = 8

BACKLIGHT = (
    "",
    "sound=present flashlight=image_seen",
    "sound=present flashlight=image_seen startup_flash=none loaded_voltage=0.1,0,0.2",
    "sound=present startup_flash=flash_then_off open_voltage=61.5x5",
    "sound=present flashlight=image_seen bl_on=high loaded_voltage=24x5 open_voltage=61.5x5",
    "sound=present strip_tester=dark loaded_voltage=0.1 replace_strips=not open_voltage=32x5",
    "sound=absent fuses=open",
    "flashlight=image_seen loaded_voltage_peak=60 blink_code=normal_on",
)

LAMP = (
    "",
    "seen_again=dark",
    "seen_again=dark glow=glows",
    "feed_voltage=0.3",
    "feed_voltage=9.7 filament=open",
    "seen_again=dark feed_voltage=9.7 new_bulb=not",
    "glow=stays_dark scale=light",
    "feed_voltage=9.7 new_battery=not feed_voltage=9.6 filament=conducts",
)


def answer(model: Model, told: str, nominal: float | None) -> tuple[Any, ...]:
    """Everything that a page shows of a case, comparable bit by bit."""
    case = Case(tuple(parse_events(model, told.split())), nominal=None if nominal is None else Nominal.label(nominal))
    ranking = with_times_on_top(model, case, rank_tests(model, case, settings=ShopSettings(trained=True)))
    return (
        diagnose(model, case),
        (ranking.tests, ranking.repairs, ranking.held_back, ranking.advice, ranking.on_top),
        fits_better(model, case),
    )


def all_at_once(ask: Callable[[int], Any]) -> list[Any]:
    """What each of the threads gets, which all begin at the same moment."""
    start = Barrier(BENCHES)

    def one(number: int) -> Any:
        start.wait()
        return ask(number)

    with ThreadPoolExecutor(BENCHES) as threads:
        return list(threads.map(one, range(BENCHES)))


@pytest.mark.parametrize(
    ("make", "told", "volts"),
    [
        (lambda: load_model("backlight@0"), BACKLIGHT, 54.0),
        (lambda: lamp(odds=ODDS), LAMP, 10.0),
        (lambda: replace(lamp(odds=ODDS), engine="tree"), LAMP, 10.0),
    ],
    ids=["backlight", "small", "small, by the tree"],
)
def test_threads_that_share_a_model_get_the_answers_of_asking_alone(
    make: Callable[[], Model], told: Sequence[str], volts: float
) -> None:
    nominals = [volts if number % 2 else None for number in range(BENCHES)]
    alone = [answer(make(), *each) for each in zip(told, nominals, strict=True)]
    assert len({repr(one[0]) for one in alone}) == BENCHES
    fresh = make()  # nothing compiled and nothing kept when they begin
    assert all_at_once(lambda number: answer(fresh, told[number], nominals[number])) == alone
    assert all_at_once(lambda number: answer(fresh, told[-1 - number], nominals[-1 - number])) == alone[::-1]


def test_a_model_is_made_once_for_all_threads() -> None:
    models = all_at_once(lambda _: shared_model("backlight"))
    assert all(model is models[0] for model in models)
    assert models[0] == load_model("backlight")
    assert len({id(compiled) for compiled in all_at_once(lambda _: models[0].compiled)}) == 1


def test_what_is_shared_is_the_text_and_not_the_time_of_a_file(tmp_path: Path) -> None:
    file = write_model(tmp_path, TINY)
    before, first = Path(file).stat(), shared_model(file)
    assert shared_model(file) is first
    changed = edit("open, share: 0.5", "open, share: 0.4", edit("in this model, share: 0.1", "x, share: 0.2"))
    write_model(tmp_path, changed)
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert shared_model(file).components["lamp"].modes[0].share == 0.4
    write_model(tmp_path, TINY)
    assert shared_model(file) is first


def test_the_same_text_in_two_files_is_two_models(tmp_path: Path) -> None:
    one, two = (write_model(tmp_path, TINY, name) for name in ("one.yaml", "two.yaml"))
    assert (shared_model(one).file, shared_model(two).file) == (one, two)
    assert shared_model(one) == shared_model(two)
