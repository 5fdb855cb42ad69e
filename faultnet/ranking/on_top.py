"""How much the order of tests hangs on numbers nobody measured: how often each would come out on top over draws."""

from collections import Counter
from dataclasses import replace

import numpy as np

from faultnet.case.case import Case
from faultnet.case.steps import believe, case_steps
from faultnet.diagnosis.drawn import Drawn, states_that_matter
from faultnet.diagnosis.draws import Draws
from faultnet.diagnosis.intervals import N_DRAWS
from faultnet.engine.information import mutual_informations_bits
from faultnet.model.model import Model
from faultnet.ranking.advise import best_test
from faultnet.ranking.result import Ranking

LEAST_BITS = 1e-9


def with_times_on_top(model: Model, case: Case, ranking: Ranking, n_draws: int = N_DRAWS, seed: int = 0) -> Ranking:
    """The ranking with how often each test that could be made would be the one to make next.

    Over seeded draws of the model's numbers from their Dirichlets, the evidence fixed, as for the intervals of the
    faults; in each the test is picked as the advice is, in the trade's order. Gains are of states; those of readings in
    volts stand to them as they do at the model's own numbers.
    """
    held = {each.id for each in ranking.held_back}
    tests = [test for test in ranking.tests if test.test not in held]
    if model.is_imported or len(tests) < 2:
        return ranking
    belief = believe(model, case)
    drawn = Drawn(model, model.compiled.table, states_that_matter(model, belief), Draws(model, n_draws, seed))
    weight = drawn.weight(case_steps(model, case))
    decided = model.compiled.to_decide
    gains = np.empty((len(tests), len(weight)))
    for number, test in enumerate(tests):
        usual = belief.gain_bits(test.reveals, decided)
        finer = test.gain_repair_bits / usual if usual > LEAST_BITS else 1.0
        gains[number] = finer * mutual_informations_bits(drawn.outcomes(weight, test.reveals, decided))
    counts: Counter[str] = Counter()
    for own in gains.T.tolist():
        redrawn = [replace(test, gain_repair_bits=bits) for test, bits in zip(tests, own, strict=True)]
        advised = best_test(redrawn, model.aim)
        if advised is not None:
            counts[advised.id] += 1
    return replace(ranking, on_top={test.test: counts[test.test] / len(weight) for test in tests})
