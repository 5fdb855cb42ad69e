"""What labels say: which failure modes a component, `component.mode` or "nothing faulty" is about."""

from collections.abc import Iterable, Sequence

from faultnet.case.entry import nearest
from faultnet.model import ModeId, Model

NOTHING_FAULTY = ("nothing_faulty", "nothing faulty", "ok")
"""Labels of sets in which nothing was faulty."""

Names = dict[str, tuple[ModeId, ...]]


def called(classes: Iterable[object], causes: Sequence[str] | None, problems: list[str]) -> list[str]:
    """What classes are called; of numbers, what they stand for. Numbers that stand for nothing are problems."""
    found = []
    for each in classes:
        if isinstance(each, str):
            found.append(each)
        elif causes is None:
            problems.append(f"y: {each}: a number; say with causes, as in causes=sorted(names), what it stands for")
        elif each in range(len(causes)):
            found.append(str(causes[int(each)]))  # type: ignore[call-overload]
        else:
            problems.append(f"y: {each}: there is no such number in causes, which names {len(causes)}")
    return found


def names_of(model: Model, labels: Iterable[str], problems: list[str]) -> Names:
    """The failure modes that each label is about, in their order.

    Labels that the model does not know, or that are about the same, are added to the problems.
    """
    names: Names = {}
    taken: dict[ModeId | None, str] = {}
    for label in labels:
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
