"""The bench page in a real browser, as a technician uses it; scripts are off but where a test measures with one."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from browsers import WIDTHS, chromium, tablet
from pages import house_on, served
from playwright.sync_api import Browser, BrowserContext, Page, expect
from test_page_import import shop_screens
from test_page_reports import tuned
from test_versions import learned

from faultnet.web.house import House
from faultnet.workshop.entering import enter
from faultnet.workshop.versions import accept
from faultnet.workshop.workshop import read_job

SMALLEST = {"width": 360, "height": 740}

WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
"""Tags of axe-core's rules: WCAG 2.2 at level AA, and what its authors advise besides."""

FINGER_PX = 44
"""How high what is pressed has to be: WCAG 2.5.5 at level AAA (24 would do for AA)."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    return house_on(tmp_path_factory.mktemp("browsed"))


@pytest.fixture(scope="module")
def address(house: House) -> Iterator[str]:
    with served(house) as place:
        yield place


def take_in(page: Page, panel: str = "") -> str:
    """Take in a set from the first screen; the job's number."""
    page.goto("/")
    page.get_by_role("link", name="Take in a set").first.click()
    page.get_by_label("Sound, but no backlight (LED driver on its own board)").check()
    page.get_by_label("Screen size (inch)").fill("50")
    page.get_by_label("Nominal voltage by the label (V)").fill("54")
    page.get_by_label("Panel code").fill(panel)
    page.get_by_role("button", name="Open the job").click()
    return page.get_by_role("heading", level=1).inner_text().removeprefix("Job ")


def press(page: Page, said: str) -> None:
    """Press an answer, past the cautions where they come first."""
    go_on = page.get_by_role("link", name="Cautions read: go on")
    if go_on.count():
        go_on.click()
    page.get_by_role("button", name=said).first.click()
    expect(page.get_by_text("Written down:").first).to_be_visible()


def advised(page: Page) -> str:
    return page.locator(".next .step").first.inner_text().lower()


@pytest.mark.parametrize("screen", WIDTHS)
def test_a_whole_job_from_open_to_closed_without_scripts(
    browser: Browser, address: str, house: House, screen: str
) -> None:
    with tablet(browser, address, screen) as context:
        page = context.new_page()
        number = take_in(page)
        for _ in range(3):  # what the shop would see of an open string; the free tests come first
            step = advised(page)
            answers = {"sound": "present", "torch": "faint picture", "flash": "no flash", "standby": "normal"}
            press(page, next(said for word, said in answers.items() if word in step))
        page.get_by_role("link", name="Other tests, a repair").click()
        page.get_by_role("link", name="measure the loaded LED voltage").click()
        expect(page.get_by_text("Before you do this")).to_be_visible()
        page.get_by_role("link", name="Cautions read: go on").click()
        page.get_by_role("link", name="Enter volts, point by point").click()
        page.get_by_label("Volts at test point 1").fill("0,1")
        page.get_by_role("button", name="Next point").click()
        page.get_by_label("Volts at test point 2").fill("0")
        page.get_by_role("button", name="That was all: write down").click()
        expect(page.get_by_text("2 points: 0.1 V, 0 V (steady)").first).to_be_visible()
        page.get_by_role("link", name="Other tests, a repair").click()
        page.get_by_role("link", name="strip tester at the LED plug").click()
        page.get_by_role("link", name="Cautions read: go on").click()
        page.get_by_role("button", name=re.compile("^dark")).click()
        page.get_by_role("link", name="Parts and price").click()
        page.get_by_label("Price named to the customer").fill("180")
        page.get_by_role("button", name="Note this price").click()
        page.get_by_role("link", name="Parts and price").click()
        page.get_by_role("button", name="Agreed").click()
        page.get_by_role("link", name="Other tests, a repair").click()
        page.get_by_role("link", name="replace all LED strips as a set").click()
        page.get_by_role("link", name="Cautions read: enter the repair").click()
        page.get_by_label("Code on the old part").fill("PX-LS-9")
        page.get_by_label("Code on the new part").fill("PX LS 9")
        page.get_by_role("button", name="It works").click()
        page.get_by_role("link", name="Close the job").click()
        page.get_by_role("button", name="It runs on test now").click()
        page.get_by_role("link", name="Close the job").click()
        page.get_by_label("fixed", exact=True).check()
        page.get_by_label("the old part was tested on the bench").check()
        page.get_by_label("Hours on test").fill("4")
        page.get_by_role("button", name="Close the job").click()
        expect(page.get_by_role("heading", name="This job has ended")).to_be_visible()
    job, _ = read_job(house.workshop(), number)
    assert job.stage == "closed"
    assert job.closing is not None
    assert job.closing.price == 180
    assert any(entry.kind == "reading" and entry.value == "0.1,0" for entry in job.standing)


