"""Reading networks: what is written is read as it stands, and what is damaged is an error, never another network."""

import gzip
import re
from collections.abc import Iterator
from pathlib import Path
from random import Random

import numpy as np
import pytest
from bridges import import_pgmpy
from networks import import_file, packed, text

from faultnet.cli.main import run
from faultnet.errors import FileProblem, ModelProblem, UsageProblem
from faultnet.interchange.export import first_difference, network_text
from faultnet.interchange.kinds import Told
from faultnet.interchange.read import read_network
from faultnet.interchange.receive import Wanted, receive
from faultnet.network import Network

SMALL = """network sprinkler { property "of, some { kind }" ; }
// a comment, with variable and { in it
variable rain { type discrete [ 2 ] { yes, no }; property position = (10, 20) ; }
variable "wet grass" { type discrete[2] { "very wet", dry }; }
/* another
   one */
variable lawn { type discrete [ 3 ] { a b c }; }
probability ( rain ) { table 0.2 0.8; }
probability ( "wet grass" | rain, lawn ) {
  (yes, a) 0.9, 0.1; (yes, b) .8, .2;
  (no, a) 1e-1, 9E-1;
  default 0.25, 0.75;
}
probability ( lawn, rain ) { table 0.1, 0.2, 0.3, 0.3, 0.6, 0.5; }
"""


def read(tmp_path: Path, written: str | bytes, name: str = "net.bif") -> Network:
    file = tmp_path / name
    file.write_bytes(written.encode() if isinstance(written, str) else written)
    return read_network(file).network


def problems(tmp_path: Path, written: str | bytes, name: str = "net.bif") -> str:
    with pytest.raises(ModelProblem) as caught:
        read(tmp_path, written, name)
    told = str(caught.value)
    assert all(re.match(rf".*{re.escape(name)}:\d+:\d+: ", line) for line in told.splitlines()), told
    return told


# -- BIF -----------------------------------------------------------------------------------------------------------


def test_bif_is_read_as_it_stands(tmp_path: Path) -> None:
    """In `table` the child's state changes slowest, as in the definition of the format (interchange format 0.15)."""
    network = read(tmp_path, SMALL)
    assert {node.id for node in network} == {"rain", "wet grass", "lawn"}
    assert network["wet grass"].states == ("very wet", "dry")
    assert network["lawn"].states == ("a", "b", "c")
    assert network["wet grass"].parents == ("rain", "lawn")
    wet = [[[0.9, 0.1], [0.8, 0.2], [0.25, 0.75]], [[0.1, 0.9], [0.25, 0.75], [0.25, 0.75]]]
    np.testing.assert_array_equal(network["wet grass"].cpt.expand(), wet)
    np.testing.assert_array_equal(network["lawn"].cpt.expand(), [[0.1, 0.3, 0.6], [0.2, 0.3, 0.5]])


@pytest.mark.parametrize("name", ["asia", "child", "insurance", "hailfinder"])
def test_published_networks_are_read_as_pgmpy_reads_them(name: str) -> None:
    """Whole files are read right by pgmpy as well: the same states, parents and numbers."""
    import_pgmpy()
    from pgmpy.readwrite import BIFReader

    theirs = BIFReader(string=text(name)).get_model()
    network = read_network(packed(name)).network
    assert set(theirs.nodes()) == {node.id for node in network}
    for node in network:
        cpd = theirs.get_cpds(node.id)
        assert tuple(cpd.variables[1:]) == node.parents
        assert tuple(cpd.state_names[node.id]) == node.states
        np.testing.assert_allclose(np.moveaxis(cpd.values, 0, -1), node.cpt.expand(), rtol=0, atol=1e-9)


