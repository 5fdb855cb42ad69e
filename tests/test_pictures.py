"""Pictures of structure: the same bytes again, nothing cut off or overlapping, and the numbers of the diagnosis."""

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
from bench_models import COLLATERAL, lamp
from networks import import_published
from test_cli import run

from faultnet import Case, Nominal, diagnose, load_model, parse_events
from faultnet.diagnosis import Diagnosis
from faultnet.model import Model
from faultnet.model.chances import SHARES, chances_of
from faultnet.model.nodes import SET_WORKS
from faultnet.pictures.bars import bars_picture
from faultnet.pictures.graph import Graph
from faultnet.pictures.layers import lay_out
from faultnet.pictures.measure import text_width, wrap
from faultnet.pictures.network import network_picture
from faultnet.pictures.plan import DEPTH, HEIGHT, plan_picture
from faultnet.pictures.rows import Rows, least_width
from faultnet.pictures.shift import shift_picture
from faultnet.pictures.spread import spread
from faultnet.pictures.svg import NAMESPACE
from faultnet.plan import Plan, PlanStep, make_plan
from faultnet.settings import ShopSettings
from faultnet.words import in_words, percent, percent_range

LEAST_SIZE = 11.0
"""Of any text, in pixels at desk width."""

SEEN = ("sound=present", "flashlight=image_seen")
VOLTS = (*SEEN, "startup_flash=none", "loaded_voltage=0.1,0,0.2")
REPAIRED = (*VOLTS, "strip_tester=dark:0.8,abnormal:0.2", "open_voltage=63x5", "replace_strips=not", "bl_on=high")


@dataclass(frozen=True)
class Drawn:
    """A picture with what it was drawn of."""

    model: Model
    case: Case | None
    diagnosis: Diagnosis | None
    svg: str

    @property
    def root(self) -> ElementTree.Element:
        return ElementTree.fromstring(self.svg)


def case_of(model: Model, *events: str, **known: object) -> Case:
    return Case(parse_events(model, list(events)), **known)  # type: ignore[arg-type]


def shipped_cases() -> Iterator[tuple[str, str, tuple[str, ...], dict[str, object]]]:
    for model in ("backlight", "backlight_combined"):
        yield f"{model}-nothing", model, (), {}
        yield f"{model}-seen", model, SEEN, {}
        yield f"{model}-volts", model, VOLTS, {"nominal": Nominal.label(54)}
    known = {"nominal": Nominal.label(54), "given": {"age_band": "over_10_years"}}
    yield "backlight-repaired", "backlight", REPAIRED, known
    yield "backlight-no-complaint", "backlight", (), {"with_complaint": False}
    yield "intake-nothing", "intake", (), {}
    yield "intake-seen", "intake", ("sound=present", "light=none"), {}


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Model]:
    folder = tmp_path_factory.mktemp("nets")
    return {name: import_published(name, folder)[1] for name in ("asia", "child", "insurance", "hailfinder")}


@pytest.fixture(scope="module")
def networks(imported: dict[str, Model]) -> dict[str, Drawn]:
    """Every shipped model and some imported networks, in several cases, wide and narrow, with and without the rest."""
    drawn: dict[str, Drawn] = {}
    for name, id_, events, known in shipped_cases():
        model = load_model(id_)
        case = case_of(model, *events, **known)
        diagnosis = diagnose(model, case, n_draws=40)
        for kind, how in (("", {}), ("-whole", {"whole": True}), ("-narrow", {"width": 390.0})):
            svg = network_picture(model, diagnosis, case, **how)  # type: ignore[arg-type]
            drawn[name + kind] = Drawn(model, case, diagnosis, svg)
    for model in (*map(load_model, ("backlight", "backlight_combined", "intake")), *imported.values()):
        drawn[f"{model.id}-shown"] = Drawn(model, None, None, network_picture(model))
    asia = imported["asia"]
    case = case_of(asia, "asia=yes", "dysp=yes", "either=no:0.2,yes:0.9")
    told = diagnose(asia, case)
    drawn["asia-seen"] = Drawn(asia, case, told, network_picture(asia, told, case))
    tied = lamp(collateral=COLLATERAL)
    drawn["lamp-narrow"] = Drawn(tied, None, None, network_picture(tied, width=180.0))
    return drawn


