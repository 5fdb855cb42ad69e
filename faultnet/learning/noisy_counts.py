"""Expected counts of the effects of a noisy form, from those of the rows it comes to.

Which cause had the strongest effect is hidden; given the causes and what was seen, each effect has its own posterior.
"""

import numpy as np

from faultnet.cpt import Floats
from faultnet.model import Model
from faultnet.model.nodes import Noisy, Observation


def effect_counts(model: Model, seen: Observation, written: Floats, rows: Floats) -> Floats:
    """Of the leak and every written effect, expected counts of its own strength: ``(n_written, n_states)``.

    written: their chances, in the same shape. rows: counts of the states of the observation for every combination of
    causes, ``(n_combinations, n_states)``. Effects that were asked with the leak at work are not told apart from it:
    no counts.
    """
    counts: Floats = np.zeros_like(written)
    noisy = seen.noisy
    if noisy is None or noisy.with_leak:
        return counts
    order = [seen.states.index(state) for state in noisy.order]
    sizes = [len(model.states_of(cause)) for cause in seen.given]
    ranked, chances = rows[:, order], written[:, order]
    for number in np.flatnonzero(rows.sum(axis=1) > 0):
        states = dict(zip(seen.given, np.unravel_index(number, sizes), strict=True))
        present = [0, *(1 + n for n in _present(model, noisy, states))]
        counts[np.ix_(present, order)] += _shared(chances[present], ranked[number])
    return counts


def _present(model: Model, noisy: Noisy, states: dict[str, np.intp]) -> list[int]:
    """Numbers of the effects whose cause is in one of their states."""
    named = {cause: model.states_of(cause)[state] for cause, state in states.items()}
    return [n for n, effect in enumerate(noisy.effects) if named[effect.cause] in effect.states]


def _shared(effects: Floats, seen: Floats) -> Floats:
    """Expected counts of the strength of each effect, when the strongest of them was seen so often in each strength.

    effects: ``(n_effects, n_states)`` and seen: ``(n_states,)``, both from the weakest to the strongest.
    """
    at_most = np.cumsum(effects, axis=1)
    counts = np.zeros_like(effects)
    for number, own in enumerate(effects):
        others = np.prod(np.delete(at_most, number, axis=0), axis=0)
        strongest = np.diff(others, prepend=0.0)
        joint = np.tril(own[None, :] * strongest[:, None], -1) + np.diag(own * others)  # (seen, own strength)
        total = joint.sum(axis=1)
        counts[number] = np.divide(seen, total, out=np.zeros_like(seen), where=total > 0) @ joint
    return counts
