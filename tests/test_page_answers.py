"""Answers that the page keeps, and works out ahead: never another set's, never of other numbers."""

import time
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from pages import Bench, bench, house_on, served
from test_versions import learned

from faultnet.telling.answer_json import answer_json
from faultnet.web.house import House
from faultnet.web.remembered import MOST_KEPT, Remembered
from faultnet.workshop.entering import enter
from faultnet.workshop.looking import Look, look_at
from faultnet.workshop.opening import Opening, open_job
from faultnet.workshop.workshop import on_the_bench


@pytest.fixture
def house(tmp_path: Path) -> House:
    return house_on(tmp_path)


def a_job(house: House, *events: str, **facts: str) -> str:
    number = open_job(house.opened, Opening("backlight", facts=facts))
    if events:
        enter(house.opened, number, list(events))
    return number


def told(found: Look) -> dict[str, object]:
    return answer_json(found.bench.model, found.bench.case, found.diagnosis, found.ranking, found.fits_better)


def test_each_set_gets_its_own_answer_however_often_it_is_asked(house: House) -> None:
    workshop, kept = house.opened, house.remembered
    numbers = [
        a_job(house, "sound=present", nominal="54"),
        a_job(house, "sound=present", nominal="60"),
        a_job(house, "sound=absent", nominal="54"),
        a_job(house, "sound=present", nominal="54", size="75"),
    ]
    for _ in range(2):
        for number in numbers:
            set_ = on_the_bench(workshop, number)
            found = kept.with_times_on_top(kept.look_at(workshop, set_, trained=True))
            assert told(found) == told(look_at(workshop, set_, trained=True))
            assert found.bench.job.number == number
    helper = kept.look_at(workshop, on_the_bench(workshop, numbers[0]), trained=False)
    assert not helper.ranking.settings.trained


def test_another_version_of_the_same_number_is_another_model(house: House) -> None:
    """As after a restore: the names are the same, the numbers are not."""
    set_ = on_the_bench(house.opened, a_job(house, "sound=present"))
    kept = Remembered()
    shares = []
    for by in (0.02, -0.05):
        model = learned(by).as_version("backlight@1")
        shares.append(kept.look_at(house.opened, replace(set_, model=model), trained=True).diagnosis.faulty("strips"))
    assert shares[0] != shares[1]


def test_the_oldest_answers_go(house: House) -> None:
    set_ = on_the_bench(house.opened, a_job(house))
    found = house.remembered.look_at(house.opened, set_, trained=True)
    for n in range(MOST_KEPT + 5):
        house.remembered._kept(f"another {n}", (found.diagnosis, found.ranking, None), set_.model)
    assert len(house.remembered._answers) == MOST_KEPT
    again = house.remembered.look_at(house.opened, set_, trained=True)
    assert again.diagnosis is not found.diagnosis
    assert again.diagnosis == found.diagnosis


def test_what_the_advised_test_may_show_is_worked_out_ahead(house: House) -> None:
    number = a_job(house, "sound=present", "flashlight=image_seen")
    with served(house) as address:
        httpx.get(f"{address}/jobs/{number}")
        end = time.monotonic() + 60
        while len(house.remembered._answers) < 5:  # now, how sure its order is, and each of three outcomes
            assert time.monotonic() < end
            time.sleep(0.05)
        before = dict(house.remembered._answers)
        answer = httpx.post(
            f"{address}/jobs/{number}/seen",
            data={"event": "startup_flash=none", "test": "startup_flash"},
            headers={"Origin": address},
            follow_redirects=True,
        )
        assert "no flash" in answer.text
        found = house.remembered.look_at(house.workshop(), on_the_bench(house.workshop(), number), trained=None)
        assert any(found.diagnosis is kept[0][0] for kept in before.values())
    assert told(found)["faults"] == told(look_at(house.workshop(), found.bench))["faults"]


def test_advice_is_noted_once_somebody_saw_it(house: House) -> None:
    page: Bench = bench(house)
    number = a_job(house, "sound=present")
    for _ in range(2):
        page.get(f"/jobs/{number}")
    assert page.client.get(f"/api/jobs/{number}").json()["advice"][0]["shown_in"] == "page"
    assert len(page.client.get(f"/api/jobs/{number}").json()["advice"]) == 1