def test_rounded_rows_are_scaled_and_that_is_told(tmp_path: Path) -> None:
    file = tmp_path / "net.bif"
    file.write_text(SMALL.replace("0.2 0.8", "0.2000005 0.8000005"), encoding="utf-8")
    verified = read_network(file)
    assert verified.scaled is not None
    assert (verified.scaled.rows, verified.scaled.tables, verified.scaled.line) == (1, 1, 8)
    assert verified.scaled.most == pytest.approx(1e-6)
    assert verified.network["rain"].cpt.expand().sum() == pytest.approx(1, abs=1e-15)
    assert "sums to 1.000003, not 1" in problems(tmp_path, SMALL.replace("0.2 0.8", "0.200002 0.800001"))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("network sprinkler", "netwrk sprinkler", r":1:1: here should be `network`"),
        ("0.2 0.8", "0.2 -0.8", r":8:\d+: table of 'rain': -0.8 is no probability"),
        ("0.2 0.8", "0.2 nan", r":8:\d+: here should be a number"),
        ("0.2 0.8", "0.2 0.8 0", r":8:\d+: table of 'rain': 3 numbers, where 1 x 2 are needed"),
        ("0.2 0.8", "1.2 -0.2", "is no probability"),
        ("(no, a)", "(no, d)", r"'lawn' has no state 'd'"),
        ("(no, a)", "(yes, a)", r"the row for \('yes', 'a'\) stands here a second time; the first is on line 10"),
        ("(no, a)", "(no)", "a row for 1 parents, where there are 2"),
        ("  default 0.25, 0.75;\n", "", r"no row for \('yes', 'c'\)"),
        ("probability ( lawn, rain )", "probability ( lawn, sun )", "unknown variable 'sun'"),
        ("probability ( lawn, rain )", "probability ( lawn, rain, rain )", "parent 'rain' is named twice"),
        ("probability ( lawn, rain )", "probability ( lawn, lawn )", "a cycle"),
        ("probability ( lawn, rain )", "probability ( rain, lawn )", "table of 'rain' stands here a second time"),
        ("{ a b c }", "{ a, b, b }", "state 'b' is named twice"),
        ("{ a b c }", "{ a b }", r"2 states are named here, and \[ 3 \] are announced"),
        ("variable lawn", "variable rain", "'rain' stands here a second time; the first is on line 3"),
        ("variable lawn", "variable moss", "variable 'moss' has no table"),
        ("type discrete [ 3 ]", "type continuous [ 3 ]", "only discrete variables"),
        ("/* another", "* another", "here should be `variable` or `probability`"),
        ("   one */", "   one", "a comment without an end"),
        ('"very wet"', '"very wet', "a quoted name that does not end on its line"),
        ("0.6, 0.5; }\n", "0.6, 0.5; }\nand more", "here should be `variable` or `probability`, not 'and'"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(old: str, new: str, said: str, tmp_path: Path) -> None:
    assert SMALL.count(old) == 1
    assert re.search(said, problems(tmp_path, SMALL.replace(old, new)))


def test_everything_wrong_is_told_at_once(tmp_path: Path) -> None:
    told = problems(tmp_path, SMALL.replace("0.2 0.8", "0.3 0.8").replace("(yes, b) .8, .2", "(yes, b) .8, .3"))
    assert ":8:" in told
    assert ":10:" in told
    assert told.splitlines()[-1].endswith("correct these lines.")


# -- XMLBIF --------------------------------------------------------------------------------------------------------

XML = """<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE BIF [
  <!ELEMENT BIF ( NETWORK )*> <!ATTLIST BIF VERSION CDATA #REQUIRED>
]>
<BIF VERSION="0.3"><NETWORK><NAME>Dog problem</NAME>
<VARIABLE TYPE="nature"><NAME>light-on</NAME><OUTCOME>true</OUTCOME><OUTCOME>false</OUTCOME></VARIABLE>
<VARIABLE TYPE="nature"><NAME>family &amp; out</NAME><OUTCOME>a, b</OUTCOME><OUTCOME>(no)</OUTCOME><OUTCOME>1</OUTCOME>
<PROPERTY>position = (1, 2)</PROPERTY></VARIABLE>
<DEFINITION><FOR>light-on</FOR><GIVEN>family &amp; out</GIVEN>
<TABLE>0.6 0.4 <!-- next --> 0.05 0.95 1 0</TABLE></DEFINITION>
<DEFINITION><FOR>family &amp; out</FOR><TABLE>0.15 0.25 0.6</TABLE></DEFINITION>
</NETWORK></BIF>
"""


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "iso-8859-1"])
def test_xmlbif_is_read_as_it_stands_in_any_encoding_it_declares(encoding: str, tmp_path: Path) -> None:
    """The child's state changes fastest (definition of XMLBIF 0.3, whose example is the dog problem)."""
    network = read(tmp_path, XML.replace("utf-8", encoding).encode(encoding), "net.xml")
    assert network["family & out"].states == ("a, b", "(no)", "1")
    np.testing.assert_array_equal(network["light-on"].cpt.expand(), [[0.6, 0.4], [0.05, 0.95], [1, 0]])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("<!ELEMENT BIF", '<!ENTITY a "aaaa"> <!ELEMENT BIF', "entities are not allowed"),
        ("<!ELEMENT BIF", '<!ENTITY % a "aaaa"> <!ELEMENT BIF', "entities are not allowed"),
        ("Dog problem", "Dog &lol; problem", r":5:\d+: not whole as XML: undefined entity"),
        ("</NETWORK></BIF>", "</NETWORK>", "not whole as XML"),
        ("</NETWORK></BIF>", "</NETWORK></BIF><BIF/>", "not whole as XML: junk after"),
        ("0.15 0.25", "0.15 0.25x", r":11:\d+: here should be a number in the table of 'family & out', not '0.25x'"),
        ("0.15 0.25 0.6", "0.15 0.25 0.7", r":11:\d+: table of 'family & out': a row sums to 1.1, not 1"),
        ("0.15 0.25 0.6", "0.15 0.25", "2 numbers, where 1 x 3 are needed"),
        ("<OUTCOME>1</OUTCOME>", "<OUTCOME>(no)</OUTCOME>", r"state '\(no\)' is named twice"),
        ("<OUTCOME>1</OUTCOME>", "<OUTCOME> </OUTCOME>", "a state without a name"),
        ("<FOR>light-on</FOR>", "<FOR>light</FOR>", "unknown variable 'light'"),
        ('"nature"><NAME>light', '"decision"><NAME>light', "a variable of type 'decision'"),
        ("<NETWORK><NAME>", "<NETWORK>stray<NAME>", "'stray' stands outside of every name and table"),
        ("<PROPERTY>position = (1, 2)</PROPERTY>", "<COST>1</COST>", "'COST' has no place inside VARIABLE"),
        ("<TABLE>0.15", "<TABLE></TABLE><TABLE>0.15", "one TABLE"),
    ],
)
def test_what_is_wrong_in_xmlbif_is_told_with_its_line(old: str, new: str, said: str, tmp_path: Path) -> None:
    assert XML.count(old) == 1
    assert re.search(said, problems(tmp_path, XML.replace(old, new), "net.xml"))


