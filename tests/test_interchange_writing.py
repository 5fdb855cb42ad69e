"""Networks out to other programs and back, names that are no ids of ours, and the second opinion."""

import re
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from networks import COMPONENTS, import_file, import_published, packed, plain_network

from faultnet import list_models, load_model
from faultnet.cpt import Table
from faultnet.errors import FileProblem, ModelProblem, UsageProblem
from faultnet.files.write import write_whole
from faultnet.interchange import against, export
from faultnet.interchange.export import first_difference, format_of, save_network
from faultnet.interchange.kinds import Told, guess_healthy
from faultnet.interchange.names import MOST_CHARACTERS, ids_for, is_id
from faultnet.interchange.pgmpy_network import NotInstalled, load_pgmpy
from faultnet.interchange.read import read_network
from faultnet.model.nodes import SET_WORKS
from faultnet.network import Network, Node

SHIPPED = sorted(list_models())


# -- export --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["bif", "xmlbif"])
@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_models_come_back_the_same_to_the_last_bit(name: str, form: str, tmp_path: Path) -> None:
    network = load_model(name).compiled.network
    file = tmp_path / f"{name}.{form}"
    save_network(network, name, file, form)
    back = read_network(file)
    assert back.name == name
    assert SET_WORKS in back.network
    assert {node.id for node in back.network} == {node.id for node in network}
    for node in network:
        assert (back.network[node.id].states, back.network[node.id].parents) == (node.states, node.parents)
        np.testing.assert_array_equal(back.network[node.id].cpt.expand(), node.cpt.expand())
    assert [file] == list(tmp_path.iterdir())


@pytest.mark.parametrize("form", ["bif", "xmlbif"])
@pytest.mark.parametrize("name", COMPONENTS)
def test_imported_networks_go_out_and_come_back(name: str, form: str, tmp_path: Path) -> None:
    _, model = import_published(name, tmp_path)
    save_network(model.compiled.network, name, tmp_path / f"out.{form}", form)
    told = Told({"component": list(model.components)}, {c.id: c.healthy for c in model.components.values()})
    _, again = import_file(tmp_path / f"out.{form}", tmp_path / "again.yaml", told)
    assert first_difference(model.compiled.network, again.compiled.network) == ""


def test_an_imported_model_is_equal_wherever_it_was_read(tmp_path: Path) -> None:
    _, model = import_published("asia", tmp_path)
    (tmp_path / "copy.yaml").write_bytes((tmp_path / "asia.yaml").read_bytes())
    assert model == load_model(str(tmp_path / "copy.yaml"))
    edited = (tmp_path / "asia.yaml").read_text(encoding="utf-8").replace("[0.6, 0.4]", "[0.5, 0.5]")
    (tmp_path / "edited.yaml").write_text(edited.replace("[0.4, 0.6]", "[0.5, 0.5]"), encoding="utf-8")
    assert model != load_model(str(tmp_path / "edited.yaml"))


def test_the_format_follows_from_the_suffix() -> None:
    assert [format_of(Path(f"a{end}")) for end in (".bif", ".XML", ".xmlbif")] == ["bif", "xmlbif", "xmlbif"]
    assert format_of(Path("a.bif"), "xmlbif") == "xmlbif"
    for file, told in ((Path("a.txt"), ""), (Path("a.bif"), "json")):
        with pytest.raises(UsageProblem, match="bif"):
            format_of(file, told)


def wide(n_parents: int) -> Network:
    parents = tuple(f"p{n}" for n in range(n_parents))
    roots = [Node(p, ("no", "yes"), (), Table.full([0.5, 0.5])) for p in parents]
    return Network.of([*roots, Node("wide", ("no", "yes"), parents, Table.full(np.full((2,) * n_parents + (2,), 0.5)))])


