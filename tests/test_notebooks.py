"""The notebooks run from a clean state, use public names only, and keep what they showed."""

import ast
import shutil
from pathlib import Path

import nbformat
import pytest
from helpers.keep_outputs import run
from helpers.processes import PATIENCE_S

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


def shown(cell):
    """What a cell shows: kind of each output, and of its data."""
    return [(made.output_type, sorted(made.get("data", {}))) for made in cell.get("outputs", [])]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_outputs_are_kept_and_nothing_of_the_machine(path):
    book = read(path)
    nbformat.validate(book)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1))
    assert any(shown(cell) for cell in code)
    assert {key for cell in book.cells for key in cell.metadata} == set()
    assert set(book.metadata) <= {"kernelspec", "language_info"}
    assert dict(book.metadata["language_info"]) == {"name": "python"}
    assert book.cells[0].source.startswith("# ")
    text = path.read_text(encoding="utf-8")
    assert str(Path.home()) + "/" not in text and "Traceback" not in text


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
    book = run(read(path), tmp_path / "notebooks", PATIENCE_S)
    assert list(map(shown, book.cells)) == list(map(shown, read(path).cells)), "keep them anew"
    figures = 0
    for cell in book.cells:
        for output in cell.get("outputs", []):
            assert output.output_type != "error"
            assert output.get("name") != "stderr", output.text
            figures += "image/svg+xml" in output.get("data", {})
    calls = [node.func for node in ast.walk(code_of(path)) if isinstance(node, ast.Call)]
    drawn = [call for call in calls if getattr(call, "attr", "").endswith("_figure")]
    assert figures == len(drawn)
