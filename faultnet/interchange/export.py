"""A network as BIF or XMLBIF for other programs, written by pgmpy and read back before it counts as written."""

from collections.abc import Iterable
from math import prod
from pathlib import Path

import numpy as np

from faultnet.errors import FileProblem, UsageProblem
from faultnet.files.write import write_whole
from faultnet.interchange.pgmpy_network import load_pgmpy, to_pgmpy, whole_rows
from faultnet.interchange.read import read_network
from faultnet.network import Network

FORMATS = ("bif", "xmlbif")
_SUFFIXES = {".bif": "bif", ".xmlbif": "xmlbif", ".xml": "xmlbif"}

MOST_NUMBERS = 2**17
"""Of all tables together; neither format has a shorter form for a rule or a noisy table than to write it out."""


def format_of(file: Path, told: str = "") -> str:
    """The format told, else that of the file's suffix. UsageProblem: neither says, or no such format."""
    if told:
        if told not in FORMATS:
            raise UsageProblem(f"--format {told}: a format is one of {', '.join(FORMATS)}")
        return told
    if file.suffix.lower() not in _SUFFIXES:
        raise UsageProblem(f"{file}: say --format bif or --format xmlbif, or end the name in .bif, .xmlbif or .xml")
    return _SUFFIXES[file.suffix.lower()]


def save_network(network: Network, name: str, file: Path, form: str) -> None:
    """Write the network in this format; what reads back is the same network, to the last bit of every number.

    FileProblem: tables too large to write out, or a file that cannot be written. What was there before then stays.
    """
    refuse_too_large(network)

    def approve(written: Path) -> None:
        if problem := first_difference(network, read_network(written).network):
            raise FileProblem(f"{file}: not written, since it would not read back the same: {problem}")

    write_whole(file, network_text(network, name, form), approve)


def refuse_too_large(network: Network) -> None:
    """FileProblem for tables that are too large to write out, naming the largest."""
    numbers = {node.id: prod((*node.cpt.parent_sizes, node.cpt.n_states)) for node in network}
    if (total := sum(numbers.values())) > MOST_NUMBERS:
        largest = max(numbers, key=lambda node: numbers[node])
        raise FileProblem(
            f"its tables have {total:,} numbers when written out, and at most {MOST_NUMBERS:,} can be; the largest is "
            f"that of {largest}, {numbers[largest]:,} numbers over {len(network[largest].parents)} parents. These "
            "formats cannot say it shorter: take a model with fewer failure modes or conditions."
        )


def network_text(network: Network, name: str, form: str) -> str:
    """The network as text in this format, by pgmpy's writers. NotInstalled without pgmpy."""
    readwrite = load_pgmpy().readwrite
    writer = readwrite.BIFWriter if form == "bif" else readwrite.XMLBIFWriter
    return str(writer(to_pgmpy(network, name)))


def first_difference(one: Network, other: Network) -> str:
    """Where two networks differ, in nodes, states, parents or any bit of a table; "" where they are the same."""
    if strangers := _strangers((n.id for n in one), (n.id for n in other)):
        return f"nodes {strangers}"
    for node in one:
        twin = other[node.id]
        if (node.states, node.parents) != (twin.states, twin.parents):
            return f"states or parents of {node.id}"
        if not np.array_equal(whole_rows(node.cpt.expand()), twin.cpt.expand()):
            return f"the table of {node.id}"
    return ""


def _strangers(some: Iterable[str], others: Iterable[str]) -> str:
    return ", ".join(sorted(set(some) ^ set(others)))
