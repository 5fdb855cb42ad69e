"""What a model file must fulfil where it refuses sets or speaks of other models: names of its own that exist.

Whether the other models exist and know the names used of them is looked at by `faultnet model check`.
"""

from collections.abc import Iterator, Sequence

from faultnet.schema.parts import Finding, Parts, Path, repeated, unknown


def check_neighbours(parts: Parts) -> Iterator[Finding]:
    """What is wrong with refusals, with where to go on, and with the comparison to another model."""
    yield from _refusals(parts)
    yield from _onward(parts)
    yield from _comparison(parts)


def _refusals(parts: Parts) -> Iterator[Finding]:
    for id_, refusal in parts.refuse.items():
        yield from repeated(("refuse", id_, "fits"), refusal.fits)
        for state in refusal.refused:
            if state in refusal.fits:
                yield ("refuse", id_, "refused", state), f"{state} stands under `fits` as well"


def _onward(parts: Parts) -> Iterator[Finding]:
    onward = parts.head.get("continue_with")
    if onward is None:
        return
    path: Path = ("continue_with",)
    yield from _condition((*path, "condition"), onward.condition, parts)
    condition = parts.conditions.get(onward.condition)
    if condition is not None and not condition.asked:
        yield (*path, "condition"), f"{onward.condition} is not asked; say `asked: true` at the condition"
    for state, continuation in onward.states.items():
        yield from _state((*path, "states", state), onward.condition, state, parts)
        for name, reasons in continuation.unless.items():
            below: Path = (*path, "states", state, "unless", name)
            yield from _condition(below, name, parts)
            for refused in reasons:
                yield from _state((*below, refused), name, refused, parts)


def _condition(path: Path, name: str, parts: Parts) -> Iterator[Finding]:
    if name not in parts.named("conditions"):
        yield path, unknown("condition", name, parts.named("conditions"))


def _state(path: Path, node: str, state: str, parts: Parts) -> Iterator[Finding]:
    states: Sequence[str] | None = parts.states(node)
    if states is not None and state not in states:
        yield path, unknown(f"state of {node}:", state, states)


def _comparison(parts: Parts) -> Iterator[Finding]:
    comparison = parts.head.get("compare_with")
    if comparison is None:
        return
    for id_, translation in comparison.findings.items():
        path: Path = ("compare_with", "findings", id_)
        if id_ not in parts.named("observations"):
            yield path, unknown("observation", id_, parts.named("observations"))
        for state, theirs in translation.states.items():
            yield from _state((*path, "states", state), id_, state, parts)
            yield from repeated((*path, "states", state), theirs)