def test_two_tablets_work_on_one_set(browser: Browser, address: str, house: House) -> None:
    with tablet(browser, address) as one, tablet(browser, address, "desk") as other:
        mine, theirs = one.new_page(), other.new_page()
        number = take_in(mine)
        theirs.goto(f"/jobs/{number}")
        press(mine, "present")
        press(theirs, "present")  # the same, seen by both: once
        press(mine, "faint picture")
        theirs.get_by_role("link", name="Entries, take back").click()
        theirs.get_by_role("button", name=re.compile("Take back entry")).first.click()
        mine.get_by_role("link", name="Look again").click()
        expect(mine.get_by_text("shine a torch")).to_be_visible()
    entries = read_job(house.workshop(), number)[0].entries
    assert [e.name for e in entries if e.kind == "finding"] == ["sound", "flashlight"]
    assert entries[-1].kind == "taken_back"


def test_a_step_is_answered_with_keys_alone(browser: Browser, address: str, house: House) -> None:
    with tablet(browser, address, "desk") as context:
        page = context.new_page()
        number = take_in(page)
        page.keyboard.press("Tab")
        expect(page.get_by_role("link", name="to the content")).to_be_focused()
        page.keyboard.press("Enter")
        for _ in range(12):
            page.keyboard.press("Tab")
            if page.locator("button.answer:focus").count():
                break
        expect(page.locator("button.answer:focus")).to_have_count(1)
        page.keyboard.press("Enter")
        expect(page.get_by_text("Written down:")).to_be_visible()
    assert any(entry.kind == "finding" for entry in read_job(house.workshop(), number)[0].standing)


# -- every screen ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def screens(house: House, address: str, browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, ...]:
    """Paths of every screen, of a job that shows something on each."""
    with tablet(browser, address, "desk") as context:
        page = context.new_page()
        number = take_in(page, panel="PX-1040")
    enter(house.workshop(), number, ["sound=present", "flashlight=image_seen", "loaded_voltage=0.1,0,330"], note="hums")
    job, report = f"/jobs/{number}", f"/reports/{tuned(house)}"
    accept(house.opened, learned(0.02), 0, "bo", "a year of jobs")
    return (
        "/", "/new", "/jobs", "/tablet", "/jobs/none", job, f"{job}/ways", f"{job}/why", f"{job}/entries",
        f"{job}/entries/6", f"{job}/network", f"{job}/price", f"{job}/close", f"{job}/sheet",
        f"{job}/test/strip_tester", f"{job}/test/strip_tester?read=yes", f"{job}/test/startup_flash",
        f"{job}/volts/open_voltage?read=yes", f"{job}/repair/replace_strips",
        f"{job}/repair/replace_strips?read=yes&with=replace_driver",
        "/rates", "/tuning", "/tuning/undo?model=backlight", "/calibration", report, f"{report}/accept",
        *shop_screens(house, tmp_path_factory.mktemp("tables")),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("screen", "dark"),
    [
        ("phone", False),
        ("desk", True),
        pytest.param("phone", True, marks=pytest.mark.slow),  # each width and each light stands above already
        pytest.param("desk", False, marks=pytest.mark.slow),
    ],
)
def test_no_screen_shuts_anybody_out(
    browser: Browser, address: str, screens: tuple[str, ...], screen: str, dark: bool
) -> None:
    """axe-core (Deque) finds nothing against WCAG 2.2 AA."""
    axe, found = Axe(), []
    with tablet(browser, address, screen, scripts=True, dark=dark) as context:
        page = context.new_page()
        for path in screens:
            page.goto(path)
            results = axe.run(page, options={"runOnly": {"type": "tag", "values": [*WCAG]}})
            found += [f"{path}: {each['id']}: {_where(each)}" for each in results.response["violations"]]
    assert "\n".join(found) == ""