def test_a_table_too_large_to_write_is_refused_by_name_before_it_is_written(tmp_path: Path) -> None:
    file = tmp_path / "wide.bif"
    file.write_text("as it was", encoding="utf-8")
    with pytest.raises(FileProblem, match="largest is that of wide, 131,072 numbers over 16 parents"):
        save_network(wide(16), "wide", file, "bif")
    assert file.read_text(encoding="utf-8") == "as it was"


def test_what_would_not_read_back_the_same_is_not_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    network, file = wide(2), tmp_path / "wide.bif"
    right: Callable[..., str] = export.network_text
    monkeypatch.setattr(export, "network_text", lambda *a: right(*a).replace("0.5, 0.5", "0.25, 0.75", 1))
    with pytest.raises(FileProblem, match="would not read back the same: the table of"):
        save_network(network, "wide", file, "bif")
    monkeypatch.setattr(export, "network_text", lambda *a: right(*a)[:-2])
    with pytest.raises(ModelProblem):
        save_network(network, "wide", file, "bif")
    assert not list(tmp_path.iterdir())


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    file = tmp_path / "a.txt"
    write_whole(file, "one\n")

    def refuse(_: Path) -> None:
        raise UsageProblem("no")

    with pytest.raises(UsageProblem):
        write_whole(file, "two\n", refuse)
    with pytest.raises(FileProblem, match="cannot be written"):
        write_whole(tmp_path / "nowhere" / "a.txt", "two\n")
    assert {p.name: p.read_text(encoding="utf-8") for p in tmp_path.iterdir()} == {"a.txt": "one\n"}


def test_without_pgmpy_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    asia = packed("asia")
    for name in [n for n in sys.modules if n.partition(".")[0] == "pgmpy"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "pgmpy", None)
    with pytest.raises(NotInstalled, match=r"pip install 'faultnet\[interchange\]'"):
        save_network(wide(2), "wide", tmp_path / "a.bif", "bif")
    assert import_file(asia, tmp_path / "asia.yaml")[1].id == "asia"  # reading does without


# -- names ---------------------------------------------------------------------------------------------------------

AWKWARD = [
    "",
    "yes",
    "Yes",
    "YES",
    "2nd",
    "a b",
    "a,b",
    "(a)",
    "a|b",
    "<5",
    ">5",
    "5",
    "é",
    "e",
    "日本",
    "true",
    "null",
]
names = st.one_of(st.sampled_from(AWKWARD), st.text(max_size=12), st.text("aAbB_ -,();:.", max_size=6))


@given(st.lists(names, unique=True, max_size=12))
def test_ids_are_ids_no_two_alike_and_names_that_are_ids_stay(some: list[str]) -> None:
    ids = ids_for(some, "node")
    assert list(ids) == some
    assert len(set(ids.values())) == len(some)
    assert all(is_id(id_) and len(id_) <= MOST_CHARACTERS for id_ in ids.values())
    assert all(ids[name] == name for name in some if is_id(name))


def xml_network(nodes: list[str], states: list[list[str]]) -> str:
    """XMLBIF of a chain with these names; every row prefers another state."""
    from xml.sax.saxutils import escape

    variables, definitions = [], []
    for number, (name, own) in enumerate(zip(nodes, states, strict=True)):
        outcomes = "".join(f"<OUTCOME>{escape(state)}</OUTCOME>" for state in own)
        variables.append(f"<VARIABLE><NAME>{escape(name)}</NAME>{outcomes}</VARIABLE>")
        n_rows = len(states[number - 1]) if number else 1
        given_ = f"<GIVEN>{escape(nodes[number - 1])}</GIVEN>" if number else ""
        preferred = np.eye(len(own))[np.arange(n_rows) % len(own)]
        table = " ".join(map(repr, (0.5 / len(own) + 0.5 * preferred).reshape(-1).tolist()))
        definitions.append(f"<DEFINITION><FOR>{escape(name)}</FOR>{given_}<TABLE>{table}</TABLE></DEFINITION>")
    return f"<BIF><NETWORK><NAME>n</NAME>{''.join(variables)}{''.join(definitions)}</NETWORK></BIF>"


