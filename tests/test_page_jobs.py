"""A job at the page, from intake to its end, form by form."""

import html
import re
from pathlib import Path

import pytest
from pages import Bench, bench, hidden, house_on, text_of
from test_cli import certain_text

from faultnet.jobs import Job
from faultnet.web.house import House
from faultnet.workshop.workshop import read_job


@pytest.fixture
def house(tmp_path: Path) -> House:
    return house_on(tmp_path)


@pytest.fixture
def page(house: House) -> Bench:
    return bench(house)


def opened(page: Bench, **facts: str) -> str:
    usual = {"model": "backlight", "size": "50", "age": "6", "nominal": "54", "occurrence": "always"}
    told = page.post("/new", **{**usual, **facts})
    found = re.search(r"<h1>Job (\w+)</h1>", told)
    assert found is not None
    return found[1]


def job_of(house: House, number: str = "1001") -> Job:
    return read_job(house.workshop(), number)[0]


def test_a_shop_without_jobs_says_so_and_offers_to_take_one_in(page: Bench) -> None:
    told = page.get("/")
    assert "No set is on the bench" in text_of(told)
    assert 'href="/new"' in told


def test_a_set_is_taken_in_and_its_job_says_what_to_do_first(page: Bench, house: House) -> None:
    page.post("/new", model="backlight", size="50", occurrence="always", nominal="54", note="scratch on the frame")
    told = text_of(page.get("/jobs/1001"))
    assert "Job 1001" in told
    assert "50 inch" in told
    assert "Listen for sound" in told or "listen for sound" in told
    job = job_of(house)
    assert job.facts["nominal"] == "54"
    assert any(entry.note == "scratch on the frame" for entry in job.entries)


def test_every_slip_at_intake_is_told_at_once_and_what_was_typed_stays(page: Bench) -> None:
    told = page.post("/new", 422, model="backlight", size="huge", age="-3", panel="MRT 32")
    words = text_of(told)
    assert "5 to 200 inch" in words
    assert "0 to 60 years" in words
    assert 'value="MRT 32"' in told
    assert "No set is on the bench" in text_of(page.get("/"))


def test_one_press_writes_down_what_was_seen_and_a_reload_writes_nothing_more(page: Bench, house: House) -> None:
    number = opened(page)
    told = page.post(f"/jobs/{number}/seen", event="sound=present", test="sound", seen="4")
    assert "Written down: 5. sound: present" in text_of(told)
    page.get(f"/jobs/{number}")
    assert [entry.name for entry in job_of(house).entries if entry.kind == "finding"] == ["sound"]


def test_a_double_tap_writes_one_entry(page: Bench, house: House) -> None:
    number = opened(page)
    for _ in range(2):
        told = page.post(f"/jobs/{number}/seen", event="sound=present", test="sound", seen="4")
    assert "Written down: 5. sound: present" in text_of(told)
    assert sum(entry.name == "sound" for entry in job_of(house).entries) == 1


def test_a_set_that_fails_at_times_is_asked_whether_it_did(page: Bench, house: House) -> None:
    number = opened(page, occurrence="sometimes")
    assert "Was it failing meanwhile?" in page.get(f"/jobs/{number}")
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound", seen="4", symptom="not_showing")
    assert job_of(house).standing[-1].symptom == "not_showing"


def test_nothing_chosen_is_told(page: Bench) -> None:
    number = opened(page)
    assert "press what was seen" in text_of(page.post(f"/jobs/{number}/seen", 422, test="sound", seen="4"))


# -- cautions ----------------------------------------------------------------------------------------------------------


def powered(page: Bench, number: str) -> str:
    """A job whose advised step is a powered one; that step's id."""
    for event in ("sound=present", "flashlight=image_seen", "startup_flash=none", "visual=nothing"):
        page.post(f"/jobs/{number}/seen", event=event, test=event.partition("=")[0])
    found = re.search(rf"/jobs/{number}/test/(\w+)\?read=yes", page.get(f"/jobs/{number}"))
    assert found is not None
    return found[1]


