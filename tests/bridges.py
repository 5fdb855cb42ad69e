"""A faultnet network in the types of two other libraries, for second opinions and comparisons of speed.

Imported late: one of them takes seconds to import, and neither is needed to run faultnet.
"""

import warnings
from typing import Any

import numpy as np

from faultnet.network import Network


def import_pgmpy() -> tuple[Any, Any, Any]:
    """DiscreteBayesianNetwork, TabularCPD, VariableElimination."""
    with warnings.catch_warnings():
        # Importing its inference warns about a module of its own that it will drop; nothing of ours uses that.
        warnings.filterwarnings("ignore", category=FutureWarning, message=r"`pgmpy\.estimators")
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.inference import VariableElimination
        from pgmpy.models import DiscreteBayesianNetwork
    return DiscreteBayesianNetwork, TabularCPD, VariableElimination


def import_pyagrum() -> Any:
    """The pyagrum module."""
    with warnings.catch_warnings():
        # Its compiled types lack __module__; where that warning is an error the import crashes the interpreter.
        warnings.filterwarnings("ignore", category=DeprecationWarning, message="builtin type")
        import pyagrum
    return pyagrum


def to_pgmpy(network: Network) -> Any:
    """The network as a DiscreteBayesianNetwork with the same node ids and state names.

    Its tables are ``(states, combinations of parents)``, the last parent fastest: ours, flattened and turned.
    """
    model_type, cpd_type, _ = import_pgmpy()
    model = model_type()
    model.add_nodes_from([node.id for node in network])
    model.add_edges_from([(parent, node.id) for node in network for parent in node.parents])
    for node in network:
        states = {each: list(network[each].states) for each in (node.id, *node.parents)}
        table = node.cpt.expand().reshape(-1, len(node.states)).T
        sizes = list(node.cpt.parent_sizes)
        model.add_cpds(cpd_type(node.id, len(node.states), table, list(node.parents), sizes, state_names=states))
    return model


def to_pyagrum(network: Network) -> Any:
    """The network as a BayesNet with the same node ids and state labels.

    An array assigned to one of its tables has the axes of ``names`` in reverse, the node's own states last.
    """
    pyagrum = import_pyagrum()
    net = pyagrum.BayesNet()
    for node in network:
        net.add(pyagrum.LabelizedVariable(node.id, node.id, list(node.states)))
    for node in network:
        for parent in node.parents:
            net.addArc(parent, node.id)
        ours = (*node.parents, node.id)
        theirs = tuple(reversed(net.cpt(node.id).names))
        array = node.cpt.expand().transpose([ours.index(each) for each in theirs])
        net.cpt(node.id)[:] = np.ascontiguousarray(array)
    return net
