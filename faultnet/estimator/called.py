"""What labels say: which failure modes a component, `component.mode` or "nothing faulty" is about."""

from collections.abc import Iterable

from faultnet.case.entry import nearest
from faultnet.model import ModeId, Model

NOTHING_FAULTY = ("nothing_faulty", "nothing faulty", "ok")
"""Labels of sets in which nothing was faulty."""

Names = dict[str, tuple[ModeId, ...]]


def names_of(model: Model, labels: Iterable[object], problems: list[str]) -> Names:
    """The failure modes that each label is about, in their order.

    Labels that the model does not know, or that are about the same, are added to the problems.
    """
    names: Names = {}
    taken: dict[ModeId | None, str] = {}
    for label in map(str, labels):
        modes = _modes(model, label)
        if modes is None:
            known = [*model.components, *map(str, model.modes), *NOTHING_FAULTY[:1]]
            problems.append(f"y: {label}: {model.id} has no such component or failure mode" + nearest(label, known))
            continue
        others = dict.fromkeys(taken.setdefault(mode, label) for mode in modes or (None,))
        problems += [f"y: {label} and {other} are about the same sets" for other in others if other != label]
        names[label] = modes
    return names


def _modes(model: Model, label: str) -> tuple[ModeId, ...] | None:
    """None of a label that says nothing, () of one that says that nothing is faulty."""
    if label in NOTHING_FAULTY:
        return ()
    return tuple(mode for mode in model.modes if label in (mode.component, str(mode))) or None