def _where(violation: dict[str, object]) -> str:
    nodes = violation["nodes"]
    assert isinstance(nodes, list)
    return "; ".join(str(node["html"])[:120] for node in nodes[:3])


@pytest.mark.parametrize("size", [SMALLEST, {"width": 768, "height": 1024}, {"width": 1280, "height": 900}],
                         ids=lambda size: str(size["width"]))  # fmt: skip
def test_every_screen_fits_and_can_be_pressed_with_a_finger(
    browser: Browser, address: str, screens: tuple[str, ...], size: dict[str, int]
) -> None:
    with tablet(browser, address, scripts=True) as context:
        page = context.new_page()
        page.set_viewport_size({"width": size["width"], "height": size["height"]})
        for path in screens:
            page.goto(path)
            assert _wider(page) == [], path
            assert _too_small(page) == [], path


def _wider(page: Page) -> list[str]:
    """What makes a page scroll sideways."""
    found: list[str] = page.evaluate(
        """() => document.documentElement.scrollWidth <= document.documentElement.clientWidth ? [] :
        [...document.querySelectorAll("main *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1
          && !e.closest(".scroll")).map(e => e.outerHTML.slice(0, 120))"""
    )
    return found


def _too_small(page: Page) -> list[str]:
    """What is pressed and lower than a finger; links in a sentence are none of these."""
    found: list[str] = page.evaluate(
        """(least) => [...document.querySelectorAll("button, .button, nav a, summary, select, .choice label, input")]
        .filter(e => e.type != "hidden" && e.offsetParent !== null && !["radio", "checkbox"].includes(e.type)
          && e.getBoundingClientRect().height < least).map(e => e.outerHTML.slice(0, 120))""",
        FINGER_PX,
    )
    return found


def test_the_cautions_of_a_powered_step_stand_above_its_answers(
    browser: Browser, address: str, screens: tuple[str, ...]
) -> None:
    job = next(path for path in screens if re.fullmatch(r"/jobs/\d+", path))
    with tablet(browser, address) as context:
        page = context.new_page()
        page.goto(f"{job}/test/strip_tester")
        cautions, go_on = page.locator(".cautions"), page.get_by_role("link", name="Cautions read: go on")
        above, below = cautions.bounding_box(), go_on.bounding_box()
        assert above is not None
        assert below is not None
        assert above["y"] + above["height"] <= below["y"]
        assert page.locator("button.answer").count() == 0
        go_on.click()
        assert page.locator("button.answer").count() == 3


def test_dark_is_kept_by_the_tablet(browser: Browser, address: str) -> None:
    with tablet(browser, address) as context:
        page = context.new_page()
        page.goto("/")
        bright = _ground(context, page)
        page.get_by_role("button", name="Darker").click()
        assert _ground(context, page) != bright
        page.goto("/new")
        expect(page.get_by_role("button", name="Brighter")).to_be_visible()


def _ground(_context: BrowserContext, page: Page) -> bytes:
    """The page's upper left corner below its head, as a picture."""
    return page.screenshot(clip={"x": 0, "y": 300, "width": 4, "height": 4})


def test_the_job_sheet_prints_on_one_side_of_a4(
    browser: Browser, address: str, screens: tuple[str, ...], tmp_path: Path
) -> None:
    sheet = next(path for path in screens if path.endswith("/sheet"))
    with tablet(browser, address, "desk") as context:
        page = context.new_page()
        page.goto(sheet)
        page.pdf(path=tmp_path / "sheet.pdf", format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", (tmp_path / "sheet.pdf").read_bytes())) == 1