printable = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=10).map(str.strip)
own_names = st.one_of(st.sampled_from(AWKWARD[1:]), printable).filter(lambda n: bool(n) and n == n.strip())


@settings(max_examples=40)
@given(data=st.data())
def test_networks_of_awkward_names_become_models_that_keep_them_as_labels(
    data: Any, tmp_path_factory: pytest.TempPathFactory
) -> None:
    nodes = data.draw(st.lists(own_names, unique=True, min_size=2, max_size=4))
    states = [data.draw(st.lists(own_names, unique=True, min_size=2, max_size=4)) for _ in nodes]
    folder = tmp_path_factory.mktemp("awkward")
    (folder / "net.xml").write_text(xml_network(nodes, states), encoding="utf-8")
    imported, model = import_file(folder / "net.xml", folder / "net.yaml")
    for name, own in zip(nodes, states, strict=True):
        id_ = imported.names.nodes[name]
        seen = model.visible[id_]
        first = guess_healthy(own) if id_ in model.components else own[0]
        told = [first, *(state for state in own if state != first)]
        assert list(seen.states) == [imported.names.states[name][state] for state in told]
        if name.isprintable():
            assert seen.label == name
        for state, state_id in zip(told, seen.states, strict=True):
            if state.isprintable():
                assert seen.state_labels.get(state_id, state_id) == state
    own = imported.verified.network
    total = model.compiled.engine.prior.marginal(imported.names.nodes[nodes[-1]])
    chance = own[nodes[0]].cpt.expand()
    for node in nodes[1:]:
        chance = chance @ own[node].cpt.expand()
    assert sorted(total) == pytest.approx(sorted(chance), abs=1e-12)


@pytest.mark.parametrize(
    ("states", "healthy"),
    [
        (["yes", "no"], "no"),
        (["True", "False"], "False"),
        (["dead", "OK"], "OK"),
        (["Severe", "None"], "None"),
        (["present", "Absent"], "Absent"),
        (["no", "normal"], "normal"),
        (["red", "green"], "red"),
    ],
)
def test_the_healthy_state_is_known_by_its_name(states: list[str], healthy: str) -> None:
    assert guess_healthy(states) == healthy


# -- second opinion ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("engine", ["table", "tree"])
def test_a_wrong_engine_is_found_out_with_its_case(
    engine: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    save_network(
        plain_network(("a", ("no", "yes"), (), [0.7, 0.3]), ("b", ("no", "yes"), ("a",), [[0.9, 0.1], [0.2, 0.8]])),
        "two",
        tmp_path / "two.bif",
        "bif",
    )
    model = replace(import_file(tmp_path / "two.bif", tmp_path / "two.yaml")[1], engine=engine)
    right = against.compare_with_pgmpy(model.compiled, 10, 1)
    assert right.agrees
    assert right.worst.size < 1e-14
    honest = against.likelihoods
    monkeypatch.setattr(against, "likelihoods", lambda network, evidence: honest(network, evidence)[1:])
    wrong = against.compare_with_pgmpy(model.compiled, 10, 1)
    assert not wrong.agrees
    assert wrong.worst.evidence.findings or wrong.worst.evidence.soft
    assert re.fullmatch("[ab]", wrong.worst.node)


def test_every_question_to_pgmpy_gets_an_inference_object_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    inference = load_pgmpy().inference
    made: list[Any] = []

    class Counted(inference.VariableElimination):  # type: ignore[misc, name-defined]
        def __init__(self, model: Any) -> None:
            made.append(self)
            super().__init__(model)

        def query(self, variables: list[str], *arguments: Any, **options: Any) -> Any:
            assert len(variables) == 1
            assert self is made[-1]  # with soft findings it makes itself anew and asks itself
            return super().query(variables, *arguments, **options)

    monkeypatch.setattr(inference, "VariableElimination", Counted)
    told = against.compare_with_pgmpy(load_model("intake").compiled, 4, 3)
    assert len({id(one) for one in made}) == told.posteriors > 20
    assert told.worst.size < 1e-10
