"""The notebooks run from a clean state, use public names only, and are kept without outputs."""

import ast
import shutil
from pathlib import Path

import nbformat
import pytest
from helpers.processes import PATIENCE_S
from nbclient import NotebookClient

import runpredict

ROOT = Path(__file__).parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def read(path):
    return nbformat.read(path, as_version=4)


def code_of(path):
    """What a notebook runs, as one program."""
    cells = [cell.source for cell in read(path).cells if cell.cell_type == "code"]
    return ast.parse("\n".join(cells))


def test_there_are_five():
    assert [path.name[0] for path in NOTEBOOKS] == ["1", "2", "3", "4", "5"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_no_output_is_kept(path):
    book = read(path)
    nbformat.validate(book)
    for cell in book.cells:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None
        assert set(cell.metadata) <= set()
    assert set(book.metadata) <= {"kernelspec", "language_info"}
    assert book.cells[0].source.startswith("# ")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_only_public_names_are_used(path):
    used = set()
    for node in ast.walk(code_of(path)):
        if isinstance(node, ast.ImportFrom):
            assert not (node.module or "").startswith("runpredict")
        if isinstance(node, ast.Import):
            assert not [name for name in node.names if name.name.startswith("runpredict.")]
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            used |= {node.attr} if node.value.id == "runpredict" else set()
    assert used
    assert used <= set(runpredict.__all__)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of the notebook runner's own
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_runs_from_a_clean_state(path, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    shutil.copytree(ROOT / "sample_data", tmp_path / "sample_data")
    (tmp_path / "notebooks").mkdir()
    book = read(path)
    runner = NotebookClient(
        book, timeout=PATIENCE_S, kernel_name="python3",
        resources={"metadata": {"path": str(tmp_path / "notebooks")}},
    )  # fmt: skip
    runner.execute()
    figures = 0
    for cell in book.cells:
        for output in cell.get("outputs", []):
            assert output.output_type != "error"
            assert output.get("name") != "stderr", output.text
            figures += "image/svg+xml" in output.get("data", {})
    calls = [node.func for node in ast.walk(code_of(path)) if isinstance(node, ast.Call)]
    drawn = [call for call in calls if getattr(call, "attr", "").endswith("_figure")]
    assert figures == len(drawn)
