"""What the noisy forms of a model file must fulfil: causes and states that exist, each once, effects above the leak."""

from collections.abc import Iterator, Sequence

import numpy as np

from faultnet.noisy import without_leak
from faultnet.schema.parts import Finding, Parts, Path, probabilities, unknown
from faultnet.schema.shapes import EffectShape, LinkShape, NoisyMaxShape, NoisyOrShape, ObservationShape


def check_noisy(parts: Parts, path: Path, seen: ObservationShape, allowed: Sequence[str]) -> Iterator[Finding]:
    """Everything wrong with the noisy form of an observation, if it has one."""
    if seen.noisy_or is not None:
        yield from _noisy_or(parts, (*path, "noisy_or"), seen.noisy_or, seen.states, allowed)
    if seen.noisy_max is not None:
        yield from _noisy_max(parts, (*path, "noisy_max"), seen.noisy_max, seen.states, allowed)


def _noisy_or(
    parts: Parts, path: Path, form: NoisyOrShape, states: Sequence[str], allowed: Sequence[str]
) -> Iterator[Finding]:
    if len(states) != 2:
        yield path, f"a noisy_or has two states, not {len(states)}; use noisy_max"
    if form.present not in states:
        yield (*path, "present"), unknown("state", form.present, states)
    for number, link in enumerate(form.links):
        if form.asked_with_leak and link.chance < form.leak:
            yield (*path, "links", number, "chance"), _below_leak()
    yield from _causes(parts, (*path, "links"), form.links, allowed)


def _noisy_max(
    parts: Parts, path: Path, form: NoisyMaxShape, states: Sequence[str], allowed: Sequence[str]
) -> Iterator[Finding]:
    in_order = sorted(form.order) == sorted(states)
    if not in_order:
        yield (*path, "order"), f"must name each state once, from the weakest to the strongest: {', '.join(states)}"
    wrong_leak = list(probabilities((*path, "leak"), form.leak, states))
    yield from wrong_leak
    if not wrong_leak and in_order and not form.leak[states.index(form.order[0])] > 0:
        yield (*path, "leak"), f"{form.order[0]} is what is seen without any cause; its chance must be above 0"
        return
    for number, effect in enumerate(form.effects):
        wrong = list(probabilities((*path, "effects", number, "p"), effect.p, states))
        yield from wrong
        if form.asked_with_leak and not wrong and not wrong_leak and in_order:
            try:
                order = [states.index(state) for state in form.order]
                without_leak(np.array([effect.p]), np.array(form.leak), order)
            except ValueError:
                yield (*path, "effects", number, "p"), _below_leak()
    yield from _causes(parts, (*path, "effects"), form.effects, allowed)


def _below_leak() -> str:
    return "lies below the leak, though asked_with_leak says that it contains it"


def _causes(
    parts: Parts, path: Path, listed: Sequence[LinkShape | EffectShape], allowed: Sequence[str]
) -> Iterator[Finding]:
    taken: set[tuple[str, str]] = set()
    for number, link in enumerate(listed):
        states = parts.states(link.cause)
        if link.cause not in allowed:
            yield (*path, number, "cause"), unknown("component, condition or rail", link.cause, allowed)
        for state in link.when:
            if states is not None and state not in states:
                yield (*path, number, "when"), unknown(f"state of {link.cause}:", state, states)
            if (link.cause, state) in taken:
                yield (*path, number, "when"), f"{link.cause}={state} stands here twice"
            taken.add((link.cause, state))
