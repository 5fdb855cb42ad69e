"""Our network as pgmpy's. The only module that imports pgmpy, and only when it is called: that takes seconds."""

import os
import warnings
from typing import Any

import numpy as np

from faultnet.cpt import Floats
from faultnet.errors import FaultnetError
from faultnet.network import Network


class NotInstalled(FaultnetError):
    """pgmpy is not there, which only interchange and second opinions need."""

    exit_code = 2


def load_pgmpy() -> Any:
    """The pgmpy module with what is used of it imported. NotInstalled says what to install.

    Its hub client is told to stay off the network before it is first imported.
    """
    os.environ.setdefault("HF_HUB_OFFLINE", "1")
    try:
        with warnings.catch_warnings():
            # it warns about a module of its own that it will drop; nothing here uses that
            warnings.filterwarnings("ignore", category=FutureWarning, message=r"`pgmpy\.estimators")
            import pgmpy
            import pgmpy.factors.discrete
            import pgmpy.inference
            import pgmpy.models
            import pgmpy.readwrite
    except ImportError as error:
        raise NotInstalled(
            f"this needs pgmpy ({error}). In this environment: pip install 'faultnet[interchange]', or in a checkout: "
            "pip install -c constraints.txt -e '.[interchange]'"
        ) from None
    return pgmpy


def to_pgmpy(network: Network, name: str = "") -> Any:
    """The network as a DiscreteBayesianNetwork with the same ids and states, checked by pgmpy as well.

    Its tables are ``(states, combinations of parents)``, the last parent fastest, and the states of every parent are
    named once more in the same order, since pgmpy takes them from each table anew.
    """
    pgmpy = load_pgmpy()
    model = pgmpy.models.DiscreteBayesianNetwork()
    model.add_nodes_from([node.id for node in network])
    model.add_edges_from([(parent, node.id) for node in network for parent in node.parents])
    for node in network:
        states = {each: list(network[each].states) for each in (node.id, *node.parents)}
        table = whole_rows(node.cpt.expand()).reshape(-1, len(node.states)).T
        sizes = list(node.cpt.parent_sizes)
        cpd = pgmpy.factors.discrete.TabularCPD
        model.add_cpds(cpd(node.id, len(node.states), table, list(node.parents), sizes, state_names=states))
    model.name = name
    model.check_model()
    return model


def whole_rows(table: Floats) -> Floats:
    """The table with rows that sum to 1 only within what a model file allows scaled to do so; others as they are."""
    sums = table.sum(axis=-1, keepdims=True)
    scaled: Floats = np.where(np.abs(sums - 1) > 1e-12, table / sums, table)
    return scaled
