"""What labels say: which failure modes a component, `component.mode` or "nothing faulty" is about."""

from collections.abc import Iterable

from faultnet.case.entry import nearest
from faultnet.errors import TableProblem
from faultnet.model import Model, ModeId

NOTHING_FAULTY = ("nothing_faulty", "nothing faulty", "ok")
"""Labels of sets in which nothing was faulty."""

Names = dict[str, tuple[ModeId, ...]]


def names_of(model: Model, labels: Iterable[object]) -> Names:
    """The failure modes that each label is about, in their order.

    TableProblem: labels that the model does not know, or that are about the same.
    """
    names: Names = {}
    problems: list[str] = []
    taken: dict[ModeId | None, str] = {}
    for label in map(str, labels):
        modes = _modes(model, label)
        if modes is None:
            known = [*model.components, *map(str, model.modes), *NOTHING_FAULTY[:1]]
            problems.append(f"y: {label}: {model.id} has no such component or failure mode" + nearest(label, known))
            continue
        for mode in modes or (None,):
            if (other := taken.setdefault(mode, label)) != label:
                problems.append(f"y: {label} and {other} are both about {mode or 'sets with nothing faulty'}")
        names[label] = modes
    if problems:
        raise TableProblem(*dict.fromkeys(problems))
    return names


def _modes(model: Model, label: str) -> tuple[ModeId, ...] | None:
    """None of a label that says nothing, () of one that says that nothing is faulty."""
    if label in NOTHING_FAULTY:
        return ()
    return tuple(mode for mode in model.modes if label in (mode.component, str(mode))) or None
