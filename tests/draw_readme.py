"""Run by hand: draw README's pictures, and make its tables of comparisons and of outside checks.

    python tests/draw_readme.py [--pictures] [--page] [--tables]

Pictures go to docs/pictures: what `faultnet next` prints at a terminal, the network of the same set, and a plot of the
demo shop's shares; the bench page as a phone shows it (`--page`, by Chromium). The tables are put between their marks
in README: how long "what now?" takes beside other libraries (`benchmarks/what_next.py`), and every value that tests
marked `published` compare with one from outside.
"""

import argparse
import os
import platform
import re
import shlex
import subprocess
import sys
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import BytesIO
from math import isfinite
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pexpect
import pytest
from browsers import chromium
from pages import house_on, served
from PIL import Image

from faultnet import Case, Nominal, diagnose, load_model, parse_events, rates
from faultnet.pictures import network_picture
from faultnet.pictures.svg import picture, rect, text
from faultnet.plots import draw_rates, save
from faultnet.simulate.world import GROUPS
from faultnet.telling.rates import words_for
from faultnet.workshop.entering import enter
from faultnet.workshop.opening import Opening, open_job

ROOT = Path(__file__).parent.parent
README, PICTURES, DEMO = ROOT / "README.md", ROOT / "docs" / "pictures", ROOT / "data" / "synthetic" / "jobs.csv"
EVENTS = ("sound=present", "flashlight=image_seen", "startup_flash=none", "loaded_voltage=0.1,0,0.2")
NEXT = f"faultnet next backlight {' '.join(EVENTS)} --nominal 54 --trained"

_LETTER, _LINE, _MARGIN = 7.3, 16.0, 14.0
_COLOURS = 32
"""The page has a dozen, and their blends at the edges of letters."""
_MONOSPACE = "Liberation Mono, Menlo, Consolas, monospace"

COMPARED = "python tests/benchmarks/what_next.py --repeats 50"
CLOSELY = 1e-6
AREAS = {
    "test_published.py": "chances, information, orders of tests and repairs",
    "test_learning_published.py": "learning from gappy data",
    "test_pooling.py": "groups drawn together",
    "test_shares.py": "shares, pooling, changes",
    "test_survival.py": "survival and log-rank",
    "test_weibull.py": "Weibull fits",
    "test_occurrences.py": "rates per exposure",
    "test_scores.py": "scores of forecasts",
}


# -- pictures ----------------------------------------------------------------------------------------------------------