def test_entities_of_an_outside_definition_are_not_skipped(tmp_path: Path) -> None:
    outside = re.sub(r"<!DOCTYPE BIF \[.*?\]>", '<!DOCTYPE BIF SYSTEM "bif.dtd">', XML, flags=re.DOTALL)
    assert read(tmp_path, outside, "net.xml")["light-on"].states == ("true", "false")
    assert "entities are not allowed" in problems(tmp_path, outside.replace("Dog", "&dog;"), "net.xml")


# -- files ---------------------------------------------------------------------------------------------------------


def test_a_file_is_unpacked_by_what_is_in_it(tmp_path: Path) -> None:
    expected = read(tmp_path, SMALL)
    assert first_difference(expected, read(tmp_path, gzip.compress(SMALL.encode()), "packed.bif")) == ""
    assert "not packed with gzip" in problems(tmp_path, SMALL, "net.bif.gz")
    with pytest.raises(FileProblem, match=r"nowhere\.bif: cannot be read"):
        read_network(tmp_path / "nowhere.bif")


def test_too_much_text_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    assert "more than 16 MB" in problems(tmp_path, gzip.compress(b" " * (17 * 2**20)))


def test_a_table_that_is_said_in_one_line_cannot_fill_the_memory(tmp_path: Path) -> None:
    variables = "".join(f"variable v{n} {{ type discrete [ 2 ] {{ a, b }}; }}\n" for n in range(40))
    tables = "".join(f"probability ( v{n} ) {{ table 0.5, 0.5; }}\n" for n in range(1, 40))
    parents = ", ".join(f"v{n}" for n in range(1, 40))
    wide = f"network n {{ }}\n{variables}{tables}probability ( v0 | {parents} ) {{ default 0.5, 0.5; }}\n"
    assert "at most 2097152 can be imported" in problems(tmp_path, wide)


# -- damage --------------------------------------------------------------------------------------------------------

Damaged = tuple[str, bytes]


