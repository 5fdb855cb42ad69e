"""From what a file says to a network, or everything that is wrong with it: every table is checked number by number."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from itertools import product
from math import fsum, isfinite, prod

import numpy as np

from faultnet.cpt import Floats, Table
from faultnet.errors import Problem
from faultnet.interchange.written import Definition, Entry, Variable, Written, shown
from faultnet.network import Network, Node

ROUNDING = 1e-6
"""How far a row may sum from 1 because the other program rounded its numbers; it is then scaled, and that is told."""

EXACT = 1e-12
"""A row this close to 1 is left as it is."""

MOST_NUMBERS = 2**21
"""Numbers of one table."""

MOST_LISTED = 50
"""Problems after which no more are looked for: one lost brace makes hundreds."""


@dataclass(frozen=True)
class Scaled:
    """Rows that did not sum to 1 exactly: how many, of how many tables, by how much at most, the line of the first."""

    rows: int
    tables: int
    most: float
    line: int


@dataclass(frozen=True, eq=False)
class Verified:
    """A sound network under its own names, which may be any text. order: the nodes as in the file."""

    name: str
    network: Network
    order: tuple[str, ...]
    scaled: Scaled | None


def verify(written: Written) -> tuple[Verified | None, list[Problem]]:
    """The network, or None with everything that is wrong with it."""
    problems = list(_names(written))[:MOST_LISTED]
    if problems:
        return None, problems
    nodes: list[Node] = []
    off: list[tuple[str, float, int]] = []
    variables = {variable.name: variable for variable in written.variables}
    for definition in written.definitions:
        table, wrong, rows = _table(definition, variables, written.child_is_last)
        problems += wrong
        off += [(definition.child, *row) for row in rows]
        if not wrong:
            nodes.append(Node(definition.child, variables[definition.child].states, definition.parents, table))
    if problems:
        return None, problems[:MOST_LISTED]
    scaled = None
    if off:
        scaled = Scaled(len(off), len({child for child, *_ in off}), max(by for _, by, _ in off), off[0][2])
    return Verified(written.name, Network.of(nodes), tuple(variables), scaled), []


def _names(written: Written) -> Iterator[Problem]:
    """What is wrong before any number is looked at."""
    if not written.variables:
        yield Problem("", "the file has no variables; is it the right one, and whole?")
    variables: dict[str, Variable] = {}
    for variable in written.variables:
        if variable.name in variables:
            yield Problem("", _twice("variable", shown(variable.name), variables[variable.name].line), variable.line)
        variables.setdefault(variable.name, variable)
        yield from _repeated(f"variable {shown(variable.name)}: state", variable.states, variable.line)
        if not variable.states:
            yield Problem("", f"variable {shown(variable.name)} has no states", variable.line)
    defined: dict[str, Definition] = {}
    for definition in written.definitions:
        for name in (definition.child, *definition.parents):
            if name not in variables:
                yield Problem("", f"unknown variable {shown(name)}: it is declared nowhere", definition.line)
        if definition.child in defined:
            yield Problem(
                "", _twice("table of", shown(definition.child), defined[definition.child].line), definition.line
            )
        defined.setdefault(definition.child, definition)
        yield from _repeated(f"table of {shown(definition.child)}: parent", definition.parents, definition.line)
    for name, variable in variables.items():
        if name not in defined:
            message = f"variable {shown(name)} has no table; the end of the file may be lost"
            yield Problem("", message, variable.line)
    try:
        TopologicalSorter({name: definition.parents for name, definition in defined.items()}).prepare()
    except CycleError as error:
        cycle = " -> ".join(map(shown, error.args[1]))
        yield Problem("", f"a cycle, where there must be none: {cycle}", defined[error.args[1][0]].line)


def _twice(what: str, name: str, line: int) -> str:
    return f"{what} {name} stands here a second time; the first is on line {line}"


def _repeated(what: str, names: Sequence[str], line: int) -> Iterator[Problem]:
    for name in dict.fromkeys(n for n in names if names.count(n) > 1):
        yield Problem("", f"{what} {shown(name)} is named twice", line)


def _table(
    definition: Definition, variables: Mapping[str, Variable], child_is_last: bool
) -> tuple[Table, list[Problem], list[tuple[float, int]]]:
    """The full table of a definition, what is wrong with it, and which rows were scaled: by how much, on which line."""
    states = [variables[parent].states for parent in definition.parents]
    n_states, n_rows = len(variables[definition.child].states), prod(map(len, states))
    nothing = Table.full(np.ones(1))
    what = f"table of {shown(definition.child)}"
    if n_rows * n_states > MOST_NUMBERS:
        message = f"{what}: {n_rows} x {n_states} numbers; at most {MOST_NUMBERS} can be imported"
        return nothing, [Problem("", message, definition.line)], []
    if any(entry.at is None for entry in definition.entries):
        found, problems = _whole(definition, what, n_rows, n_states, child_is_last)
    else:
        found, problems = _by_row(definition, what, states, n_states)
    if problems:
        return nothing, problems, []
    rows = np.empty((n_rows, n_states))
    scaled: list[tuple[float, int]] = []
    for number, (row, line) in enumerate(found):
        problem, rows[number], by = _sound(row)
        if problem:
            problems.append(Problem("", f"{what}: {problem}", line))
        elif by > EXACT:
            scaled.append((by, line))
    if problems:
        return nothing, problems, []
    return Table.full(rows.reshape(*map(len, states), n_states)), [], scaled


def _sound(row: Sequence[float]) -> tuple[str, Floats, float]:
    """What is wrong with a row of probabilities, or the row scaled to sum to 1, and how far it was off."""
    array = np.array(row)
    for number in row:
        if not isfinite(number) or not 0 <= number <= 1 + ROUNDING:
            return f"{number:g} is no probability (0 to 1)", array, 0.0
    total = fsum(row)
    by = abs(total - 1)
    if by > ROUNDING * (1 + 1e-9):
        return f"a row sums to {total:.10g}, not 1: {', '.join(f'{n:g}' for n in row[:8])}", array, by
    return "", array if by <= EXACT else array / total, by


_Rows = list[tuple[Sequence[float], int]]


def _whole(
    definition: Definition, what: str, n_rows: int, n_states: int, child_is_last: bool
) -> tuple[_Rows, list[Problem]]:
    """The rows of a table given as one list of numbers."""
    if len(definition.entries) > 1 or definition.default is not None:
        return [], [Problem("", f"{what}: besides a whole `table` nothing else can stand", definition.line)]
    (entry,) = definition.entries
    if problem := _miscounted(what, entry, n_rows * n_states, f"{n_rows} x {n_states}"):
        return [], [problem]
    array = np.array(entry.numbers)
    rows = array.reshape(n_rows, n_states) if child_is_last else array.reshape(n_states, n_rows).T
    return [(row, entry.line) for row in rows.tolist()], []


def _by_row(
    definition: Definition, what: str, states: Sequence[tuple[str, ...]], n_states: int
) -> tuple[_Rows, list[Problem]]:
    """The rows of a table given one by one, in the order of the parents' states."""
    problems: list[Problem] = []
    given: dict[tuple[str, ...], Entry] = {}
    for entry in (*definition.entries, *([definition.default] if definition.default else [])):
        if problem := _miscounted(what, entry, n_states, f"1 x {n_states}"):
            problems.append(problem)
    for entry in definition.entries:
        at = entry.at or ()
        if len(at) != len(states):
            message = f"{what}: a row for {len(at)} parents, where there are {len(states)}"
            problems.append(Problem("", message, entry.line))
            continue
        for parent, state, known in zip(definition.parents, at, states, strict=True):
            if state not in known:
                problems.append(Problem("", f"{what}: {shown(parent)} has no state {shown(state)}", entry.line))
        if at in given:
            problems.append(Problem("", _twice(f"{what}: the row for", _told(at), given[at].line), entry.line))
        given.setdefault(at, entry)
    found: _Rows = []
    for at in product(*states):
        row = given.get(at, definition.default)
        if row is None:
            problems.append(Problem("", f"{what}: no row for {_told(at)}", definition.line))
            if len(problems) > MOST_LISTED:
                break
        else:
            found.append((row.numbers, row.line))
    return found, problems


def _miscounted(what: str, entry: Entry, wanted: int, words: str) -> Problem | None:
    if len(entry.numbers) == wanted:
        return None
    return Problem("", f"{what}: {len(entry.numbers)} numbers, where {words} are needed", entry.line)


def _told(at: Sequence[str]) -> str:
    return f"({', '.join(map(shown, at))})" if at else "a variable without parents"