def draw_pictures() -> None:
    """All pictures of README."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    (PICTURES / "answer.svg").write_text(terminal_picture(NEXT, at_a_terminal(NEXT)), encoding="utf-8")
    (PICTURES / "network.svg").write_text(network_of_readme(), encoding="utf-8")
    model = load_model("backlight@0")
    names = {code: group.name for group in GROUPS for code in group.codes}
    found = rates(DEMO, model, "component", ["panel_group"], group_of=lambda code: names.get(code, code))
    save(draw_rates(found, words_for(found, model)), PICTURES / "rates.svg")


def draw_page() -> None:
    """The same set at the bench page, as phones show it: what to do next, and below where things stand."""
    with TemporaryDirectory() as folder, chromium() as browser, served(house_on(folder)) as address:
        house = house_on(folder)
        number = open_job(house.workshop(), Opening("backlight", facts={"size": "50", "age": "6", "nominal": "54"}))
        enter(house.workshop(), number, EVENTS[:2])
        phone = browser.new_context(base_url=address, viewport={"width": 390, "height": 1330}, device_scale_factor=1.5)
        page = phone.new_page()
        page.goto(f"/jobs/{number}")
        shown = Image.open(BytesIO(page.screenshot())).convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE)
        shown.save(PICTURES / "page.png", optimize=True)
        phone.close()


def network_of_readme() -> str:
    """The network of the set that README begins with."""
    model = load_model("backlight@0")
    case = Case(parse_events(model, EVENTS), nominal=Nominal.label(54))
    return network_picture(model, diagnose(model, case), case)


def at_a_terminal(command: str) -> str:
    """What a command prints on a terminal of 80 columns, with its emphasis."""
    with TemporaryDirectory() as data:
        env = {
            **{name: value for name, value in os.environ.items() if name != "NO_COLOR"},
            "FAULTNET_SHOP": os.devnull, "FAULTNET_DATA": data, "TERM": "xterm", "COLUMNS": "80", "LINES": "200",
        }  # fmt: skip
        typed = f"{sys.executable} -m {command}"
        shown = pexpect.run(typed, env=env, timeout=60, encoding="utf-8", dimensions=(200, 80))
    return str(shown).replace("\r\n", "\n").rstrip()


def terminal_picture(command: str, shown: str) -> str:
    """A terminal's text as a picture; what is emphasised there is bold here."""
    lines = [f"\x1b[1m$ {command}\x1b[0m" if len(command) < 78 else "", *shown.split("\n")]
    if not lines[0]:
        words = shlex.split(command)
        lines[:1] = [f"\x1b[1m$ {' '.join(words[:6])} \\\x1b[0m", f"\x1b[1m    {' '.join(words[6:])}\x1b[0m"]
    width, height = 2 * _MARGIN + 80 * _LETTER, 2 * _MARGIN + _LINE * len(lines)
    parts = [rect(0.5, 0.5, width - 1, height - 1, fill="#fbfbf8", stroke="#c3cbd3", rx=6)]
    for number, line in enumerate(lines):
        y, column = _MARGIN + _LINE * (number + 0.75), 0
        for is_bold, words in spans(line):
            if words.strip():
                parts.append(
                    text(
                        _MARGIN + column * _LETTER, y, words.replace(" ", "\u00a0"), font_family=_MONOSPACE,
                        font_size=12, fill="#16202b", font_weight="bold" if is_bold else None,
                        textLength=len(words) * _LETTER, lengthAdjust="spacingAndGlyphs",
                    )
                )  # fmt: skip
            column += len(words)
    return picture(width, height, f"The answer of {command}", shown and plain(shown), *parts)


def spans(line: str) -> list[tuple[bool, str]]:
    """The parts of a line, and whether each is emphasised."""
    parts = re.split(r"(\x1b\[[0-9;]*m)", line)
    found, is_bold = [], False
    for part in parts:
        if part.startswith("\x1b"):
            is_bold = part == "\x1b[1m"
        elif part:
            found.append((is_bold, part))
    return found


def plain(shown: str) -> str:
    """The same without emphasis."""
    return re.sub(r"\x1b\[[0-9;]*m", "", shown)


# -- tables ------------------------------------------------------------------------------------------------------------


def make_tables() -> None:
    """Both tables, put into README."""
    words = README.read_text(encoding="utf-8")
    for mark, made in (("compared", compared_table()), ("checks", checks_table())):
        between = re.compile(rf"(<!-- {mark} -->\n).*?(<!-- /{mark} -->)", flags=re.DOTALL)
        words, n = between.subn(lambda found, made=made: f"{found[1]}{made}{found[2]}", words)  # type: ignore[misc]
        assert n == 1, f"README has no place for {mark}"
    README.write_text(words, encoding="utf-8")


