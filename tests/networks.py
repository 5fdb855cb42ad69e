"""Published networks in the files that come inside another package, read as files and never by its own loaders."""

import gzip
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from faultnet.cpt import Table
from faultnet.files import load_model
from faultnet.interchange.kinds import Told
from faultnet.interchange.model_file import Imported
from faultnet.interchange.receive import Wanted, receive, save_model
from faultnet.model import Model
from faultnet.network import Network, Node

COMPONENTS: Mapping[str, Sequence[str]] = {
    "asia": ("tub", "lung", "bronc"),
    "child": ("Disease", "BirthAsphyxia", "Sick"),
    "insurance": ("Age", "Mileage", "Accident", "Antilock"),
    "hailfinder": ("Scenario", "SubjVertMo", "CldShadeOth", "PlainsFcst"),
}
"""Nodes taken for components: roots, nodes in between and leaves."""


def packed(name: str) -> Path:
    """The file of a network, packed with gzip."""
    spec = find_spec("pgmpy")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    return Path(spec.submodule_search_locations[0]) / "utils" / "example_models" / f"{name}.bif.gz"


@cache
def text(name: str) -> str:
    """The text of a network."""
    return gzip.decompress(packed(name).read_bytes()).decode()


def import_file(file: Path, out: Path, told: Told | None = None) -> tuple[Imported, Model]:
    """What was made of a file, and the model that was written."""
    imported = receive(Wanted(file, told or Told({}, {})))
    save_model(imported, file, out)
    return imported, load_model(str(out), use_cache=False)


def import_published(name: str, folder: Path) -> tuple[Imported, Model]:
    """One of the published networks with the components above."""
    return import_file(packed(name), folder / f"{name}.yaml", Told({"component": COMPONENTS[name]}, {}))


def plain_network(*nodes: tuple[str, Sequence[str], Sequence[str], Sequence[object]]) -> Network:
    """A network of (name, states, parents, table) each."""
    return Network.of(Node(n, tuple(s), tuple(p), Table.full(t)) for n, s, p, t in nodes)
