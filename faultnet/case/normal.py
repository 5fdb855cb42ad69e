"""What a set that works shows."""

from collections.abc import Mapping

import numpy as np

from faultnet.model import Model


def normal_states(model: Model) -> Mapping[str, str]:
    """What each observation most likely shows of a set that works: what people leave unwritten."""
    network = model.compiled.network
    known = dict.fromkeys(model.components, 0)
    known |= {c.id: int(np.argmax(c.shares)) for c in model.conditions.values()}

    def likeliest(name: str) -> int:
        if name not in known:
            node = network[name]
            known[name] = int(np.argmax(node.cpt.chances([np.array([likeliest(p)]) for p in node.parents])[0]))
        return known[name]

    return {name: network[name].states[likeliest(name)] for name in model.observations}
