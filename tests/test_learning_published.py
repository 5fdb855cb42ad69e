"""Learning against worked examples from outside the project; the source stands beside each."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from networks import import_file

from faultnet.case.events import Finding, SoftFinding
from faultnet.interchange.kinds import Told
from faultnet.learning.climb import climb
from faultnet.learning.conflict import at_least, surprise
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.pooling import log_marginals
from faultnet.learning.prepare import aim_at
from faultnet.model import Model
from faultnet.model.chances import Chances
from faultnet.patterns import Pattern, Patterns

pytestmark = pytest.mark.published


def imported(folder: Path, text: str, *components: str) -> Model:
    """The model of a network in BIF."""
    file = folder / "network.bif"
    file.write_text(text)
    return import_file(file, folder / "network.yaml", Told({"component": components}, {}))[1]


def seen(model: Model, *counted: tuple[Sequence[tuple[str, str]], int]) -> Patterns:
    """Findings that were made together so many times."""
    return Patterns.of(model.id, [(Pattern(tuple(Finding(*f) for f in found)), n) for found, n in counted])


def rows_fixed(aim: Aim, point: Point, *fixed: str) -> Point:
    """A step of expectation and maximisation that leaves the tables of some nodes as they are."""
    better = aim.improved(point, aim.history.expect(point))
    chances = better.chances.copy()
    for node in fixed:
        chances[aim.frame.rows_place(node)] = point.chances[aim.frame.rows_place(node)]
    return Point(better.odds, chances)


LINKAGE = """network linkage { }
variable half { type discrete [ 2 ] { whole, mixed }; }
variable kind { type discrete [ 3 ] { none, first, second }; }
variable side { type discrete [ 2 ] { left, right }; }
variable seen { type discrete [ 5 ] { a, b, c, d, e }; }
probability ( half ) { table 0.5, 0.5; }
probability ( kind | half ) { (whole) 1, 0, 0; (mixed) 0, 0.5, 0.5; }
probability ( side ) { table 0.5, 0.5; }
probability ( seen | kind, side ) {
  (none, left) 1, 0, 0, 0, 0; (none, right) 1, 0, 0, 0, 0;
  (first, left) 0, 1, 0, 0, 0; (first, right) 0, 0, 0, 0, 1;
  (second, left) 0, 0, 1, 0, 0; (second, right) 0, 0, 0, 1, 0;
}
"""

PAPER = (
    0.5,
    0.608247423,
    0.624321051,
    0.626488879,
    0.626777323,
    0.626815632,
    0.626820719,
    0.626821395,
    0.626821484,
)


def test_linkage_of_dempster_laird_and_rubin(tmp_path: Path) -> None:
    """Dempster, Laird & Rubin 1977, section 1, Table 1: 125 of cells a and b together, 18, 20, 34.

    As a network: half of the animals fall into cell a, the rest by a chance pi; a finding that may be a or b. Nine rows
    of the paper's table, whose last digit is rounded either way.
    """
    model = imported(tmp_path, LINKAGE, "half", "kind", "side")
    either = Pattern((SoftFinding("seen", (("a", 1.0), ("b", 1.0))),))
    told = [(either, 125), *((Pattern((Finding("seen", cell),)), n) for cell, n in (("c", 18), ("d", 20), ("e", 34)))]
    aim = aim_at(model, Patterns.of(model.id, told))
    point, place = aim.frame.own, aim.frame.place["row.kind.1"]
    rows = [point.chances[place][1]]
    for _ in range(8):
        point = rows_fixed(aim, point, "half", "side", "seen")
        rows.append(point.chances[place][1])
    assert rows == pytest.approx(PAPER, abs=2e-9)
    for _ in range(20):
        point = rows_fixed(aim, point, "half", "side", "seen")
    assert point.chances[place][1] == pytest.approx((15 + np.sqrt(53809)) / 394, abs=1e-10)


COINS = """network coins { }
variable coin { type discrete [ 2 ] { A, B }; }
variable toss { type discrete [ 2 ] { heads, tails }; }
probability ( coin ) { table 0.5, 0.5; }
probability ( toss | coin ) { (A) 0.6, 0.4; (B) 0.5, 0.5; }
"""


def test_two_coins(tmp_path: Path) -> None:
    """Do & Batzoglou 2008, Nature Biotechnology 26: 5 sets of 10 tosses with 5, 9, 8, 4, 7 heads, coin unknown."""
    model = imported(tmp_path, COINS, "coin")
    sets = [
        (Pattern((*[Finding("toss", "heads")] * n, *[Finding("toss", "tails")] * (10 - n))), 1) for n in (5, 9, 8, 4, 7)
    ]
    aim = aim_at(model, Patterns.of(model.id, sets))
    point = aim.frame.own
    counts = aim.counts(point, aim.history.expect(point))[aim.frame.rows_place("toss")]
    assert counts == pytest.approx([21.2975, 8.5722, 11.7025, 8.4278], abs=5e-4)  # printed 21.3, 8.6, 11.7, 8.4
    heads = []
    for _ in range(200):
        point = rows_fixed(aim, point, "coin")
        heads.append(aim.frame.rows(point, "toss")[:, 0])
    assert heads[0] == pytest.approx([0.7130122354, 0.5813393083], abs=1e-9)
    assert heads[1] == pytest.approx([0.74529204, 0.56925575], abs=1e-8)
    assert heads[9] == pytest.approx([0.80, 0.52], abs=5e-3)
    assert heads[-1] == pytest.approx([0.796789, 0.519583], abs=1e-6)


MARGINS = """network margins { }
variable row { type discrete [ 2 ] { one, two }; }
variable column { type discrete [ 2 ] { one, two }; }
variable unseen { type discrete [ 2 ] { yes, no }; }
probability ( unseen | row ) { (one) 0.5, 0.5; (two) 0.5, 0.5; }
probability ( row ) { table 0.5, 0.5; }
probability ( column | row ) { (one) 0.6666666666666666, 0.3333333333333333; (two) 0.5, 0.5; }
"""


def test_table_with_supplemental_margins(tmp_path: Path) -> None:
    """Little & Rubin, Statistical Analysis with Missing Data: 2x2 table, of some only the row or the column is known.

    Data and the rounded answer .28 .17 .24 .31 from memory, recomputed. The shape of a history in which one of two
    findings was not written down. The start is the table of the complete cases.
    """
    model = imported(tmp_path, MARGINS, "row", "column")
    both = [
        ((("row", a), ("column", b)), n)
        for a, b, n in (("one", "one", 100), ("one", "two", 50), ("two", "one", 75), ("two", "two", 75))
    ]
    rows = [((("row", "one"),), 30), ((("row", "two"),), 60)]
    columns = [((("column", "one"),), 28), ((("column", "two"),), 60)]
    aim = aim_at(model, seen(model, *both, *rows, *columns))

    def joint(point: Point) -> list[float]:
        row, column = point.chances[aim.frame.rows_place("row")], aim.frame.rows(point, "column")
        return (row[:, None] * column).reshape(-1).tolist()

    first = aim.improved(aim.frame.own, aim.history.expect(aim.frame.own))
    assert joint(first) == pytest.approx([0.284519, 0.175732, 0.244770, 0.294979], abs=1e-6)
    best = climb(aim, aim.frame.own, tolerance=1e-14)
    assert joint(best.point) == pytest.approx([0.279475, 0.174024, 0.238719, 0.307782], abs=1e-6)
    assert joint(best.point) == pytest.approx([0.28, 0.17, 0.24, 0.31], abs=5e-3)
    slow = climb(aim, aim.frame.own, tolerance=1e-14, accelerated=False)
    assert joint(slow.point) == pytest.approx(joint(best.point), abs=1e-6)


# -- closed forms of updating ------------------------------------------------------------------------------------------


def test_conflict_of_prior_and_data() -> None:
    """NASA/SP-2009-569, Examples 1 and 12: two of 285 relief valves failed, prior Beta(1.24, 189075).

    The handbook prints a posterior predictive P(at least 2) of about 1e-5 and P(at least 1) of .005; recomputed by the
    beta-binomial 1.542e-5 and .004861. P(at least 2 in 350) by the prior is printed as 0: recomputed 4.73e-6.
    """
    a, b = 1.24 + 2, 189075 + 285 - 2
    assert a / (a + b) == pytest.approx(1.7110e-5, rel=1e-4)
    assert at_least(2, 285, a, b) == pytest.approx(1.542e-5, rel=1e-3)
    assert at_least(1, 285, a, b) == pytest.approx(0.004861, rel=1e-3)
    assert at_least(2, 350, 1.24, 189075) == pytest.approx(4.73e-6, rel=2e-3)


def test_a_conflict_is_told_and_agreement_is_not() -> None:
    """The same valves as a number of a model: what the file says against what was seen."""
    before = Chances("success.x", ("works", "fails"), (0.9, 0.1), 40)
    agrees = Chances("success.x", ("works", "fails"), (0.9, 0.1), 140, jobs=100)
    against = Chances("success.x", ("works", "fails"), ((36 + 40) / 140, (4 + 60) / 140), 140, jobs=100)
    assert surprise(before, agrees) == pytest.approx(1.0, abs=0.1)
    assert surprise(before, against) < 1e-4
    assert surprise(before, Chances("success.x", ("works", "fails"), (0.8, 0.2), 45, jobs=5)) is None


def test_interval_of_a_dirichlet() -> None:
    """NASA/SP-2009-569, Example 7: counts 20, 5, 1 with Dirichlet(1, 1, 1), 90 % intervals of each (Table 2)."""
    number = Chances("row.x.0", ("a", "b", "c"), (21 / 29, 6 / 29, 2 / 29), 29)
    assert number.means == pytest.approx([0.724138, 0.206897, 0.068966], abs=1e-6)
    printed = [(0.58, 0.85), (0.10, 0.34), (0.01, 0.16)]
    assert [number.interval(n) for n in range(3)] == [pytest.approx(each, abs=5e-3) for each in printed]


def test_score_of_a_structure() -> None:
    """Cooper & Herskovits 1992, Table 1 (counts as printed in their formula): ln of 2.23e-9 and 2.23e-10, ratio 10."""

    def table(*counts: tuple[int, int]) -> float:
        return float(log_marginals(np.array(counts, dtype=float), np.ones((len(counts), 2)), np.ones(1))[0])

    chain = table((5, 5)) + table((1, 4), (4, 1)) + table((0, 5), (4, 1))
    assert chain == pytest.approx(-19.922676, abs=1e-6)
    fork = table((5, 5)) + table((1, 4), (4, 1)) + table((2, 3), (4, 1))
    assert np.exp(chain) == pytest.approx(2.23e-9, rel=2e-3)
    assert fork == pytest.approx(-22.225261, abs=1e-6)