@pytest.fixture(scope="module")
def plan() -> tuple[Model, Plan]:
    """A plan with repairs, rare branches and ends, found in no time."""
    model = load_model("backlight")
    case = case_of(model, *VOLTS, nominal=Nominal.label(54))
    tests = ["strip_tester", "open_voltage", "visual", "bl_on", "known_load"]
    settings = ShopSettings(trained=True, currency="EUR")
    found = make_plan(model, case, tests=tests, settings=settings, keep_comparing=None)
    return model, found


@pytest.fixture(scope="module")
def others(networks: dict[str, Drawn], plan: tuple[Model, Plan]) -> dict[str, str]:
    """Every picture that is not of a network."""
    drawn = {"plan": plan_picture(*plan), "plan-full": plan_picture(*plan, depth=20, full=True)}
    for name in ("backlight-volts", "backlight-repaired", "intake-seen", "asia-seen"):
        of = networks[name]
        assert of.diagnosis is not None
        drawn[f"bars-{name}"] = bars_picture(of.model, of.diagnosis)
    for name in ("backlight", "intake"):
        before, after = (networks[f"{name}-{when}"] for when in ("nothing", "seen"))
        assert before.diagnosis is not None
        assert after.diagnosis is not None
        drawn[f"shift-{name}"] = shift_picture(before.model, before.diagnosis, after.diagnosis)
    drawn["shift-shares"] = shift_picture(load_model("backlight"), *shares())
    return drawn


def shares() -> tuple[object, object]:
    """Shares of a file, and the same with the first two changed and more jobs behind them."""
    before = next(each for each in chances_of(load_model("backlight")) if each.id == SHARES)
    first, second, *rest = before.means
    after = replace(before, means=(first - 0.03, second + 0.03, *rest), strength_jobs=400.0, jobs=350.0)
    return before, after


# -- every picture ---------------------------------------------------------------------------------------------------


def texts(root: ElementTree.Element) -> Iterator[tuple[float, float, float, float, str]]:
    """Left, top, right, bottom and words of every text, by our own estimate."""
    for each in root.iter(f"{{{NAMESPACE}}}text"):
        size, words = float(each.get("font-size", "12")), each.text or ""
        width = text_width(words, size, bold=each.get("font-weight") == "bold")
        x, y = float(each.get("x", "")), float(each.get("y", ""))
        left = {"end": x - width, "middle": x - width / 2}.get(each.get("text-anchor", ""), x)
        yield left, y - size, left + width, y, words


def boxes(root: ElementTree.Element) -> dict[str, tuple[float, float, float, float]]:
    """Left, top, right and bottom of every box of a network, or cell of a plan."""
    found = {}
    for n, each in enumerate(root.iter(f"{{{NAMESPACE}}}rect")):
        name = each.get("data-node", each.get("data-step"))
        if name is not None:
            x, y, w, h = (float(each.get(side, "")) for side in ("x", "y", "width", "height"))
            found[name if each.get("data-node") else f"{n} {name}"] = (x, y, x + w, y + h)
    return found


def overlap(a: tuple[float, ...], b: tuple[float, ...], by: float) -> bool:
    return min(a[2], b[2]) - max(a[0], b[0]) > by and min(a[3], b[3]) - max(a[1], b[1]) > by