def test_a_powered_step_shows_its_cautions_before_any_answer_can_be_pressed(page: Bench) -> None:
    number = opened(page)
    test = powered(page, number)
    for path in (f"/jobs/{number}", f"/jobs/{number}/test/{test}"):
        told = page.get(path)
        assert 'class="answer"' not in told
        assert "Before you do this" in told
        assert "Cautions read: go on" in told
    after = page.get(f"/jobs/{number}/test/{test}?read=yes")
    assert "The cautions of this step again" in after
    assert 'class="answer"' in after or "point by point" in after


def test_an_answer_to_a_powered_step_that_does_not_come_after_its_cautions_is_refused(
    page: Bench, house: House
) -> None:
    number = opened(page)
    told = page.post(f"/jobs/{number}/seen", 422, event="strip_tester=dark", test="strip_tester")
    assert "read the cautions of this step first" in text_of(told).lower()
    assert not any(entry.name == "strip_tester" for entry in job_of(house).entries)
    page.post(f"/jobs/{number}/seen", event="strip_tester=dark", test="strip_tester", read="yes")


def test_an_event_with_its_test_left_out_is_refused_too(page: Bench, house: House) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", 422, event="strip_tester=dark", test="")
    page.post(f"/jobs/{number}/seen", 422, event="strip_tester=dark", test="sound")
    assert not any(entry.name == "strip_tester" for entry in job_of(house).entries)


def test_a_panel_is_not_opened_past_its_cautions(page: Bench) -> None:
    number = opened(page)
    assert "Does the set work now?" not in page.get(f"/jobs/{number}/repair/replace_strips")
    assert "Does the set work now?" in page.get(f"/jobs/{number}/repair/replace_strips?read=yes")
    told = page.post(f"/jobs/{number}/repair/replace_strips", 422, works="works")
    assert "cautions" in text_of(told)


def test_a_helper_s_tablet_advises_harmless_steps_only(page: Bench) -> None:
    number = opened(page)
    test = powered(page, number)
    page.post("/tablet", who="mk", helper="yes", light="dark")
    told = page.get(f"/jobs/{number}")
    assert f"/jobs/{number}/test/{test}?read=yes" not in told
    assert "not marked as trained" in text_of(told)
    assert 'data-light="dark"' in told


def test_powered_steps_are_not_entered_past_their_cautions_elsewhere_either(page: Bench, house: House) -> None:
    number = opened(page)
    told = page.post(f"/jobs/{number}/entries", 422, events="loaded=36.8,37.1", note="kept")
    assert "Before a step like this" in text_of(told)
    assert 'value="loaded=36.8,37.1"' in told
    page.post(f"/jobs/{number}/entries", events="sound=present")
    told = page.post(f"/jobs/{number}/entries/5", 422, event="open_voltage=40")
    assert "Read, and the step was made so" in text_of(told)
    assert [entry.name for entry in job_of(house).standing if entry.kind == "reading"] == []
    page.post(f"/jobs/{number}/entries", events="loaded=36.8,37.1", read="yes")


def test_what_is_held_back_for_trained_people_takes_no_answer_from_a_helper(page: Bench) -> None:
    number = opened(page)
    page.post("/tablet", who="mk", helper="yes", light="auto")
    told = page.get(f"/jobs/{number}/test/strip_tester?read=yes")
    assert "Hand it over to a trained person" in text_of(told)
    assert 'class="answer"' not in told


# -- volts -------------------------------------------------------------------------------------------------------------


def test_volts_are_asked_point_by_point_with_a_decimal_comma(page: Bench, house: House) -> None:
    number = opened(page)
    path = f"/jobs/{number}/volts/loaded_voltage"
    assert "Volts at test point 1" in page.get(f"{path}?test=loaded_voltage&read=yes")
    step = {"read": "yes", "test": "loaded_voltage"}
    told = page.post(path, volts="0,1", press="next", **step)
    assert "Volts at test point 2" in told
    assert hidden(told, "points") == "0.1"
    told = page.post(path, volts="", press="not_reached", points=["0.1"], **step)
    assert "not reached" in text_of(told)
    told = page.post(path, volts="0.2", press="done", points=["0.1", "?"], hold="steady", **step)
    assert "loaded_voltage: 2 points" in text_of(told) or "0.1 V, not reached, 0.2 V" in text_of(told)
    assert job_of(house).standing[-1].value == "0.1,?,0.2"


