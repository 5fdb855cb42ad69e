"""`faultnet model export` and `import`: networks to and from other programs."""

import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from math import prod
from pathlib import Path
from typing import Any

from faultnet.cli.terminal import bold, wrapped
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.interchange.export import format_of, save_network
from faultnet.interchange.kinds import Told
from faultnet.interchange.model_file import Imported, plain
from faultnet.interchange.receive import Wanted, receive, save_model
from faultnet.model.imported import KINDS

# -- export ----------------------------------------------------------------------------------------------------------


def export(name: str, file: Path, form: str) -> None:
    """Write a model's compiled network for other programs, and say so."""
    form = format_of(file, form)
    model = load_model(name)
    network = model.compiled.network
    save_network(network, model.id, file, form)
    numbers = sum(prod((*node.cpt.parent_sizes, node.cpt.n_states)) for node in network)
    print(f"{file}: {model.version} as {form}, {len(network.nodes)} nodes, {numbers:,} numbers; read back the same.")


# -- import ----------------------------------------------------------------------------------------------------------


def import_(
    file: Path,
    *,
    kinds: dict[str, Sequence[str]],
    healthy: Sequence[str],
    out: Path | None,
    name: str,
    replacing: bool,
    as_json: bool,
) -> None:
    """Make a network from elsewhere a model file, and say what was taken for what.

    Without a word about kinds the guess is used and told, after a question where there is a terminal to ask at. It is
    no error without one: nothing is lost by a wrong guess, since the kinds stand in the file that is written, which is
    meant to be edited, and a script gets the same answer every time.
    """
    told = Told({kind: parse_names(texts) for kind, texts in kinds.items()}, parse_healthy(healthy))
    can_ask = sys.stdin.isatty() and sys.stdout.isatty() and not as_json
    imported = receive(Wanted(file, told, name), (lambda draft: ask(draft, told)) if can_ask else None)
    out = out or Path(f"{imported.id}.yaml")
    save_model(imported, file, out, replacing=replacing)
    if as_json:
        print(json.dumps(import_json(imported, file, out, guessed=not told.says_kinds), indent=2))
    else:
        print("\n".join(import_text(imported, file, out)))


def parse_names(texts: Iterable[str]) -> list[str]:
    """The names in lists such as `A,B`."""
    return [name.strip() for text in texts for name in text.split(",") if name.strip()]


def parse_healthy(texts: Iterable[str]) -> dict[str, str]:
    """The healthy state of some nodes, from NODE=STATE each. UsageProblem: not written so."""
    healthy: dict[str, str] = {}
    for text in texts:
        node, equals, state = text.rpartition("=")
        if not (node and equals and state):
            raise UsageProblem(f"--ok {text}: write NODE=STATE, the state in which the part is healthy")
        healthy[node.strip()] = state.strip()
    return healthy


def ask(draft: Imported, told: Told) -> Told:
    """What somebody at the terminal says the nodes are; an empty line takes the rest as shown."""
    names = draft.names
    kinds = {names.nodes[name]: kind for name, kind in draft.kinds.items()}
    healthy = {**{names.nodes[n]: names.states[n][s] for n, s in draft.healthy.items()}, **told.healthy}
    while True:
        print("\n".join(_kinds_text(kinds, healthy)))
        print("Enter takes it so. To change it: component NAME,... or rail, observation; ok NAME=STATE")
        try:
            kind, _, rest = input("> ").strip().partition(" ")
        except EOFError:
            kind, rest = "", ""
        if not kind:
            named = {kind: [n for n, its in kinds.items() if its == kind] for kind in KINDS}
            return Told(named, {n: s for n, s in healthy.items() if kinds.get(n) == "component" or n in told.healthy})
        if kind == "ok":
            healthy.update(parse_healthy([rest]) if "=" in rest else {})
        elif kind in KINDS:
            known = [name for name in parse_names([rest]) if name in kinds]
            kinds.update(dict.fromkeys(known, kind))
        else:
            print(f"{plain(kind)}: say component, rail, observation or ok")


def _kinds_text(kinds: dict[str, str], healthy: dict[str, str]) -> Iterator[str]:
    for kind in KINDS:
        named = [n for n, its in kinds.items() if its == kind]
        shown = [f"{n} (healthy: {healthy[n]})" if kind == "component" and n in healthy else n for n in named]
        yield wrapped(f"{kind}s: {', '.join(shown) or 'none'}", 2, 4)


def import_text(imported: Imported, file: Path, out: Path) -> Iterator[str]:
    """What was read, what each node is taken for, which names were changed, and how to go on."""
    names = imported.names
    numbers = f"{len(names.nodes)} nodes, {imported.n_numbers:,} numbers, every table whole"
    yield wrapped(f"{plain(file.name)}: {numbers}; written as {out}", 0, 2)
    if (scaled := imported.verified.scaled) is not None:
        yield wrapped(
            f"scaled, since they did not sum to 1 exactly: {_counted(scaled.rows, 'row')} in "
            f"{_counted(scaled.tables, 'table')}, off by {scaled.most:.1g} at most, the first on line {scaled.line}",
            2,
        )
    yield ""
    yield bold("Taken for")
    kinds = {names.nodes[name]: kind for name, kind in imported.kinds.items()}
    yield from _kinds_text(kinds, {names.nodes[n]: names.states[n][s] for n, s in imported.healthy.items()})
    yield wrapped("Otherwise: --component A,B --rail C --observation D --ok NODE=STATE, or change the file.", 2, 4)
    if changed := list(_changed(imported)):
        yield ""
        yield bold("Names that were no ids here")
        yield from (wrapped(line, 2, 4) for line in changed)
        yield wrapped("Names that only lost their capitals are not listed. Own names stay as labels.", 2)
    yield ""
    seen = next((n for n, kind in imported.kinds.items() if kind == "observation"), None)
    event = f" {names.nodes[seen]}={names.states[seen][imported.states(seen)[0]]}" if seen is not None else ""
    yield f"Next: faultnet next {out}{event}"


def _counted(n: int, what: str) -> str:
    return f"{n} {what}{'s' * (n != 1)}"


def _changed(imported: Imported) -> Iterator[str]:
    names = imported.names
    for name, id_ in names.nodes.items():
        told = _renamed(name, id_)
        inside = ", ".join(filter(None, (_renamed(state, new) for state, new in names.states[name].items())))
        if told or inside:
            yield f"{told or id_}: {inside}" if inside else told


def _renamed(name: str, id_: str) -> str:
    return "" if name.lower() == id_ else f"{id_} is {plain(name)!r}"


def import_json(imported: Imported, file: Path, out: Path, *, guessed: bool) -> dict[str, Any]:
    """The same as JSON: every node with its own name, kind and states."""
    scaled, names = imported.verified.scaled, imported.names
    return {
        "file": str(file),
        "out": str(out),
        "id": imported.id,
        "guessed": guessed,
        "scaled": None if scaled is None else {"rows": scaled.rows, "tables": scaled.tables, "most": scaled.most},
        "nodes": {
            names.nodes[name]: {
                "name": name,
                "kind": imported.kinds[name],
                "states": {names.states[name][state]: state for state in imported.states(name)},
                "given": [names.nodes[parent] for parent in imported.verified.network[name].parents],
            }
            for name in imported.verified.order
        },
    }