def check_picture(svg: str) -> None:
    """Well-formed, for everyone, nothing from outside, nothing cut off or overlapping, nothing too small."""
    root = ElementTree.fromstring(svg)
    assert root.get("role") == "img"
    assert [child.tag.split("}")[1] for child in root][:2] == ["title", "desc"]
    assert all((root[n].text or "").strip() for n in (0, 1))
    _, _, width, height = map(float, root.get("viewBox", "").split())
    written = list(texts(root))
    assert written
    for left, top, right, bottom, words in written:
        assert left >= 0, words
        assert top >= 0, words
        assert right <= width, words
        assert bottom + 3 <= height, words
    for one, other in combinations(written, 2):
        assert not overlap(one[:4], other[:4], 1.0), (one[4], other[4])
    placed = boxes(root)
    for (name, one), (also, other) in combinations(placed.items(), 2):
        assert not overlap(one, other, 0.0), (name, also)
    for name, (left, top, right, bottom) in placed.items():
        assert (left >= 0, top >= 0, right <= width, bottom <= height) == (True,) * 4, name
    for left, top, right, bottom, words in written:
        for name, box in placed.items():
            if overlap((left, top, right, bottom), box, 0.5):
                assert box[0] <= left <= right <= box[2], (words, name)
                assert box[1] <= top <= bottom + 2 <= box[3], (words, name)
    sizes = [float(each.get("font-size", "12")) for each in root.iter(f"{{{NAMESPACE}}}text")]
    assert min(sizes) >= LEAST_SIZE
    assert "http" not in svg.replace(f'xmlns="{NAMESPACE}"', "", 1)
    assert not re.search(r"<(script|style|image|use|a|foreignObject)\b|href|url\(|\sstyle=|\son\w+=", svg)
    assert not re.search(r'\b(nan|inf)\b|="-?\d+\.\d{2,}', svg)


def test_networks_are_sound_pictures(networks: dict[str, Drawn]) -> None:
    assert len(networks) >= 30
    for name, drawn in networks.items():
        try:
            check_picture(drawn.svg)
        except AssertionError as error:
            raise AssertionError(f"{name}: {error}") from error


def test_plans_bars_and_shifts_are_sound_pictures(others: dict[str, str]) -> None:
    for name, svg in others.items():
        try:
            check_picture(svg)
        except AssertionError as error:
            raise AssertionError(f"{name}: {error}") from error


def test_the_check_of_pictures_can_fail(networks: dict[str, Drawn]) -> None:
    svg = networks["backlight-seen"].svg
    moved = re.sub(r'(<rect x=")[\d.]+(" y="[\d.]+"[^>]*data-node="led_cable")', r"\g<1>100\2", svg)
    cut = re.sub(r'viewBox="0 0 \d+', 'viewBox="0 0 600', svg)
    small = svg.replace('font-size="11"', 'font-size="9"')
    outside = svg.replace("<title>", '<image href="x"/><title>')
    for broken in (moved, cut, small, outside):
        assert broken != svg
        with pytest.raises(AssertionError):
            check_picture(broken)


def test_the_same_again_is_the_same_bytes_whatever_the_hash_seed(tmp_path: Path) -> None:
    script = tmp_path / "draw.py"
    script.write_text(
        "import sys\n"
        "from faultnet import Case, diagnose, load_model, parse_events\n"
        "from faultnet.pictures.bars import bars_picture\n"
        "from faultnet.pictures.network import network_picture\n"
        "model = load_model('backlight')\n"
        "case = Case(parse_events(model, ['sound=present', 'strip_tester=dark', 'replace_strips=not']))\n"
        "told = diagnose(model, case, n_draws=40)\n"
        "for drawn in (network_picture(model, told, case), network_picture(model), bars_picture(model, told)):\n"
        "    sys.stdout.buffer.write(drawn.encode())\n",
        encoding="utf-8",
    )
    seeds = ("0", "1", "4711")
    written = {
        subprocess.run(
            [sys.executable, str(script)], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        ).stdout
        for seed in seeds
    }
    (once,) = written
    model = load_model("backlight")
    case = case_of(model, "sound=present", "strip_tester=dark", "replace_strips=not")
    told = diagnose(model, case, n_draws=40)
    again = network_picture(model, told, case) + network_picture(model) + bars_picture(model, told)
    assert once.decode() == again


def test_text_is_escaped_and_what_xml_forbids_is_replaced() -> None:
    model = load_model("backlight")
    nasty = '<script>alert("x")</script> & \x00\x1b\'"'
    strips = replace(model.components["strips"], label=nasty)
    seen = replace(model.observations["sound"], label=nasty, state_labels={"present": nasty})
    model = replace(
        model,
        title=nasty,
        components={**model.components, "strips": strips},
        observations={**model.observations, "sound": seen},
    )
    case = case_of(model, "sound=present")
    told = diagnose(model, case, n_draws=40)
    for svg in (network_picture(model, told, case), network_picture(model), bars_picture(model, told)):
        check_picture(svg)
        root = ElementTree.fromstring(svg)
        assert "<script" not in svg
        assert 'alert("x")' in (root[0].text or "")


