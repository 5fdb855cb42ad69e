"""A network from elsewhere, made a model file of ours."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from faultnet.cpt import Table
from faultnet.errors import FaultnetError, FileProblem, ModelProblem, UsageProblem
from faultnet.files import load_model
from faultnet.files.write import write_whole
from faultnet.interchange.export import first_difference
from faultnet.interchange.kinds import Told, decide_healthy, decide_kinds, guess_healthy, guess_kinds
from faultnet.interchange.model_file import Imported, plain, write_model
from faultnet.interchange.names import give_ids, nearest_id
from faultnet.interchange.read import read_network
from faultnet.network import Network, Node

MOST_NUMBERS = 45_000
"""Numbers in a model file: with their places, as many as reading it back holds in bounds."""

_NAMELESS = ("", "unknown", "untitled", "network", "internal_network")

Ask = Callable[[Imported], Told]
"""Asks somebody about a network that was guessed at, and gives back what they said."""


@dataclass(frozen=True)
class Wanted:
    """What was asked for: where the network is, what was told of it, and an id other than the file's name."""

    file: Path
    told: Told
    id: str = ""


def receive(wanted: Wanted, ask: Ask | None = None) -> Imported:
    """The network of a file with the kind of every node and the healthy state of every component.

    Kinds that nobody told are guessed; with `ask`, somebody is asked about the guess first. ModelProblem, FileProblem:
    the file. UsageProblem: what was told does not fit it.
    """
    verified = read_network(wanted.file)
    names = give_ids(verified)
    id_ = nearest_id(wanted.id or _name(wanted.file, verified.name), "network")
    draft = Imported(
        id=id_,
        title=f"Imported network {plain(verified.name) if _is_name(verified.name) else id_}",
        about=f"Imported from {plain(wanted.file.name)}; nobody here has checked its numbers.",
        verified=verified,
        names=names,
        kinds={},
        healthy={},
    )
    if draft.n_numbers > MOST_NUMBERS:
        most = f"{draft.n_numbers:,} numbers in its tables; a model file holds at most {MOST_NUMBERS:,}"
        raise FileProblem(f"{wanted.file}: {most}. Export a smaller network from the program it comes from.")
    told = wanted.told
    if ask is not None and not told.says_kinds:
        told = ask(_guessed(draft))
    kinds = decide_kinds(verified, names, told)
    return replace(draft, kinds=kinds, healthy=decide_healthy(verified, names, kinds, told))


def save_model(imported: Imported, source: Path, file: Path, *, replacing: bool = False) -> None:
    """Write the model file, after loading it to see that it holds the same network, bit by bit.

    UsageProblem: the file is there already, or is no model file by its name. FileProblem: it cannot be written, or no
    engine can hold it.
    """
    if file.suffix.lower() not in (".yaml", ".yml"):
        raise UsageProblem(f"--out {file}: a model file ends in .yaml")
    if file.exists() and not replacing:
        raise UsageProblem(f"{file} is there already and may have been edited; take another --out, or say --force")

    def approve(written: Path) -> None:
        try:
            model = load_model(str(written), use_cache=False)
        except ModelProblem as error:
            told = "; ".join(problem.message for problem in error.problems)
            raise FileProblem(f"{source}: cannot be made a model: {told}") from None
        if problem := first_difference(as_ours(imported), model.compiled.network):
            raise FaultnetError(f"{source}: would not read back the same: {problem}")

    write_whole(file, write_model(imported), approve)


def as_ours(imported: Imported) -> Network:
    """The network with our ids, and with our order of states."""
    names, nodes = imported.names, []
    for name in imported.verified.order:
        parents = imported.verified.network[name].parents
        sizes = [len(imported.states(parent)) for parent in parents]
        states = tuple(names.states[name][state] for state in imported.states(name))
        table = Table.full(imported.table(name).reshape(*sizes, len(states)))
        nodes.append(Node(names.nodes[name], states, tuple(names.nodes[parent] for parent in parents), table))
    return Network.of(nodes)


def _guessed(draft: Imported) -> Imported:
    """The draft with what would be taken for granted; too many components are shown as well, so that some can go."""
    kinds = guess_kinds(draft.verified)
    healthy = {n: guess_healthy(draft.verified.network[n].states) for n, kind in kinds.items() if kind == "component"}
    return replace(draft, kinds=kinds, healthy=healthy)


def _name(file: Path, own: str) -> str:
    """What to call it: the name in the file, unless that says nothing; else the file's own."""
    return own if _is_name(own) else file.name.partition(".")[0]


def _is_name(name: str) -> bool:
    return name.strip().lower() not in _NAMELESS