def compared_table() -> str:
    """The fastest way of each library on the network as it is, beside ours, of one run."""
    shown = subprocess.run(
        [sys.executable, *shlex.split(COMPARED)[1:]], capture_output=True, encoding="utf-8", check=True, cwd=ROOT
    ).stdout
    row = re.compile(
        r"^(faultnet|\w+) +(.*?) +(as it is|trimmed|flat|) *(for each test|once, our gains|) +"
        r"([\d.]+) +([\d.]+) +([\d.]+) +\d+ +(\S+)$",
        flags=re.MULTILINE,
    )
    best: dict[tuple[str, str], tuple[float, str, str, str]] = {}
    for library, engine, network, route, ms, _, ratio, apart in row.findall(shown):
        key = library, route
        if network in ("as it is", "") and (key not in best or float(ms) < best[key][0]):
            best[key] = float(ms), ratio, apart, engine
    lines = ["| library | way | ms | times faultnet | largest difference |", "| --- | --- | --- | --- | --- |"]
    for (library, route), (ms, ratio, apart, engine) in best.items():
        way = f"{engine}, {route}" if route else "as it comes"
        lines.append(f"| {library} | {way} | {ms:.1f} | {ratio} | {'' if library == 'faultnet' else apart} |")
    return "\n".join([*lines, "", f"`{COMPARED}`: {machine(shown.splitlines()[0])}", ""])


def machine(versions: str) -> str:
    """Where and when."""
    return f"{versions}, {platform.machine()}, {datetime.now(UTC).date().isoformat()}."


@dataclass
class Checks:
    """Every value that a published check compares: by file, of each how far apart and what was allowed, relative to
    the value."""

    errors: dict[str, list[tuple[float, float]]] = field(default_factory=lambda: defaultdict(list))
    tests: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    failed: int = 0
    now: str = ""

    def pytest_runtest_call(self, item: Any) -> None:
        """Remember whose values come next."""
        self.now = item.path.name
        self.tests[self.now].add(item.nodeid.partition("[")[0])

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Count what fails."""
        self.failed += report.failed

    def compare(self, expected: Any, actual: Any, allowed: float) -> None:
        """Note one comparison of numbers."""
        try:
            want, got = float(expected), float(actual)
        except (TypeError, ValueError):
            return
        if isfinite(want) and isfinite(got):
            size = abs(want) or 1.0
            self.errors[self.now].append((abs(got - want) / size, float(allowed) / size))


def checks_table() -> str:
    """Values compared with published ones, by what they are about, with the worst errors."""
    approximately: Any = type(pytest.approx(1.0))
    checks, compare = Checks(), approximately.__eq__

    def noted(self: Any, actual: object) -> bool:
        is_same = bool(compare(self, actual))
        if is_same:  # what must differ is no check of a value
            checks.compare(self.expected, actual, self.tolerance)
        return is_same

    approximately.__eq__ = noted
    try:
        pytest.main(["-q", "-m", "published", "-p", "no:xdist", "--no-header", str(ROOT / "tests")], plugins=[checks])
    finally:
        approximately.__eq__ = compare
    assert not checks.failed, f"{checks.failed} checks failed"
    lines = ["| about | checks | values | worst, of what was allowed | closely held | worst of these |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    for file, about in AREAS.items():
        errors = checks.errors[file]
        worst = max(error / allowed for error, allowed in errors if allowed)
        close = [error for error, allowed in errors if allowed <= CLOSELY]
        held = f"{len(close)} | {max(close):.0e}" if close else "0 | "
        lines.append(f"| {about} | {len(checks.tests[file])} | {len(errors)} | {worst:.2f} | {held} |")
    total = sum(map(len, checks.errors.values()))
    assert set(checks.errors) <= set(AREAS), set(checks.errors) - set(AREAS)
    told = (
        f"{total} values. Allowed is half a unit of the last digit printed, or what the source's rounding asks for; "
        "closely held: known to one in a million or better, errors relative to the value."
    )
    return "\n".join([*lines, "", f"{told} `python tests/draw_readme.py --tables`, {datetime.now(UTC).date()}.", ""])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--pictures", action="store_true")
    parser.add_argument("--page", action="store_true")
    parser.add_argument("--tables", action="store_true")
    told = parser.parse_args()
    is_all = not (told.pictures or told.page or told.tables)
    if told.pictures or is_all:
        draw_pictures()
    if told.page or is_all:
        draw_page()
    if told.tables or is_all:
        make_tables()


if __name__ == "__main__":
    main()
