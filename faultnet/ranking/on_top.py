"""How much the order of tests hangs on numbers nobody measured: how often each would come out on top over draws."""

from collections import Counter
from dataclasses import replace

import numpy as np

from faultnet.case.believed import Believed
from faultnet.case.case import Case
from faultnet.diagnosis.diagnose import drawn_or_none
from faultnet.diagnosis.drawn_belief import N_DRAWS, DrawnBelief
from faultnet.model.model import Model
from faultnet.ranking.advise import to_make_next
from faultnet.ranking.result import Ranking

LEAST_BITS = 1e-9


def with_times_on_top(model: Model, case: Case, ranking: Ranking, n_draws: int = N_DRAWS, seed: int = 0) -> Ranking:
    """The ranking with how often each test that could be made would be the one to make next.

    Over seeded draws of the model's numbers from their Dirichlets, the evidence fixed, as for the intervals of the
    faults; in each the test is picked as the advice is, in the trade's order. Gains are of states; those of readings in
    volts stand to them as they do at the model's own numbers.
    """
    believed = Believed(model, case)
    return over_draws(believed, drawn_or_none(believed, n_draws, seed), ranking)


def over_draws(believed: Believed, drawn: DrawnBelief | None, ranking: Ranking) -> Ranking:
    """The same from what is believed already; as it is without draws."""
    held = {each.id for each in ranking.held_back}
    tests = [test for test in ranking.tests if test.test not in held]
    if drawn is None or len(tests) < 2:
        return ranking
    decided = believed.model.compiled.to_decide
    gains = np.empty((len(tests), drawn.n_draws))
    for number, test in enumerate(tests):
        usual = believed.now.gain_bits(test.reveals, decided)
        finer = test.gain_repair_bits / usual if usual > LEAST_BITS else 1.0
        gains[number] = finer * drawn.gains_bits(test.reveals, decided)
    counts = Counter(to_make_next(tests, gains)[1].tolist())
    return replace(ranking, on_top={test.test: counts[number] / drawn.n_draws for number, test in enumerate(tests)})
