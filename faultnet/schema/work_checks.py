"""What tests, repairs and set-ups must fulfil beyond their shape: names, cautions, an order that works."""

from collections.abc import Iterator, Sequence
from typing import Any

from faultnet.model.work import SETUP_PARTS
from faultnet.schema.basic import When
from faultnet.schema.parts import Finding, Parts, Path, repeated, unknown
from faultnet.schema.work_shapes import AlterationShape

MOST_LEAVING = 1 + 1e-9
"""What the chances of a state to be altered may add to."""


def check_work(parts: Parts) -> Iterator[Finding]:
    """What is wrong with tests and repairs: what they reveal or fix, need, come after and warn of."""
    observations = _observations(parts)
    revealed: dict[str, str] = {}
    for id_, test in parts.tests.items():
        reveals = test.reveals or [id_]
        yield from repeated(("tests", id_, "reveals"), reveals)
        for observation in reveals:
            if observation not in observations:
                key = "reveals" if test.reveals else None
                path: Path = ("tests", id_, key) if key else ("tests", id_)
                yield path, unknown("observation", observation, observations)
            elif revealed.setdefault(observation, id_) != id_:
                yield ("tests", id_), f"{observation} is already revealed by {revealed[observation]}"
        if len(reveals) == 1 and reveals[0] != id_ and reveals[0] in observations:
            yield ("tests", id_), f"a test that reveals one observation carries its id, {reveals[0]}"
        yield from _alterations(("tests", id_, "alters"), test.alters, parts)
    yield from _never_due(parts)
    for section in ("tests", "repairs"):
        for id_, work in getattr(parts, section).items():
            yield from _step((section, id_), work, parts, observations)
    for id_, repair in parts.repairs.items():
        if repair.judged_by and repair.judged_by not in parts.named("groups"):
            yield ("repairs", id_, "judged_by"), unknown("group", repair.judged_by, parts.named("groups"))
        yield from repeated(("repairs", id_, "fixes"), repair.fixes)
        yield from _proofs(("repairs", id_, "proved_by"), repair.proved_by, parts, observations)
        for number, component in enumerate(repair.fixes):
            if component not in parts.named("components"):
                yield ("repairs", id_, "fixes", number), unknown("component", component, parts.named("components"))


def _proofs(path: Path, proofs: Sequence[When], parts: Parts, observations: Sequence[str]) -> Iterator[Finding]:
    """What is wrong with what proves a repair: observations and states that are unknown, states that prove nothing."""
    for number, proof in enumerate(proofs):
        for observation, states in proof.items():
            here = (*path, number, observation)
            if observation not in observations:
                yield here, unknown("observation", observation, observations)
                continue
            known = parts.states(observation)
            if known is None:
                continue
            for state in states:
                if state not in known:
                    yield here, unknown(f"state of {observation}:", state, known)
            if set(known) <= set(states):
                yield here, f"every state of {observation} would prove it; leave out those that do not"


def _alterations(path: Path, alters: Sequence[AlterationShape], parts: Parts) -> Iterator[Finding]:
    """What is wrong with what a test alters: names, a state that it leaves as it is, chances above 1 together."""
    components = parts.of_kind("component") if parts.is_imported else parts.named("components")
    leaving: dict[tuple[str, str], float] = {}
    for number, made in enumerate(alters):
        here = (*path, number)
        if made.component not in components:
            yield (*here, "component"), unknown("component", made.component, components)
            continue
        states = parts.states(made.component)
        for key, state in (("mode", made.mode), ("to", made.to)):
            if states is not None and state not in states:
                yield (*here, key), unknown(f"state of {made.component}:", state, states)
        if made.mode == made.to:
            yield (*here, "to"), f"{made.mode} stays as it is; write what it becomes"
        mode = (made.component, made.mode)
        before, leaving[mode] = leaving.get(mode, 0.0), leaving.get(mode, 0.0) + made.chance
        if before <= MOST_LEAVING < leaving[mode]:
            yield (*here, "chance"), f"{made.component}.{made.mode} is altered with {leaving[mode]:g} in all, above 1"


def _observations(parts: Parts) -> list[str]:
    return parts.of_kind("observation") if parts.is_imported else parts.named("observations")


def _never_due(parts: Parts) -> Iterator[Finding]:
    """Tests that wait for each other: whatever is done first, what they come after is never all seen."""
    if len(parts.tests) < len(parts.ids.get("tests", [])):
        return
    reveals = {id_: set(test.reveals or [id_]) for id_, test in parts.tests.items()}
    seen = set(_observations(parts)) - set().union(*reveals.values())
    waiting = dict(parts.tests)
    while due := [id_ for id_, test in waiting.items() if all(not seen.isdisjoint(choice) for choice in test.after)]:
        for id_ in due:
            seen |= reveals[id_]
            del waiting[id_]
    for id_, test in waiting.items():
        known = all(set(choice) <= set(_observations(parts)) for choice in test.after)
        if known:
            yield ("tests", id_, "after"), f"can never be met: {' and '.join(waiting)} wait for each other"


def _step(path: Path, work: Any, parts: Parts, observations: Sequence[str]) -> Iterator[Finding]:
    if (work.needs or work.hazard) and parts.is_imported and not parts.ids.get("setups"):
        yield path, "a test with `needs` or a hazard goes with `setups`: what each change of set-up takes"
    for part, state in work.needs.items():
        if part not in SETUP_PARTS:
            yield (*path, "needs", part), unknown("part of the set-up", part, SETUP_PARTS)
        elif state not in SETUP_PARTS[part]:
            yield (*path, "needs", part), unknown(f"state of {part}:", state, SETUP_PARTS[part])
    for number, choice in enumerate(work.after):
        for observation in choice:
            if observation not in observations:
                yield (*path, "after", number), unknown("observation", observation, observations)
    yield from _cautions(path, work.hazard, work.cautions, parts)


def _cautions(path: Path, hazard: int, cautions: Sequence[str], parts: Parts) -> Iterator[Finding]:
    if hazard >= 1 and not cautions:
        yield path, f"hazard {hazard} needs at least one caution"
    for number, caution in enumerate(cautions):
        if caution not in parts.named("cautions"):
            yield (*path, "cautions", number), unknown("caution", caution, parts.named("cautions"))


def check_setups(parts: Parts) -> Iterator[Finding]:
    """What is wrong with the changes of set-up; every one that a bench can need has an entry."""
    needed = [f"{part}={state}" for part, states in SETUP_PARTS.items() for state in states]
    seen: set[str] = set()
    for number, setup in parts.setups.items():
        if setup.change not in needed:
            yield ("setups", number, "change"), unknown("change", setup.change, needed)
        elif setup.change in seen:
            yield ("setups", number, "change"), f"{setup.change} stands here twice"
        seen.add(setup.change)
        yield from _cautions(("setups", number), max(setup.hazard, setup.hazard_cover_off or 0), setup.cautions, parts)
    if len(parts.setups) == len(parts.ids.get("setups", [])):
        for change in sorted(set(needed) - seen):
            yield ("setups",), f"no entry for {change}"
