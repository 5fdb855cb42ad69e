"""A model whose tests leave the set as it is."""

from dataclasses import replace

from faultnet.model.model import Model


def without_alterations(model: Model) -> Model:
    """The same model with the same priors, but no test alters anything."""
    tests = {id_: replace(test, alters=()) for id_, test in model.tests.items()}
    return replace(model, tests=tests, root_odds=tuple(model.compiled.odds.values()))
