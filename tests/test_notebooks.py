"""Notebooks run as their readers run them, print no warnings, and use nothing that is not public."""

import ast
import importlib
import sys
import time
from pathlib import Path
from typing import Any

import jupytext
import pytest
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError
from nbformat import NotebookNode

FOLDER = Path(__file__).parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.py"))
PUBLIC = ("faultnet", "faultnet.pictures", "faultnet.plots")
BESIDE = {"IPython", "matplotlib", "numpy", "pandas", "sklearn", *sys.stdlib_module_names}
SECONDS_A_CELL = 120


@pytest.fixture(autouse=True)
def own_jupyter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the user has set up for kernels, or lets them run at their start, is not read."""
    for name in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR"):
        monkeypatch.setenv(name, str(tmp_path / name.lower()))


def executed(text: str, folder: Path) -> NotebookNode:
    """The cells of a percent file with their outputs, run in this folder. CellExecutionError: one of them failed."""
    notebook = jupytext.reads(text, fmt="py:percent")
    # No folder is searched for kernels, so it is this interpreter's own, whatever is called python3 elsewhere.
    kernel = AsyncKernelManager(kernel_name="python3", kernel_spec_manager=KernelSpecManager(kernel_dirs=[]))
    client = NotebookClient(notebook, km=kernel, timeout=SECONDS_A_CELL, resources={"metadata": {"path": str(folder)}})
    client.execute(cleanup_kc=True)
    return notebook


def outputs(notebook: NotebookNode) -> list[Any]:
    return [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]


def warned(notebook: NotebookNode) -> list[str]:
    """Everything that cells wrote to stderr."""
    return [each.text for each in outputs(notebook) if each.output_type == "stream" and each.name == "stderr"]


def not_public(text: str) -> list[str]:
    """What a notebook imports beyond the public names of faultnet and the libraries its readers know."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names if alias.name.split(".")[0] not in BESIDE]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] not in BESIDE:
            names = importlib.import_module(node.module).__all__ if node.module in PUBLIC else ()
            found += [f"{node.module}.{alias.name}" for alias in node.names if alias.name not in names]
    return found


@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda file: file.stem)
def test_a_notebook_runs_from_top_to_bottom_without_a_warning(file: Path) -> None:
    begun = time.perf_counter()
    notebook = executed(file.read_text(encoding="utf-8"), FOLDER)
    print(f"{file.stem}: {time.perf_counter() - begun:.0f} s")  # aim: below 60 on two cores; machines are noisy
    assert warned(notebook) == []
    assert outputs(notebook), "it shows something"


@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda file: file.stem)
def test_a_notebook_uses_public_names_only(file: Path) -> None:
    assert not_public(file.read_text(encoding="utf-8")) == []


def test_there_is_a_notebook_for_each_user_and_none_stores_outputs() -> None:
    assert [file.stem for file in NOTEBOOKS] == ["bench_day", "failure_rates", "tuning_a_shop"]
    assert [*FOLDER.rglob("*.ipynb")] == []


def test_what_fails_or_warns_is_noticed(tmp_path: Path) -> None:
    with pytest.raises(CellExecutionError, match="ZeroDivisionError"):
        executed("# %%\n1 / 0\n", tmp_path)
    (told,) = warned(executed("# %%\nimport warnings\n\nwarnings.warn('mind the gap')\n", tmp_path))
    assert "mind the gap" in told
    lines = ("import faultnet.engine, numpy", "from faultnet import diagnose, engine", "from faultnet.case import Case")
    assert not_public("\n".join(lines)) == ["faultnet.engine", "faultnet.engine", "faultnet.case.Case"]