def damaged(rng: Random, whole: bytes) -> Iterator[Damaged]:
    """Files from a whole one, each damaged in a way that happens.

    Names are swapped where a node is declared or defined. One parent's name in the place of another's makes another
    sound network, which no reader can tell from what was meant.
    """
    lines, marks = whole.splitlines(keepends=True), [n for n, byte in enumerate(whole) if byte in b"{}();<>/,="]
    numbers = [m.span() for m in re.finditer(rb"(?<=[ >])\d\.\d+", whole)]
    names = sorted({m.group() for m in re.finditer(rb"(?<=variable )\w+|(?<=<NAME>)\w+(?=</NAME>\s*<OUT)", whole)})
    yield "empty", b""
    yield "blank", b" \n\t\n"
    yield "text", b"hello world\n"
    yield "null bytes", bytes(len(whole))
    yield "noise", rng.randbytes(len(whole))
    yield "other encoding", whole.decode().encode("utf-16")[2:]
    yield "high byte", whole.replace(b"a", b"\xe4", 1)
    for _ in range(28):
        end = rng.randrange(1, len(whole) - 3)
        yield f"truncated at {end}", whole[:end]
    for _ in range(16):
        yield f"without mark {(n := rng.choice(marks))}", whole[:n] + whole[n + 1 :]
    for _ in range(14):
        start, end = rng.choice(numbers)
        wrong = rng.choice([b"-0.5", b"1.5", b"nan", b"inf", b"0,5", b"", b"0.123456", b"1e999", b"0.5.5", b"abc"])
        yield f"{wrong!r} at {start}", whole[:start] + wrong + whole[end:]
    for _ in range(10):
        n = rng.randrange(len(lines))
        yield f"without line {n}", b"".join(lines[:n] + lines[n + 1 :])
        yield f"line {n} twice", b"".join([*lines[: n + 1], *lines[n:]])
    for _ in range(8):
        one, other = rng.sample(names, 2)
        declared = re.finditer(rb"(variable |probability \( |<NAME>|<FOR>)" + one + rb"\b", whole)
        at = rng.choice([m.end(1) for m in declared])
        yield f"{one!r} at {at} is {other!r}", whole[:at] + other + whole[at + len(one) :]
    for _ in range(8):
        at = rng.randrange(len(whole))
        yield f"binary at {at}", whole[:at] + rng.choice([b"\0", b"\xff", b"\x1b[2J", b"\xc3"]) + whole[at:]
    zipped = gzip.compress(whole, mtime=0)
    for _ in range(8):
        at = rng.randrange(10, len(zipped))
        yield f"gzip flipped at {at}", zipped[:at] + bytes([zipped[at] ^ 1 << rng.randrange(8)]) + zipped[at + 1 :]
        yield f"gzip cut at {at}", zipped[:at]


def said(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[int, str, str]:
    monkeypatch.setattr("sys.argv", ["faultnet", *arguments])
    with pytest.raises(SystemExit) as ended:
        run()
    told = capsys.readouterr()
    return int(ended.value.code or 0), told.out, told.err


@pytest.mark.parametrize("form", ["bif", "xmlbif"])
def test_a_damaged_file_is_an_error_or_still_says_the_same(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = read_network(packed("asia")).network
    written = text("asia") if form == "bif" else network_text(whole, "asia", "xmlbif")
    files = list(damaged(Random(2024), written.encode()))
    assert len(files) >= 100
    refused = 0
    for number, (what, raw) in enumerate(files):
        file, out = tmp_path / f"{number}.{form}", tmp_path / f"{number}.yaml"
        file.write_bytes(raw)
        code, printed, error = said(["model", "import", str(file), "--out", str(out)], monkeypatch, capsys)
        assert "Traceback" not in error
        if code == 0:
            found = read_network(file).network
            assert out.exists()
            assert first_difference(whole, found) == "", what
        else:
            refused += 1
            assert code == 3, (what, error)
            assert str(file) in error
            assert "nothing was imported. Get the file again" in error
            assert (printed, out.exists()) == ("", False), what
    assert refused > 0.85 * len(files)


def test_a_sound_copy_is_the_same_model(tmp_path: Path) -> None:
    copy = text("asia").replace("\n", "\r\n").replace("0.05", "5.0e-2") + "\n// the end\n"
    (tmp_path / "copy.bif").write_bytes(b"\xef\xbb\xbf" + copy.encode())
    assert first_difference(read_network(packed("asia")).network, read_network(tmp_path / "copy.bif").network) == ""


def test_a_network_too_large_for_a_model_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="547,158 numbers in its tables"):
        receive(Wanted(packed("mildew"), Told({}, {})))
    assert not list(tmp_path.iterdir())


def test_components_that_make_too_many_joint_states_are_refused_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem, match=r"6,115,295,232 joint states; at most 16,384 fit\. Mark fewer"):
        import_file(packed("hailfinder"), tmp_path / "h.yaml")
