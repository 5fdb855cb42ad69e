"""Chances in words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faultnet.words import fixed, in_words, odds_factor, percent, percent_range, times


@pytest.mark.parametrize(
    ("chance", "shown", "said"),
    [
        (0.0, "<1 %", "fewer than 1 in 100"),
        (0.004, "<1 %", "fewer than 1 in 100"),
        (0.05, "5 %", "about 1 in 20"),
        (0.25, "25 %", "about 1 in 4"),
        (0.66, "66 %", "about 2 in 3"),
        (0.9, "90 %", "about 9 in 10"),
        (0.996, ">99 %", "more than 99 in 100"),
        (1.0, ">99 %", "more than 99 in 100"),
    ],
)
def test_chances_people_meet(chance: float, shown: str, said: str) -> None:
    assert (shown, said) == (percent(chance), in_words(chance))


@given(st.floats(0, 1))
def test_no_chance_is_shown_as_certain_and_words_stay_near_the_number(chance: float) -> None:
    assert percent(chance) not in ("0 %", "100 %")
    words = in_words(chance).split()
    if words[0] == "about":
        assert abs(int(words[1]) / int(words[3]) - chance) <= max(0.2 * min(chance, 1 - chance), 0.005) + 1e-12


def test_intervals_and_factors() -> None:
    assert percent_range(0.001, 0.26) == "<1 to 26"
    assert (odds_factor(1), odds_factor(-1), odds_factor(0.01), odds_factor(4)) == ("x2", "x0.5", "no change", "x16")


def test_factors_and_numbers_without_a_needless_sign() -> None:
    assert (times(1.64), times(9.96), times(40.2), times(1e9)) == (
        "1.6 times",
        "10 times",
        "40 times",
        "more than 1000 times",
    )
    assert (fixed(-0.0, 2), fixed(-0.004, 2), fixed(-0.006, 2), fixed(1.005e3, 0)) == ("0.00", "0.00", "-0.01", "1005")
