"""What a model file must fulfil beyond its shape: names that exist, numbers that add up, rows that cover, no cycles."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import product
from math import prod
from typing import Any

from faultnet.model.graph import SET_WORKS, first_match
from faultnet.model.nodes import OK
from faultnet.model.work import SETUP_PARTS
from faultnet.network import parents_first
from faultnet.schema import shapes

Path = tuple[str | int, ...]
Finding = tuple[Path, str]

MOST_COMBINATIONS = 200_000
SUM_TOLERANCE = 1e-6


@dataclass
class Parts:
    """The parts of a file that have the right shape, and the ids of all, right or not."""

    head: dict[str, Any] = field(default_factory=dict)
    components: dict[str, shapes.ComponentShape] = field(default_factory=dict)
    groups: dict[str, shapes.GroupShape] = field(default_factory=dict)
    collateral: dict[int, shapes.CollateralShape] = field(default_factory=dict)
    conditions: dict[str, shapes.ConditionShape] = field(default_factory=dict)
    rails: dict[str, shapes.RailShape] = field(default_factory=dict)
    observations: dict[str, shapes.ObservationShape] = field(default_factory=dict)
    tests: dict[str, shapes.BenchTestShape] = field(default_factory=dict)
    repairs: dict[str, shapes.RepairShape] = field(default_factory=dict)
    setups: dict[int, shapes.SetupShape] = field(default_factory=dict)
    cautions: dict[str, str] = field(default_factory=dict)
    ids: dict[str, list[str]] = field(default_factory=dict)

    def states(self, node: str) -> tuple[str, ...] | None:
        """The states of a node that is written well enough to have some."""
        if node in self.components:
            return (OK, *self.components[node].modes)
        for group in (self.conditions, self.rails, self.observations):
            if node in group:
                return tuple(group[node].states)
        return None

    def named(self, *sections: str) -> list[str]:
        return [id_ for section in sections for id_ in self.ids.get(section, [])]


def find_problems(parts: Parts) -> list[Finding]:
    """Everything wrong with well-shaped parts, as path and message."""
    checks = (_names, _complaint, _shares, _groups, _collateral, _conditions, _rails, _observations, _work, _setups)
    return [finding for check in checks for finding in check(parts)]


def unknown(what: str, name: str, known: Iterable[str]) -> str:
    """ "unknown X name; nearest: ..." """
    nearest = get_close_matches(name, list(known), n=3, cutoff=0.5)
    return f"unknown {what} {name}" + (f"; did you mean {' or '.join(nearest)}?" if nearest else "")


def _names(parts: Parts) -> Iterator[Finding]:
    taken: dict[str, str] = {SET_WORKS: "reserved"}
    for section in ("components", "conditions", "rails", "observations", "repairs"):
        for id_ in parts.ids.get(section, []):
            if id_ in taken:
                yield (section, id_), f"the id {id_} is already used under {taken[id_]}"
            taken.setdefault(id_, section)
    for sections in (("observations", "conditions"), ("repairs",), ("components",)):
        typed: dict[str, str] = {id_: id_ for id_ in parts.named(*sections)}
        for section in sections:
            for id_, shape in getattr(parts, section).items():
                short = getattr(shape, "short", None)
                for name in [*([short] if short else []), *getattr(shape, "also", [])]:
                    if typed.setdefault(name, id_) != id_:
                        yield (section, id_, "also" if name != short else "short"), f"{name} already names {typed[name]}"
    for section in ("conditions", "rails", "observations"):
        for id_, shape in getattr(parts, section).items():
            yield from _repeated((section, id_, "states"), shape.states)
            for state in getattr(shape, "labels", {}):
                if state not in shape.states:
                    yield (section, id_, "labels", state), unknown("state", state, shape.states)
    for id_, component in parts.components.items():
        if OK in component.modes:
            yield ("components", id_, "modes", OK), "ok is every component's first state, not a failure mode"


def _repeated(path: Path, names: Sequence[str]) -> Iterator[Finding]:
    for name in dict.fromkeys(n for n in names if names.count(n) > 1):
        yield path, f"{name} stands here twice"


def _complaint(parts: Parts) -> Iterator[Finding]:
    complaint = parts.head.get("complaint")
    wanted: list[tuple[Path, Path, str, str]] = []
    if complaint is not None:
        wanted.append((("complaint", "observation"), ("complaint", "state"), complaint.observation, complaint.state))
    for observation, state in (parts.head.get("confirmed_by") or {}).items():
        wanted.append((("confirmed_by", observation), ("confirmed_by", observation), observation, state))
    for path, state_path, observation, state in wanted:
        if observation not in parts.named("observations"):
            yield path, unknown("observation", observation, parts.named("observations"))
        elif (states := parts.states(observation)) and state not in states:
            yield state_path, unknown(f"state of {observation}:", state, states)


def _shares(parts: Parts) -> Iterator[Finding]:
    if parts.components and len(parts.components) == len(parts.ids.get("components", [])):
        shares = [mode.share for c in parts.components.values() for mode in c.modes.values()]
        if abs(sum(shares) - 1) > SUM_TOLERANCE:
            yield ("components",), f"the shares of all failure modes add to {sum(shares):.6g}, not 1"
        if min(shares) <= 0:
            yield ("components",), "every failure mode needs a share above 0; leave out a mode that never happens"


def _groups(parts: Parts) -> Iterator[Finding]:
    for id_, group in parts.groups.items():
        for number, component in enumerate(group.of):
            if component not in parts.named("components"):
                yield ("groups", id_, "of", number), unknown("component", component, parts.named("components"))


def _mode_problem(parts: Parts, name: str) -> str | None:
    component, _, mode = name.partition(".")
    if component not in parts.named("components"):
        return unknown("component", component, parts.named("components"))
    shape = parts.components.get(component)
    if shape is not None and mode not in shape.modes:
        return unknown(f"failure mode of {component}:", mode, shape.modes)
    return None


def _collateral(parts: Parts) -> Iterator[Finding]:
    parents: dict[str, tuple[str, ...]] = {}
    for number, link in parts.collateral.items():
        for key, name in (("cause", link.cause), ("effect", link.effect)):
            if problem := _mode_problem(parts, name):
                yield ("collateral", number, key), problem
        cause, effect = link.cause.partition(".")[0], link.effect.partition(".")[0]
        parents[effect] = (*parents.get(effect, ()), cause)
    yield from _cycle(("collateral",), parents)


def _cycle(path: Path, parents: Mapping[str, tuple[str, ...]]) -> Iterator[Finding]:
    try:
        parents_first(dict(parents))
    except ValueError as error:
        yield path, str(error)


def _conditions(parts: Parts) -> Iterator[Finding]:
    for id_, condition in parts.conditions.items():
        path: Path = ("conditions", id_)
        if len(condition.shares) != len(condition.states):
            yield (*path, "shares"), f"{len(condition.shares)} shares for {len(condition.states)} states"
        elif abs(sum(condition.shares) - 1) > SUM_TOLERANCE:
            yield (*path, "shares"), f"the shares add to {sum(condition.shares):.6g}, not 1"
        for state, factors in condition.odds.items():
            if state not in condition.states:
                yield (*path, "odds", state), unknown("state", state, condition.states)
            for mode in factors:
                if problem := _mode_problem(parts, mode):
                    yield (*path, "odds", state, mode), problem


def _rails(parts: Parts) -> Iterator[Finding]:
    allowed = parts.named("components", "conditions", "rails")
    for id_, rail in parts.rails.items():
        path: Path = ("rails", id_)
        yield from _given(parts, path, rail.given, allowed)
        for number, clause in enumerate(rail.rule):
            if clause.is_ not in rail.states:
                yield (*path, "rule", number, "is"), unknown("state", clause.is_, rail.states)
        yield from _coverage(parts, path, "rule", rail.given, [clause.when for clause in rail.rule], "clause")
    rails = set(parts.rails)
    yield from _cycle(("rails",), {id_: tuple(g for g in r.given if g in rails) for id_, r in parts.rails.items()})


def _given(parts: Parts, path: Path, given: Sequence[str], allowed: Sequence[str]) -> Iterator[Finding]:
    yield from _repeated((*path, "given"), given)
    for number, node in enumerate(given):
        if node not in allowed:
            yield (*path, "given", number), unknown("component, condition or rail", node, allowed)


def _coverage(
    parts: Parts, path: Path, key: str, given: Sequence[str], whens: Sequence[shapes.When], word: str
) -> Iterator[Finding]:
    """Names in the whens that are unknown; combinations that no row covers; rows that are never used."""
    sound = True
    for number, when in enumerate(whens):
        for node, chosen in when.items():
            states = parts.states(node)
            if node not in given:
                sound = False
                yield (*path, key, number, "when", node), unknown("name (not under `given`):", node, given)
            elif states is not None:
                for state in chosen:
                    if state not in states:
                        sound = False
                        yield (*path, key, number, "when", node), unknown(f"state of {node}:", state, states)
    names = [parts.states(node) for node in given]
    if not sound or any(n is None for n in names) or len(set(given)) != len(given):
        return
    known = [n for n in names if n is not None]
    if prod(len(n) for n in known) > MOST_COMBINATIONS:
        yield (*path, "given"), f"more than {MOST_COMBINATIONS} combinations; put a rail in between"
        return
    match = first_match(given, known, [{node: tuple(c) for node, c in when.items()} for when in whens])
    for configuration in product(*map(range, match.shape)):
        if match[configuration] < 0:
            example = ", ".join(f"{node}: {n[i]}" for node, n, i in zip(given, known, configuration, strict=True))
            yield (*path, key), f"no {word} for {{{example}}}; end with a {word} without `when`, or add it"
            break
    used = set(match.reshape(-1).tolist())
    for number in range(len(whens)):
        if number not in used:
            yield (*path, key, number), f"this {word} is never used: those above it cover all it could"


def _observations(parts: Parts) -> Iterator[Finding]:
    allowed = parts.named("components", "conditions", "rails")
    for id_, seen in parts.observations.items():
        path: Path = ("observations", id_)
        yield from _given(parts, path, seen.given, allowed)
        for number, row in enumerate(seen.table):
            if len(row.p) != len(seen.states):
                yield (*path, "table", number, "p"), f"{len(row.p)} probabilities for {len(seen.states)} states"
            elif abs(sum(row.p) - 1) > SUM_TOLERANCE:
                yield (*path, "table", number, "p"), f"the probabilities add to {sum(row.p):.6g}, not 1"
        yield from _coverage(parts, path, "table", seen.given, [row.when for row in seen.table], "row")
        if seen.reading is not None:
            yield from _reading((*path, "reading"), seen.states, seen.reading, parts)


def _reading(path: Path, states: Sequence[str], reading: shapes.ReadingShape, parts: Parts) -> Iterator[Finding]:
    for number, node in enumerate(reading.given):
        if node not in parts.named("conditions"):
            yield (*path, "given", number), unknown("condition", node, parts.named("conditions"))
    for state in states:
        if state not in reading.levels:
            yield (*path, "levels"), f"no level for the state {state}"
    for section, levels_by_state in (("levels", reading.levels), ("settled", reading.settled)):
        for state, levels in levels_by_state.items():
            if state not in states:
                yield (*path, section, state), unknown("state", state, states)
            yield from _levels((*path, section, state), levels, reading.given, parts)


def _levels(
    path: Path, levels: Sequence[shapes.LevelShape], given: Sequence[str], parts: Parts
) -> Iterator[Finding]:
    for number, level in enumerate(levels):
        if abs(sum(piece.share for piece in level.mix) - 1) > SUM_TOLERANCE:
            yield (*path, number, "mix"), "the shares of the pieces must add to 1"
        for node, state in level.when.items():
            node_states = parts.states(node)
            if node not in given:
                yield (*path, number, "when", node), unknown("name (not under the reading's `given`):", node, given)
            elif node_states is not None and state not in node_states:
                yield (*path, number, "when", node), unknown(f"state of {node}:", state, node_states)
    names = [parts.states(node) or () for node in given]
    for combination in product(*names):
        standing = dict(zip(given, combination, strict=True))
        if not any(all(standing.get(n) == s for n, s in level.when.items()) for level in levels):
            yield path, f"no level for {standing}"
            return


def _work(parts: Parts) -> Iterator[Finding]:
    observations = parts.named("observations")
    revealed: dict[str, str] = {}
    for id_, test in parts.tests.items():
        reveals = test.reveals or [id_]
        for observation in reveals:
            if observation not in observations:
                key = "reveals" if test.reveals else None
                path: Path = ("tests", id_, key) if key else ("tests", id_)
                yield path, unknown("observation", observation, observations)
            elif revealed.setdefault(observation, id_) != id_:
                yield ("tests", id_), f"{observation} is already revealed by {revealed[observation]}"
        if len(reveals) == 1 and reveals[0] != id_ and reveals[0] in observations:
            yield ("tests", id_), f"a test that reveals one observation carries its id, {reveals[0]}"
    for section in ("tests", "repairs"):
        for id_, work in getattr(parts, section).items():
            yield from _step((section, id_), work, parts, observations)
    for id_, repair in parts.repairs.items():
        if repair.judged_by and repair.judged_by not in parts.named("groups"):
            yield ("repairs", id_, "judged_by"), unknown("group", repair.judged_by, parts.named("groups"))
        for number, component in enumerate(repair.fixes):
            if component not in parts.named("components"):
                yield ("repairs", id_, "fixes", number), unknown("component", component, parts.named("components"))


def _step(path: Path, work: Any, parts: Parts, observations: Sequence[str]) -> Iterator[Finding]:
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


def _setups(parts: Parts) -> Iterator[Finding]:
    needed = {f"{part}={state}" for part, states in SETUP_PARTS.items() for state in states}
    seen: set[str] = set()
    for number, setup in parts.setups.items():
        if setup.change not in needed:
            yield ("setups", number, "change"), unknown("change", setup.change, needed)
        elif setup.change in seen:
            yield ("setups", number, "change"), f"{setup.change} stands here twice"
        seen.add(setup.change)
        yield from _cautions(("setups", number), max(setup.hazard, setup.hazard_cover_off or 0), setup.cautions, parts)
    if len(parts.setups) == len(parts.ids.get("setups", [])):
        for change in sorted(needed - seen):
            yield ("setups",), f"no entry for {change}"