# -- the network -----------------------------------------------------------------------------------------------------


def edges_in(root: ElementTree.Element) -> list[tuple[str | None, str | None]]:
    lines = (each for each in root.iter(f"{{{NAMESPACE}}}path") if each.get("data-from"))
    return [(each.get("data-from"), each.get("data-to")) for each in lines]


def test_a_whole_picture_has_every_node_and_edge_once(networks: dict[str, Drawn]) -> None:
    whole = {name: drawn for name, drawn in networks.items() if name.endswith(("-whole", "-shown"))}
    assert len(whole) >= 15
    for name, drawn in whole.items():
        network = drawn.model.compiled.network
        nodes = sorted(node.id for node in network if node.id != SET_WORKS)
        edges = sorted((parent, node.id) for node in network if node.id != SET_WORKS for parent in node.parents)
        assert nodes == sorted(boxes(drawn.root)), name
        assert edges == sorted(edges_in(drawn.root)), name  # type: ignore[type-var]


def test_what_nobody_looked_at_is_named_below_and_has_no_box(networks: dict[str, Drawn]) -> None:
    drawn = networks["backlight-volts"]
    assert drawn.case is not None
    shown = set(boxes(drawn.root))
    seen = {"reported", "sound", "flashlight", "startup_flash", "loaded_voltage"}
    assert shown == {*drawn.model.components, *drawn.model.rails, *seen}
    network = drawn.model.compiled.network
    kept = [(p, n.id) for n in network for p in n.parents if {p, n.id} <= shown]
    assert sorted(kept) == sorted(edges_in(drawn.root))  # type: ignore[type-var]
    words = " ".join(each[4] for each in texts(drawn.root)).replace("\u00a0", " ")
    assert "Not yet looked at" in words
    for test in drawn.model.tests.values():
        (leaf,) = test.reveals
        label = drawn.model.observations[leaf].label
        typed = "" if label == test.id else f" [{test.id}]"  # not twice
        assert (f"{label}{typed} hazard {test.hazard}" in words) == (test.id not in seen), test.id
    for condition in drawn.model.conditions.values():
        assert f"{condition.label} [{condition.id}]" in words


def test_boxes_tell_what_the_diagnosis_says(networks: dict[str, Drawn]) -> None:
    for name in ("backlight-volts", "backlight-repaired-whole", "backlight_combined-seen-narrow", "asia-seen"):
        drawn = networks[name]
        assert drawn.diagnosis is not None
        told = list(texts(drawn.root))
        placed = boxes(drawn.root)
        for component in drawn.model.components:
            inside = [words for *box, words in told if overlap(tuple(box), placed[component], 0.5)]
            assert percent(drawn.diagnosis.faulty(component)) in inside, (name, component)
            between = drawn.diagnosis.faulty_between(component)
            assert between is None or f"({percent_range(*between)})" in inside, (name, component)


def test_bars_are_filled_as_far_as_the_chance(networks: dict[str, Drawn]) -> None:
    drawn = networks["backlight-volts"]
    assert drawn.diagnosis is not None
    rects = list(drawn.root.iter(f"{{{NAMESPACE}}}rect"))
    for component, box in boxes(drawn.root).items():
        if component not in drawn.model.components:
            continue
        inside = [r for r in rects if not r.get("data-node") and box[0] < float(r.get("x", "")) < box[2]]
        own = [r for r in inside if box[1] < float(r.get("y", "")) < box[3]]
        track, filled = (float(r.get("width", "")) for r in own[:2])
        assert filled == pytest.approx(max(1.5, track * drawn.diagnosis.faulty(component)), abs=0.06)