def test_a_point_that_is_no_voltage_stays_in_its_field_with_what_to_write(page: Bench) -> None:
    number = opened(page)
    told = page.post(
        f"/jobs/{number}/volts/loaded_voltage", 422, volts="12k", press="next", test="loaded_voltage", read="yes"
    )
    assert 'value="12k"' in told
    assert "is no voltage" in text_of(told) or "read in V" in text_of(told)


def test_the_last_point_can_be_typed_again_and_a_doubt_is_told_at_once(page: Bench) -> None:
    number = opened(page)
    path, step = f"/jobs/{number}/volts/loaded_voltage", {"read": "yes", "test": "loaded_voltage"}
    told = page.post(path, volts="330", press="next", **step)
    assert "mains-side level" in text_of(told)
    told = page.post(path, press="back", points=["330"], **step)
    assert "Volts at test point 1" in told


def test_volts_wait_for_the_cautions(page: Bench) -> None:
    number = opened(page)
    assert 'name="volts"' not in page.get(f"/jobs/{number}/volts/loaded_voltage?test=loaded_voltage")
    page.post(f"/jobs/{number}/volts/loaded_voltage", 422, volts="3", press="done", test="loaded_voltage")


# -- entries -----------------------------------------------------------------------------------------------------------


def test_an_entry_is_taken_back_and_put_right_and_both_are_kept(page: Bench, house: House) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=absent", test="sound")
    page.post(f"/jobs/{number}/entries/5", event="sound=present")
    told = text_of(page.get(f"/jobs/{number}/entries"))
    assert "does not stand" in told
    page.post(f"/jobs/{number}/entries/6/back")
    assert not any(entry.kind == "finding" for entry in job_of(house).standing)
    assert len(job_of(house).entries) == 7


def test_anything_can_be_entered_as_it_is_typed_elsewhere(page: Bench, house: House) -> None:
    number = opened(page)
    more = {"at__cover": "off", "fact__panel": "PX-1040"}
    page.post(f"/jobs/{number}/entries", events="sound=present loaded=36.8,37.1", note="hums", read="yes", **more)
    names = {entry.name: entry for entry in job_of(house).standing}
    assert names["loaded_voltage"].value == "36.8,37.1"
    assert names["cover"].state == "off"
    assert job_of(house).facts["panel"] == "PX-1040"
    told = page.post(f"/jobs/{number}/entries", 422, events="sond=present", note="kept text")
    assert "did you mean sound" in text_of(told)
    assert 'value="kept text"' in told


