"""Names of another program as ids of ours: small letters, digits and _, starting with a letter, no two alike."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from faultnet.interchange.verify import Verified

MOST_CHARACTERS = 60
_ID = re.compile(r"[a-z][a-z0-9_]*")
_OTHERS = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True)
class Names:
    """The id of every node, and of every state of each node, by its own name. A name that is an id stays as it is."""

    nodes: Mapping[str, str]
    states: Mapping[str, Mapping[str, str]]

    def find(self, name: str) -> str | None:
        """The own name of the node with this name or id."""
        if name in self.nodes:
            return name
        return next((own for own, id_ in self.nodes.items() if id_ == name), None)


def give_ids(verified: Verified) -> Names:
    """Ids for every node and state of a network."""
    states = {node: ids_for(verified.network[node].states, "state") for node in verified.order}
    return Names(ids_for(verified.order, "node"), states)


def ids_for(names: Iterable[str], what: str) -> dict[str, str]:
    """An id for each of these different names: itself where it is one, else the nearest that is not taken.

    >>> ids_for(["tub", "Lung cancer?", "lung-cancer", "2nd", "\u00e9tat", "+"], "node")["lung-cancer"]
    'lung_cancer_2'
    """
    listed = list(names)
    taken = {name for name in listed if is_id(name)}
    ids: dict[str, str] = {}
    for name in listed:
        ids[name] = name if is_id(name) else _free(nearest_id(name, what), taken)
        taken.add(ids[name])
    return ids


def is_id(name: str) -> bool:
    """Whether a name can stay as it is."""
    return len(name) <= MOST_CHARACTERS and _ID.fullmatch(name) is not None


def nearest_id(name: str, what: str) -> str:
    """The id that is most like a name: without accents and capitals, _ for all else; `what` where nothing is left."""
    plain = unicodedata.normalize("NFKD", name.replace("<", " under ").replace(">", " over ")).casefold()
    words = _OTHERS.sub("_", "".join(c for c in plain if not unicodedata.combining(c))).strip("_")
    id_ = words if words[:1].isalpha() else f"{what}_{words}".strip("_")
    return id_[: MOST_CHARACTERS - 10].strip("_")


def _free(wanted: str, taken: set[str]) -> str:
    number, id_ = 1, wanted
    while id_ in taken:
        number += 1
        id_ = f"{wanted}_{number}"
    return id_