def test_what_was_seen_given_and_repaired_stands_in_its_box(networks: dict[str, Drawn]) -> None:
    drawn = networks["backlight-repaired"]
    placed = boxes(drawn.root)

    def words_in(node: str) -> str:
        inside = (w for *box, w in texts(drawn.root) if overlap(tuple(box), placed[node], 0.5))
        return " ".join(inside).replace("\u00a0", " ")

    assert "no flash, before the repair" in words_in("startup_flash")
    assert "5 points: 63 V each (max hold), before the repair" in words_in("open_voltage")
    assert "likelihood 0.8 dark, 0.2 some dark or flickering" in words_in("strip_tester")
    assert words_in("bl_on").endswith("high")
    assert "sound, but a dark screen" in words_in("reported")
    assert "given: over 10 years" in words_in("age_band")
    assert "repaired: still not" in words_in("strips")
    assert "reported" not in boxes(networks["backlight-no-complaint"].root)


def test_of_one_component_and_of_what_is_asked_every_state_is_told(networks: dict[str, Drawn]) -> None:
    drawn = networks["intake-seen"]
    assert drawn.diagnosis is not None
    words = [each[4] for each in texts(drawn.root)]
    for fault in drawn.diagnosis.of("block")[1:]:
        assert percent(fault.probability) in words
    labels = {mode.label for mode in drawn.model.components["block"].modes}
    states = {drawn.model.conditions["family"].words(s) for s in drawn.model.conditions["family"].states}
    assert labels | states <= set(words)


def points(path: str) -> Iterator[tuple[float, float]]:
    """Points along a path of M, L and C, close together."""
    at = (0.0, 0.0)
    for step in re.findall(r"[MLC][^MLC]*", path):
        numbers = [float(n) for n in step[1:].split()]
        corners = [at, *zip(numbers[::2], numbers[1::2], strict=True)]
        for t in (n / 24 for n in range(25) if step[0] != "M"):
            between = corners
            while len(between) > 1:  # de Casteljau
                between = [tuple((1 - t) * a + t * b for a, b in zip(p, q, strict=True)) for p, q in pairwise(between)]
            yield between[0]
        at = corners[-1]


def test_no_line_runs_through_a_box(networks: dict[str, Drawn]) -> None:
    for name, drawn in networks.items():
        placed = boxes(drawn.root)
        for line in drawn.root.iter(f"{{{NAMESPACE}}}path"):
            along = list(points(line.get("d", "")))
            for node, (left, top, right, bottom) in placed.items():
                through = [p for p in along if left + 0.6 < p[0] < right - 0.6 and top + 0.6 < p[1] < bottom - 0.6]
                assert through == [], (name, line.get("data-from"), line.get("data-to"), node)


def test_lines_from_the_likeliest_component_to_what_was_seen_are_the_heaviest(networks: dict[str, Drawn]) -> None:
    drawn = networks["backlight-volts-whole"]
    assert drawn.diagnosis is not None
    assert drawn.diagnosis.leading == "strips"
    widths = {
        (e.get("data-from"), e.get("data-to")): float(e.get("stroke-width", ""))
        for e in drawn.root.iter(f"{{{NAMESPACE}}}path")
    }
    heaviest = {edge for edge, width in widths.items() if width == max(widths.values())}
    assert {("strips", "string_path"), ("light", "reported"), ("driver_output", "loaded_voltage")} <= heaviest
    assert {("strips", "driver"), ("strips", "strip_tester"), ("panel", "video")} & heaviest == set()
    assert widths["strips", "strip_tester"] < widths["panel", "video"]


# -- how it is laid out ----------------------------------------------------------------------------------------------


def test_spread_keeps_order_gaps_and_bounds_and_is_nearest() -> None:
    # By hand: without room two that want the same place stand around it; bounds push.
    assert spread([5, 5], [2], 0, 10) == [4.0, 6.0]
    assert spread([-5, -5, 4], [2, 2], 0, 10) == [0.0, 2.0, 4.0]
    assert spread([20, 20], [2], 0, 10) == [8.0, 10.0]
    assert spread([], [], 0, 1) == []
    with pytest.raises(ValueError, match="room for 3"):
        spread([0, 0, 0], [2, 2], 0, 3)