def test_entries_that_contradict_each_other_are_shown_to_be_taken_back(
    page: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    folder = tmp_path / "data" / "models"
    folder.mkdir(parents=True)
    text = certain_text().replace("id: backlight\n", "id: certain\n", 1)
    (folder / "certain.yaml").write_text(text, encoding="utf-8")
    number = opened(page, model="certain")
    page.post(f"/jobs/{number}/entries", 422, events="sound=present strip_tester=abnormal blinks=normal_on", read="yes")
    told = text_of(page.get(f"/jobs/{number}", 422))
    assert "These entries contradict each other" in told
    assert "holds this impossible" in told
    page.post(f"/jobs/{number}/entries/6/back")
    page.get(f"/jobs/{number}")


def test_a_test_is_skipped_with_its_reason_and_not_advised_again(page: Bench, house: House) -> None:
    number = opened(page)
    first = hidden(page.get(f"/jobs/{number}"), "test")
    page.post(f"/jobs/{number}/skip", test=first, why="too loud here")
    assert job_of(house).skipped == {first: "too loud here"}
    assert hidden(page.get(f"/jobs/{number}"), "test") != first
    assert "too loud here" in text_of(page.get(f"/jobs/{number}/why"))


# -- the rest of the job -----------------------------------------------------------------------------------------------


def test_all_ways_stand_in_one_list_that_is_sorted_three_ways(page: Bench) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")
    by = {sort: page.get(f"/jobs/{number}/ways?sort={sort}") for sort in ("cost", "bits", "minutes")}

    def figures(told: str, pattern: str) -> list[float]:
        return [float(each) for each in re.findall(pattern, told)]

    bits = figures(by["bits"], r"tells <b>([\d.]+)</b>")
    assert bits
    tests, repairs = re.findall(r'<li class="(test|repair)', by["cost"]), None
    assert {"test", "repair"} == set(tests)
    assert repairs is None
    assert "gate" in by["cost"]


def test_parts_price_agreement_waiting_and_the_part_are_noted(page: Bench, house: House) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")
    told = text_of(page.get(f"/jobs/{number}/price"))
    assert "low" in told
    assert "likely" in told
    page.post(f"/jobs/{number}/price", price="180.50")
    page.post(f"/jobs/{number}/answer", agreed="yes")
    page.post(f"/jobs/{number}/move", to="waiting")
    assert job_of(house).stage == "waiting"
    page.post(f"/jobs/{number}/move", to="agreed")
    assert job_of(house).price is not None
    assert "180.50 EUR" in text_of(page.get(f"/jobs/{number}/price"))
    page.post(f"/jobs/{number}/price", 422, price="a lot")


def test_a_repair_without_codes_is_asked_about_first_then_written_down(page: Bench, house: House) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")
    path = f"/jobs/{number}/repair/replace_driver"
    told = page.post(path, 422, works="not", read="yes", new__replace_driver="LB-20")
    assert "read the code on the old part first" in text_of(told)
    assert 'value="LB-20"' in told
    assert not job_of(house).parts
    page.post(path, works="not", read="yes", sure="yes", new__replace_driver="LB-20", paid__replace_driver="31")
    (part,) = job_of(house).parts
    assert (part.new_code, part.price) == ("LB-20", 31.0)
    assert job_of(house).stage == "tested"


def test_two_repairs_made_together_are_one_entry_with_two_parts(page: Bench, house: House) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")
    path = f"/jobs/{number}/repair/replace_strips"
    asked = page.get(f"{path}?with=replace_driver&read=yes")
    assert 'name="new.replace_driver"' in asked
    fields = {f"{code}__{repair}": "X-1" for code in ("old", "new") for repair in ("replace_strips", "replace_driver")}
    page.post(path, works="works", read="yes", **{"with": ["replace_driver"]}, **fields)
    assert {part.repair for part in job_of(house).parts} == {"replace_strips", "replace_driver"}


def test_a_whole_job_ends_closed_and_watched_and_comes_back(page: Bench, house: House) -> None:
    number = opened(page)
    for event in ("sound=present", "flashlight=image_seen", "startup_flash=flash_then_off"):
        page.post(f"/jobs/{number}/seen", event=event, test=event.partition("=")[0])
    codes = {"old__replace_strips": "PX-LS-9", "new__replace_strips": "px ls 9", "strips__replace_strips": "6x3"}
    page.post(f"/jobs/{number}/repair/replace_strips", works="works", read="yes", **codes)
    page.post(f"/jobs/{number}/move", to="on_test")
    told = page.post(f"/jobs/{number}/close", 422, outcome="fixed")
    assert "how sure the cause is" in text_of(told)
    page.post(f"/jobs/{number}/close", outcome="fixed", verified="part_tested", hours="4", minutes="95", price="190")
    assert "ended" in text_of(page.get(f"/jobs/{number}"))
    page.post(f"/jobs/{number}/move", to="watched")
    job = job_of(house)
    assert job.closing is not None
    assert (job.closing.outcome, job.closing.price, job.stage) == ("fixed", 190.0, "watched")
    told = page.post(f"/jobs/{number}/comeback", symptom="same")
    assert "Job 1002" in text_of(told)
    assert "came back from job 1001" in text_of(told)
    sheet = text_of(page.get("/jobs/1001/sheet"))
    assert "leakage check to local rules" in sheet
    assert "fixed" in sheet


def test_the_network_is_drawn_for_a_phone_and_for_a_desk(page: Bench) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")
    phone, desk = (page.get(f"/jobs/{number}/network.svg?width={width}") for width in (390, 1280))
    assert phone.startswith("<svg")
    assert phone != desk
    assert 'media="(min-width: 800px)"' in page.get(f"/jobs/{number}/network")


def test_a_job_of_the_shop_s_own_number_has_pages_even_with_a_stroke(page: Bench, house: House) -> None:
    page.post("/new", model="backlight", number="31/05")
    assert "Job 31/05" in text_of(page.get("/jobs/31~05"))
    page.post("/jobs/31~05/seen", event="sound=present", test="sound")
    assert job_of(house, "31/05").standing[-1].name == "sound"
    assert "Job 31/05" in text_of(page.get("/jobs?number=31/05"))


def test_jobs_are_listed_by_stage_and_panel(page: Bench) -> None:
    opened(page, panel="PX-1040")
    opened(page, panel="QV-3")
    assert "1002" not in text_of(page.get("/jobs?panel=px-1040"))
    assert "No such jobs" in text_of(page.get("/jobs?stage=closed"))


def test_an_unknown_job_is_told_with_the_nearest(page: Bench) -> None:
    opened(page)
    assert "did you mean 1001" in text_of(page.get("/jobs/1011", 404))
    assert "did you mean 1001" in text_of(page.get("/jobs?number=1011", 404))


def test_intake_goes_on_with_the_model_that_it_names(page: Bench, house: House) -> None:
    page.post("/new", model="intake")
    for event in ("sound=present", "light=none", "flashlight=image_seen"):
        page.post("/jobs/1001/seen", event=event, test=event.partition("=")[0])
    told = page.get("/jobs/1001")
    assert "Which model next" in told
    page.post("/jobs/1001/model", model="backlight")
    assert job_of(house).model == "backlight"


# -- two at one set ----------------------------------------------------------------------------------------------------


def test_what_another_tablet_entered_is_told_with_the_next_answer(page: Bench, house: House) -> None:
    number = opened(page)
    other = bench(house)
    other.post(f"/jobs/{number}/seen", event="flashlight=image_seen", test="flashlight", seen="4")
    told = page.post(f"/jobs/{number}/seen", event="sound=present", test="sound", seen="4")
    assert "Entered elsewhere: 5. flashlight: faint picture seen" in text_of(told)
    assert "Written down: 6. sound: present" in text_of(told)


@pytest.mark.parametrize("what", ["repair", "price", "close"])
def test_what_is_decided_by_an_old_look_is_not_written_over_new_entries(page: Bench, house: House, what: str) -> None:
    number = opened(page)
    bench(house).post(f"/jobs/{number}/seen", event="sound=present", test="sound", seen="4")
    forms = {
        "repair": (f"/jobs/{number}/repair/reset_settings", {"works": "not"}),
        "price": (f"/jobs/{number}/price", {"price": "100"}),
        "close": (f"/jobs/{number}/close", {"outcome": "no_fault_found"}),
    }
    path, fields = forms[what]
    told = page.post(path, 422, seen="4", **fields)
    assert "after you looked: entry 5" in text_of(told)
    assert len(job_of(house).entries) == 5
    assert hidden(told, "seen") == "5"
    page.post(path, seen="5", **fields)
    assert len(job_of(house).entries) > 5


# -- text ------------------------------------------------------------------------------------------------------------


SCRIPT = "<script>alert(1)</script>"


def test_script_in_a_note_a_code_or_a_name_is_shown_as_text(page: Bench) -> None:
    number = opened(page, panel="P<b>1")
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound", note=SCRIPT)
    page.post(f"/jobs/{number}/skip", test="thermal", why=SCRIPT)
    page.post(f"/jobs/{number}/entries", 422, events=SCRIPT)
    for path in ("", "/entries", "/why", "/sheet", "/ways", "/price", "/close", "/network.svg"):
        told = page.get(f"/jobs/{number}{path}")
        assert "<script" not in told.lower()
        assert "P<b>1" not in told
    assert "<script" not in page.get(f"/jobs/{SCRIPT}".replace("/", "%2F"), 404).lower()


# -- twice -------------------------------------------------------------------------------------------------------------


def test_a_second_tap_opens_no_second_job_and_another_form_does(page: Bench) -> None:
    fields = {"model": "backlight", "once": hidden(page.get("/new"), "once")}
    assert ["Job 1001" in text_of(page.post("/new", **fields)) for _ in range(2)] == [True, True]
    assert "Job 1002" in text_of(page.post("/new", **{**fields, "once": hidden(page.get("/new"), "once")}))
    assert "Job W-7" in text_of(page.post("/new", model="backlight", number="W-7", once="another"))
    page.get("/jobs/1003", 404)


def test_a_second_tap_makes_no_second_repair_price_or_end(page: Bench, house: House) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")
    for path, fields in (
        ("price", {"price": "120"}),
        ("repair/reset_settings", {"works": "works", "read": "yes"}),
        ("close", {"outcome": "fixed", "verified": "symptom_cleared"}),
    ):
        before = len(job_of(house).entries)
        seen = {"seen": str(before), "once": f"a word for {path}"}
        for _ in range(2):
            page.post(f"/jobs/{number}/{path}", **fields, **seen)
        assert len(job_of(house).entries) == before + 1, path


# -- nothing typed is lost ---------------------------------------------------------------------------------------------


def test_a_form_that_fails_for_another_reason_can_be_sent_again(page: Bench, house: House) -> None:
    settings = Path(house.shop_file)
    before = settings.read_text(encoding="utf-8")
    settings.write_text("[shop\n", encoding="utf-8")
    told = page.post("/new", 409, model="backlight", note="scratch <on> the frame", panel="PX-1")
    assert "settings file cannot be read" in text_of(told)
    assert hidden(told, "note") == "scratch <on> the frame"
    settings.write_text(before, encoding="utf-8")
    sent = dict(re.findall(r'name="(\w+)" value="([^"]*)"', told))
    page.post("/new", **{name: html.unescape(text) for name, text in sent.items()})
    assert job_of(house).facts["panel"] == "PX-1"


def test_a_database_that_was_moved_is_not_written_to(page: Bench, house: House) -> None:
    number = opened(page)
    moved = Path(house.database).with_name("elsewhere.db")
    Path(house.database).rename(moved)
    told = page.post(f"/jobs/{number}/seen", 503, event="sound=present", test="sound")
    assert "moved or replaced" in text_of(told)
    moved.rename(house.database)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")


def test_a_damaged_model_file_shuts_nobody_out(page: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    (tmp_path / "data" / "models").mkdir(parents=True)
    (tmp_path / "data" / "models" / "own.yaml").write_text("id: own\n\tx: [", encoding="utf-8")
    assert "Take in a set" in page.get("/new")


# -- words -------------------------------------------------------------------------------------------------------------


def test_no_option_of_the_terminal_is_named_on_a_page(page: Bench) -> None:
    number = opened(page)
    page.post(f"/jobs/{number}/seen", event="sound=present", test="sound")
    wrong = (
        ("/new", {"model": "backlite", "size": "huge"}),
        (f"/jobs/{number}/entries", {"events": "replace_strips=not", "fact__size": "x"}),
        (f"/jobs/{number}/close", {"outcome": "no_part", "hours": "abc", "minutes": "-5", "price": "x"}),
        (f"/jobs/{number}/skip", {"test": "nope"}),
        (f"/jobs/{number}/model", {"model": "nope"}),
    )
    for path, fields in wrong:
        told = text_of(page.post(path, 422, **fields))
        assert "--" not in told, told
        assert "(`faultnet" not in told, told
