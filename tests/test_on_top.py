"""How often a test would be the one to make over draws of the numbers, against models with the drawn numbers."""

from dataclasses import replace
from math import isclose

import numpy as np
import pytest
from test_diagnosis import LAMP_CASES, case_of, drawn_model, lamp

from faultnet.case import Case, believe, parse_events
from faultnet.case.steps import case_steps
from faultnet.diagnosis.drawn import Drawn, states_that_matter
from faultnet.model.draws import Draws
from faultnet.engine.information import mutual_informations_bits
from faultnet.files import load_model
from faultnet.ranking import rank_tests
from faultnet.ranking.on_top import with_times_on_top
from faultnet.settings import ShopSettings
from faultnet.telling.answer import on_top_words

N = 20


@pytest.mark.parametrize("name", LAMP_CASES)
def test_gains_agree_with_solving_every_draw_anew(name: str) -> None:
    model = lamp(strength=50, second_fault_share=0.15)
    case = case_of(model, *LAMP_CASES[name])
    draws, belief = Draws(model, N, 2), believe(model, case)
    drawn = Drawn(model, model.compiled.table, states_that_matter(model, belief), draws)
    weight, decided = drawn.weight(case_steps(model, case)), model.compiled.to_decide
    solved = [believe(drawn_model(model, draws, number), case) for number in range(N)]
    open_leaves = [leaf for leaf in model.observations if leaf != model.complaint]
    spread = 0.0
    for leaves in [(leaf,) for leaf in open_leaves] + [tuple(open_leaves[:2])]:
        found = mutual_informations_bits(drawn.outcomes(weight, leaves, decided))
        wanted = np.array([each.gain_bits(leaves, decided) for each in solved])
        np.testing.assert_allclose(found, wanted, atol=0.002)
        spread = max(spread, float(np.ptp(wanted)))
    assert spread > 0.02  # else the comparison would say nothing


def test_the_advised_test_of_most_draws_is_the_advised_one() -> None:
    """With numbers worth thousands of jobs nothing else is ever advised; with few, something else often is."""
    model = load_model("backlight@0")
    told = ["sound=present", "flashlight=image_seen", "startup_flash=none"]
    case, trained = Case(tuple(parse_events(model, told))), ShopSettings(trained=True)
    ranking = with_times_on_top(model, case, rank_tests(model, case, settings=trained))
    held = {each.id for each in ranking.held_back}
    assert set(ranking.on_top) == {test.test for test in ranking.tests} - held
    assert isclose(sum(ranking.on_top.values()), 1)
    assert ranking.on_top[ranking.advice.id] < 0.9
    assert f"the same in {round(100 * ranking.on_top[ranking.advice.id])} % of draws" in on_top_words(ranking)
    assert ranking.to_frame().set_index("test").on_top[ranking.advice.id] == ranking.on_top[ranking.advice.id]
    assert with_times_on_top(model, case, ranking) == ranking  # seeded
    sure = replace(ranking, on_top={**dict.fromkeys(ranking.on_top, 0.0), ranking.advice.id: 0.95})
    assert on_top_words(sure) == ""
    assert on_top_words(rank_tests(model, case, settings=trained)) == ""