def test_rows_without_need_to_cross_do_not_cross() -> None:
    edges = [("a", "x"), ("b", "y"), ("c", "z")]
    rows = Rows([["a", "b", "c"], ["z", "y", "x"]], dict.fromkeys("abcxyz", (20.0, 10.0)), edges)
    places = lay_out(rows, 0, 200, 0).places
    above, below = (sorted(boxes, key=lambda box: places[box].x) for boxes in ("abc", "xyz"))
    assert [dict(edges)[box] for box in above] == below


def test_a_long_line_has_a_lane_and_all_rows_fit() -> None:
    rows = Rows([["a"], ["b"], ["c"]], dict.fromkeys("abc", (50.0, 10.0)), [("a", "b"), ("b", "c"), ("a", "c")])
    assert least_width(rows) == 59.0
    laid = lay_out(rows, 0, 59, 0)
    beside = [x for x, y in laid.routes["a", "c"] if laid.places["b"].y <= y <= laid.places["b"].y + 10]
    assert len(beside) == 2
    assert all(abs(x - laid.places["b"].middle) == pytest.approx(25 + 9) for x in beside)


def test_any_rows_fit_their_width_without_overlap_or_lines_through_boxes() -> None:
    rng = np.random.default_rng(5)
    for _ in range(40):
        rows = any_rows(rng)
        width = least_width(rows)
        laid = lay_out(rows, 10, width, 20)
        for one, other in combinations(laid.places.values(), 2):
            apart = one.x + one.width <= other.x or other.x + other.width <= one.x
            assert apart or one.y + one.height < other.y or other.y + other.height < one.y
        assert all(9.99 <= place.x <= place.x + place.width <= 10.01 + width for place in laid.places.values())
        for edge, route in laid.routes.items():
            assert route[-1][1] == laid.places[edge[1]].y
            for (x1, y1), (x2, y2) in pairwise(route[:-1]):
                if x1 == x2:  # beside boxes; it bends only between rows
                    beside = [p for p in laid.places.values() if p.x < x1 < p.x + p.width]
                    assert all(y2 <= p.y or p.y + p.height <= y1 for p in beside)
                else:
                    assert all(y2 <= p.y or p.y + p.height <= y1 for p in laid.places.values())


def any_rows(rng: np.random.Generator) -> Rows:
    """Up to six rows of up to six boxes of any size, each box hanging on some of those above."""
    rows = [[f"{n}.{m}" for m in range(rng.integers(1, 7))] for n in range(rng.integers(1, 7))]
    sizes = {box: (float(rng.uniform(30, 160)), float(rng.uniform(20, 90))) for row in rows for box in row}
    pairs = ((a, b) for n, row in enumerate(rows) for b in row for above in rows[:n] for a in above)
    return Rows(rows, sizes, [pair for pair in pairs if rng.random() < 0.2])


def test_a_component_stands_below_those_that_take_it_along() -> None:
    model = lamp(collateral=COLLATERAL)
    graph = Graph.of(model)
    (components,) = [row for row in graph.rows() if row[0] in model.components]
    assert components.index("bulb") < components.index("battery")


def test_lines_of_text_hold_their_width_and_lose_nothing() -> None:
    words = "voltage at the LED connector, LEDs plugged, max hold loaded_voltage_peak_of_everything_there_is 0.1\u00a0V"
    for width in (30.0, 80.0, 150.0, 1000.0):
        lines = wrap(words, width)
        assert "".join("".join(lines).split(" ")) == words.replace(" ", "")
        assert all(text_width(line) <= width for line in lines)
    assert wrap("  ", 50) == []
    assert "0.1\u00a0V" in wrap(words, 150.0)[-1]


# -- plan ------------------------------------------------------------------------------------------------------------


def cells(svg: str) -> list[str]:
    root = ElementTree.fromstring(svg)
    found = (each.get("data-step") for each in root.iter(f"{{{NAMESPACE}}}rect"))
    return [step for step in found if step]


def down_to(step: PlanStep, depth: int) -> Iterator[PlanStep]:
    """Every test and repair that deep."""
    if depth and step.kind != "stop":
        yield step
        for branch in step.branches:
            if branch.then is not None and branch.chance > 0:
                yield from down_to(branch.then, depth - 1)


