"""What a model file must fulfil beyond its shape: names that exist, numbers that add up, rows that cover, no cycles."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from itertools import chain, islice
from math import prod

import numpy as np

from faultnet.cpt import ROW_SUM_TOLERANCE
from faultnet.engine.joint import MOST_ENTRIES
from faultnet.model.graph import first_match
from faultnet.model.nodes import OK, SET_WORKS
from faultnet.schema import shapes
from faultnet.schema.basic import When
from faultnet.schema.neighbour_checks import check_neighbours
from faultnet.schema.network_checks import check_network
from faultnet.schema.noisy_checks import check_noisy
from faultnet.schema.parts import Finding, Parts, Path, probabilities, repeated, unknown
from faultnet.schema.work_checks import check_setups, check_work

MOST_PROBLEMS = 1_000
"""Problems of names and sums that are looked for: each takes its time, and nobody reads more."""

MOST_COMBINATIONS = 200_000
MOST_COMBINATIONS_TOGETHER = 2_000_000
"""Combinations of parents that one table may cover, and all tables of rails or of observations together."""

MOST_COUPLED_ENTRIES = 2**22
MOST_COUPLED_ROWS = 4_000
"""What conditions with odds factors and collateral links may multiply to, so that priors are solved within seconds."""


Check = Callable[[Parts], Iterator[Finding]]


def find_problems(parts: Parts) -> list[Finding]:
    """Everything wrong with well-shaped parts, as path and message (of a great many, the first)."""
    checks: tuple[Check, ...] = (
        _names,
        _complaint,
        _shares,
        _size,
        _groups,
        _collateral,
        _conditions,
        _rails,
        _observations,
        check_work,
        check_setups,
        check_neighbours,
    )
    if parts.is_imported:
        checks = (check_network, check_work, *((check_setups,) if parts.ids.get("setups") else ()))
    found = list(islice(chain.from_iterable(check(parts) for check in checks), MOST_PROBLEMS))
    return (
        found
        if len(found) < MOST_PROBLEMS
        else [*found, ((), f"more than {MOST_PROBLEMS} problems; some are not listed")]
    )


def _names(parts: Parts) -> Iterator[Finding]:
    taken: dict[str, str] = {SET_WORKS: "reserved"}
    for section in ("components", "conditions", "rails", "observations", "repairs", "refuse"):
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
                        key = "also" if name != short else "short"
                        yield (section, id_, key), f"{name} already names {typed[name]}"
    for section in ("conditions", "rails", "observations"):
        for id_, shape in getattr(parts, section).items():
            yield from repeated((section, id_, "states"), shape.states)
            for state in getattr(shape, "labels", {}):
                if state not in shape.states:
                    yield (section, id_, "labels", state), unknown("state", state, shape.states)
    for id_, component in parts.components.items():
        if OK in component.modes:
            yield ("components", id_, "modes", OK), "ok is every component's first state, not a failure mode"


def _complaint(parts: Parts) -> Iterator[Finding]:
    complaint = parts.head.get("complaint")
    wanted: list[tuple[Path, Path, str, str]] = []
    if complaint is not None:
        wanted.append((("complaint", "observation"), ("complaint", "state"), complaint.observation, complaint.state))
    for observation, state in (parts.head.get("confirmed_by") or {}).items():
        if complaint is not None and observation == complaint.observation:
            yield ("confirmed_by", observation), "this is the complaint itself; its state stands under `complaint`"
        wanted.append((("confirmed_by", observation), ("confirmed_by", observation), observation, state))
    for path, state_path, observation, state in wanted:
        if observation not in parts.named("observations"):
            yield path, unknown("observation", observation, parts.named("observations"))
        elif (states := parts.states(observation)) and state not in states:
            yield state_path, unknown(f"state of {observation}:", state, states)


def _shares(parts: Parts) -> Iterator[Finding]:
    if parts.components and len(parts.components) == len(parts.ids.get("components", [])):
        shares = [mode.share for c in parts.components.values() for mode in c.modes.values()]
        if abs(sum(shares) - 1) > ROW_SUM_TOLERANCE:
            yield ("components",), f"the shares of all failure modes add to {sum(shares):.10g}, not 1"
    for id_, component in parts.components.items():
        for name, mode in component.modes.items():
            if mode.share == 0:
                yield (
                    ("components", id_, "modes", name, "share"),
                    "must be above 0; leave out a mode that never happens",
                )


def _size(parts: Parts) -> Iterator[Finding]:
    """A model whose table of joint states would take too much memory, or too long to solve the priors of."""
    joint = prod(len(c.modes) + 1 for c in parts.components.values())
    sides = prod(len(c.states) for c in parts.conditions.values())
    if joint * sides > MOST_ENTRIES:
        yield ("components",), f"more than {MOST_ENTRIES} combinations of all failure modes and conditions; have fewer"
        return
    with_odds = prod(len(c.states) for c in parts.conditions.values() if c.odds)
    rows = sum(_rows_of_component(parts, id_) for id_ in parts.components)
    if joint * with_odds > MOST_COUPLED_ENTRIES or rows > MOST_COUPLED_ROWS:
        message = (
            "their odds factors multiply to too many combinations; give `odds` to fewer of them, or to fewer modes"
        )
        yield ("conditions",), message
    for section in ("rails", "observations"):
        shapes_with_tables = (s for s in getattr(parts, section).values() if getattr(s, "table", ()) is not None)
        tables = (shape.given for shape in shapes_with_tables)
        covered = (prod(len(parts.states(node) or ()) or 1 for node in given) for given in tables)
        if sum(n for n in covered if n <= MOST_COMBINATIONS) > MOST_COMBINATIONS_TOGETHER:
            yield (section,), f"more than {MOST_COMBINATIONS_TOGETHER} combinations in all; put rails in between"


def _rows_of_component(parts: Parts, id_: str) -> int:
    """Combinations of the conditions with odds on a component and of the components that can take it along."""
    conditions = [
        c for c in parts.conditions.values() if any(m.startswith(f"{id_}.") for f in c.odds.values() for m in f)
    ]
    causes = {link.cause.partition(".")[0] for link in parts.collateral.values() if link.effect.startswith(f"{id_}.")}
    return prod(len(c.states) for c in conditions) * prod(len(parts.states(cause) or ()) or 1 for cause in causes)


def _groups(parts: Parts) -> Iterator[Finding]:
    for id_, group in parts.groups.items():
        yield from repeated(("groups", id_, "of"), group.of)
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
    for cycle in _cycles(parents):
        number = next(n for n, link in parts.collateral.items() if link.effect.startswith(f"{cycle[-1]}."))
        yield ("collateral", number), f"a cycle of components: {' -> '.join(cycle)}"


def _cycles(parents: Mapping[str, tuple[str, ...]]) -> Iterator[list[str]]:
    """The nodes of every cycle, each the parent of the next and the first once more at the end."""
    left = {node: list(its_parents) for node, its_parents in parents.items()}
    while True:
        try:
            TopologicalSorter(left).prepare()
        except CycleError as error:
            cycle: list[str] = error.args[1]
            yield cycle
            left[cycle[1]] = [parent for parent in left[cycle[1]] if parent != cycle[0]]
        else:
            return


def _conditions(parts: Parts) -> Iterator[Finding]:
    for id_, condition in parts.conditions.items():
        path: Path = ("conditions", id_)
        if len(condition.shares) != len(condition.states):
            yield (*path, "shares"), f"{len(condition.shares)} shares for {len(condition.states)} states"
        elif abs(sum(condition.shares) - 1) > ROW_SUM_TOLERANCE:
            yield (*path, "shares"), f"the shares add to {sum(condition.shares):.10g}, not 1"
        for state, factors in condition.odds.items():
            if state not in condition.states:
                yield (*path, "odds", state), unknown("state", state, condition.states)
            for mode in factors:
                if problem := _mode_problem(parts, mode):
                    yield (*path, "odds", state, mode), problem
        if ages := condition.age_from_years:
            if len(ages) != len(condition.states) - 1:
                yield (*path, "age_from_years"), f"write {len(condition.states) - 1} ages, one for each later state"
            if sorted(set(ages)) != ages:
                yield (*path, "age_from_years"), "the ages must rise"
        if condition.after_repair not in (None, *condition.states):
            yield (*path, "after_repair"), unknown("state", str(condition.after_repair), condition.states)


def _rails(parts: Parts) -> Iterator[Finding]:
    allowed = parts.named("components", "conditions", "rails")
    for id_, rail in parts.rails.items():
        path: Path = ("rails", id_)
        yield from _given(path, rail.given, allowed)
        for number, clause in enumerate(rail.rule):
            if clause.is_ not in rail.states:
                yield (*path, "rule", number, "is"), unknown("state", clause.is_, rail.states)
        yield from _coverage(parts, path, "rule", rail.given, [clause.when for clause in rail.rule], "clause")
    rails = set(parts.rails)
    for cycle in _cycles({id_: tuple(g for g in rail.given if g in rails) for id_, rail in parts.rails.items()}):
        yield ("rails", cycle[-1], "given"), f"a cycle of rails: {' -> '.join(cycle)}"


def _given(path: Path, given: Sequence[str], allowed: Sequence[str]) -> Iterator[Finding]:
    yield from repeated((*path, "given"), given)
    for number, node in enumerate(given):
        if node not in allowed:
            yield (*path, "given", number), unknown("component, condition or rail", node, allowed)


def _coverage(
    parts: Parts, path: Path, key: str, given: Sequence[str], whens: Sequence[When], word: str
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
    if len(missing := np.argwhere(match < 0)):
        example = ", ".join(f"{node}: {n[i]}" for node, n, i in zip(given, known, missing[0], strict=True))
        yield (*path, key), f"no {word} for {{{example}}}; end with a {word} without `when`, or add it"
    used = set(np.flatnonzero(np.bincount(match.reshape(-1) + 1)).tolist())
    for number in range(len(whens)):
        if number + 1 not in used:
            yield (*path, key, number), f"this {word} is never used: those above it cover all it could"


def _observations(parts: Parts) -> Iterator[Finding]:
    allowed = parts.named("components", "conditions", "rails")
    for id_, seen in parts.observations.items():
        path: Path = ("observations", id_)
        if seen.table is not None:
            yield from _given(path, seen.causes, allowed)
            for number, row in enumerate(seen.table):
                yield from probabilities((*path, "table", number, "p"), row.p, seen.states)
            yield from _coverage(parts, path, "table", seen.causes, [row.when for row in seen.table], "row")
        yield from check_noisy(parts, path, seen, allowed)
        if seen.reading is not None:
            yield from _reading((*path, "reading"), seen.states, seen.reading, parts)


def _reading(path: Path, states: Sequence[str], reading: shapes.ReadingShape, parts: Parts) -> Iterator[Finding]:
    yield from repeated((*path, "given"), reading.given)
    for number, node in enumerate(reading.given):
        if node not in parts.named("conditions"):
            yield (*path, "given", number), unknown("condition", node, parts.named("conditions"))
    names = states
    if reading.patterns:
        names = list(reading.levels)
        yield from _patterns(path, states, reading)
    for state in names:
        if state not in reading.levels:
            yield (*path, "levels"), f"no level for the state {state}"
    for state in reading.start_pulse:
        if state not in reading.settled:
            yield (*path, "start_pulse", state), "a start pulse needs a level under `settled`: what it shows afterwards"
    for section, levels_by_state in (("levels", reading.levels), ("settled", reading.settled)):
        for state, levels in levels_by_state.items():
            if state not in names:
                yield (*path, section, state), unknown("state", state, names)
            for number, level in enumerate(levels):
                if abs(sum(piece.share for piece in level.mix) - 1) > ROW_SUM_TOLERANCE:
                    yield (*path, section, state, number, "mix"), "the shares of the pieces must add to 1"
            whens = [{node: [wanted] for node, wanted in level.when.items()} for level in levels]
            yield from _coverage(parts, (*path, section), state, reading.given, whens, "level")


def _patterns(path: Path, states: Sequence[str], reading: shapes.ReadingShape) -> Iterator[Finding]:
    """What is wrong with what separate channels do in each state."""
    for state in states:
        if state not in reading.patterns:
            yield (*path, "patterns"), f"no pattern for the state {state}"
    for state, pattern in reading.patterns.items():
        if state not in states:
            yield (*path, "patterns", state), unknown("state", state, states)
        for key, level in (("rest", pattern.rest), *(("odd", odd) for odd in pattern.odd or ())):
            if level not in reading.levels:
                yield (*path, "patterns", state, key), unknown("level", level, list(reading.levels))