@pytest.mark.parametrize("depth", [1, 2, 3, 20])
def test_a_full_plan_shows_every_step_down_to_the_limit_and_says_what_is_cut(
    plan: tuple[Model, Plan], depth: int
) -> None:
    model, found = plan
    expected = [step.id for step in down_to(found.first, depth)]
    svg = plan_picture(model, found, depth=depth, full=True)
    assert sorted(expected) == sorted(cells(svg))
    n_all = sum(step.kind != "stop" for step in found.first.steps())
    left = sum(map(int, re.findall(r"goes on: (\d+) more", svg)))
    assert n_all == len(expected) + left
    assert depth < 20 or left == 0


def test_a_plan_fits_a_page_and_says_what_goes_on(plan: tuple[Model, Plan]) -> None:
    model, found = plan
    svg = plan_picture(model, found)
    root = ElementTree.fromstring(svg)
    _, _, width, height = map(float, root.get("viewBox", "").split())
    assert height <= HEIGHT
    assert width / HEIGHT == pytest.approx(297 / 210, abs=0.01)  # ISO 216: A4 is 210 by 297 mm
    shown = cells(svg)
    assert len(shown) >= 5
    steps = [step.id for step in down_to(found.first, DEPTH)]
    assert all(shown.count(id_) <= steps.count(id_) for id_ in shown)
    words = " ".join(each[4] for each in texts(root)).replace("\u00a0", " ")
    assert f"Expected cost {found.cost.upper:.0f}" in words
    assert f"1. {found.first.label}" in words
    assert f"hazard {found.first.step.hazard} of 4" in words if found.first.step else False
    for caution in found.first.step.cautions if found.first.step else ():
        assert caution.text in words
    for branch in found.first.branches:
        assert percent(branch.chance) in words


def test_a_branch_is_as_thick_as_many_sets_come_there(plan: tuple[Model, Plan]) -> None:
    svg = plan_picture(*plan, depth=2, full=True)
    widths = [float(each.get("stroke-width", "")) for each in ElementTree.fromstring(svg).iter(f"{{{NAMESPACE}}}path")]
    chances = sorted(branch.chance for branch in plan[1].first.branches if branch.chance > 0)
    assert max(widths) > min(widths)
    assert sum(w for w in widths) == pytest.approx(15 * sum(chances), abs=1.4 * len(chances))


def test_a_plan_that_stops_at_once_is_one_cell(plan: tuple[Model, Plan]) -> None:
    model, found = plan
    stop = PlanStep("stop", "", "give up, or hand over", 1.0, 100.0, (), None, ())
    svg = plan_picture(model, replace(found, first=stop))
    check_picture(svg)
    assert cells(svg) == []
    assert "give up, or hand over" in svg


# -- bars and shifts -------------------------------------------------------------------------------------------------


def test_bars_tell_percent_interval_and_words_the_likeliest_first(networks: dict[str, Drawn]) -> None:
    drawn = networks["backlight-volts"]
    assert drawn.diagnosis is not None
    root = ElementTree.fromstring(bars_picture(drawn.model, drawn.diagnosis))
    words = [each[4] for each in texts(root)]
    in_order = sorted(drawn.model.components, key=lambda c: -drawn.diagnosis.faulty(c))  # type: ignore[union-attr]
    labels = [drawn.model.components[c].label for c in in_order]
    said = " ".join(words)
    bold = [e for e in root.iter(f"{{{NAMESPACE}}}text") if e.get("font-size") == "14" and not e.get("text-anchor")]
    assert " ".join(labels) == " ".join(each.text or "" for each in bold)
    for component in in_order:
        chance, between = drawn.diagnosis.faulty(component), drawn.diagnosis.faulty_between(component)
        assert between is not None
        assert f"{in_words(chance)} ({percent_range(*between)})" in words
        assert percent(chance) in words
    assert "starting numbers, no jobs of this shop yet" in said
    assert "These are probabilities, not proof." in said
    assert f"a string is open {percent(drawn.diagnosis.of('strips')[1].probability)}" in said


def test_imported_numbers_have_bars_without_whiskers(others: dict[str, str]) -> None:
    assert "<line" not in others["bars-asia-seen"]
    assert "<line" in others["bars-backlight-volts"]
    assert "imported numbers, used as they are" in others["bars-asia-seen"]


def test_shifts_are_sorted_by_size_with_both_numbers(others: dict[str, str]) -> None:
    before, after = shares()
    words = [each[4] for each in texts(ElementTree.fromstring(others["shift-shares"]))]
    told = [word for word in words if word.startswith("was ")]
    sizes = [abs(b - a) for b, a in zip(before.means, after.means, strict=True)]  # type: ignore[attr-defined]
    order = sorted(range(len(sizes)), key=lambda n: -sizes[n])
    expected = [
        f"was {percent(before.means[n])}, now {percent(after.means[n])} ({percent_range(*after.interval(n))})"  # type: ignore[attr-defined]
        for n in order
    ]
    assert expected == told
    assert "350 past jobs" in " ".join(words)


def test_shifts_of_what_does_not_match_are_refused(networks: dict[str, Drawn]) -> None:
    drawn = networks["backlight-seen"]
    assert drawn.diagnosis is not None
    with pytest.raises(ValueError, match="two diagnoses"):
        shift_picture(drawn.model, drawn.diagnosis, shares()[0])  # type: ignore[arg-type]


# -- the command line ------------------------------------------------------------------------------------------------


def test_next_writes_pictures_and_its_answer_stays(tmp_path: Path) -> None:
    network, bars = tmp_path / "network.svg", tmp_path / "bars.svg"
    plain = run("next", "backlight", *SEEN)
    done = run("next", "backlight", *SEEN, "--picture", str(network), "--bars", str(bars))
    assert plain.stdout == done.stdout
    assert f"note: picture written: {network}\nnote: picture written: {bars}\n" == done.stderr
    model = load_model("backlight")
    case = case_of(model, *SEEN)
    told = diagnose(model, case)
    assert network_picture(model, told, case) == network.read_text(encoding="utf-8")
    assert bars_picture(model, told) == bars.read_text(encoding="utf-8")


def test_model_show_plan_and_imported_networks_write_pictures(tmp_path: Path) -> None:
    shown, planned = tmp_path / "shown.SVG", tmp_path / "planned.svg"
    done = run("model", "show", "intake", "--picture", str(shown), "--json")
    assert done.stdout.startswith("{")
    assert network_picture(load_model("intake")) == shown.read_text(encoding="utf-8")
    options = ("--tests", "strip_tester,open_voltage", "--trained", "--seconds", "1", "--picture", str(planned))
    done = run("plan", "backlight", *SEEN, *options)
    assert f"picture written: {planned}" in done.stderr
    check_picture(planned.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "arguments",
    [
        ("next", "backlight", "--picture"),
        ("next", "backlight", "--bars"),
        ("plan", "backlight", "--picture"),
        ("tune", "backlight", "--picture"),
        ("model", "show", "backlight", "--picture"),
    ],
)
def test_another_suffix_is_a_usage_error_and_writes_nothing(arguments: tuple[str, ...], tmp_path: Path) -> None:
    file = tmp_path / "picture.png"
    done = run(*arguments, str(file), expect=2)
    assert f"{arguments[-1]} {file}: write a name that ends in .svg" in done.stderr
    assert not file.exists()


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    file = tmp_path / "nowhere" / "picture.svg"
    done = run("model", "show", "intake", "--picture", str(file), expect=2)
    assert f"--picture {file}: cannot be written" in done.stderr


def test_next_without_the_options_imports_no_pictures() -> None:
    code = (
        "import sys; from faultnet.cli import main\n"
        "sys.argv = ['faultnet', 'next', 'backlight', 'sound=present']\n"
        "try:\n    main.run()\nexcept SystemExit:\n    pass\n"
        "print('MODULES', *sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    loaded = done.stderr.split("MODULES")[1].split()
    assert [name for name in loaded if name.startswith(("faultnet.plots", "faultnet.pictures"))] == []
    assert "faultnet.cli.next" in loaded
