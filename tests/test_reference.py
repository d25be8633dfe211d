"""The reference holds every public name, with what it takes and gives; its examples are run."""

import doctest
import re
import subprocess
import sys
from inspect import isclass
from pathlib import Path

import pytest
from helpers.processes import PATIENCE_S

import runpredict

ROOT = Path(__file__).parents[1]
NAMES = [name for name in runpredict.__all__ if name != "__version__"]


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """The reference, built as DEVELOPERS.md says."""
    pytest.importorskip("pdoc", reason="the extra docs is not installed")
    pytest.importorskip("nbconvert", reason="the extra docs is not installed")
    out = tmp_path_factory.mktemp("reference")
    subprocess.run(
        [sys.executable, ROOT / ".ci" / "reference.py", out],
        check=True,
        capture_output=True,
        timeout=PATIENCE_S,
    )
    return {path.stem: path.read_text(encoding="utf-8") for path in out.glob("*.html")}


def test_every_public_name_is_there(pages):
    missing = [name for name in NAMES if f'id="{name}"' not in pages["runpredict"]]
    assert missing == []
    said = " ".join(re.sub(r"<[^>]+>", " ", pages["runpredict"]).split())
    for name in ("check", "unity_formula", "Logbook"):
        first = getattr(runpredict, name).__doc__.split()[:3]
        assert " ".join(first) in said


def test_every_notebook_is_there(pages):
    notebooks = {path.stem for path in (ROOT / "notebooks").glob("*.ipynb")}
    assert notebooks and notebooks < set(pages)
    assert all(f'href="{name}.html"' in pages["runpredict"] for name in notebooks)


@pytest.mark.parametrize("name", NAMES)
def test_what_a_public_function_takes_gives_and_refuses_is_said(name):
    made = getattr(runpredict, name)
    words = made.__doc__ or ""
    assert words.strip()
    if callable(made) and not isclass(made):
        assert "Parameters\n" in words and ("Returns\n" in words or "Raises\n" in words), name


def test_every_example_is_run():
    """Test runs go through all docstrings of the package, and public names have examples."""
    options = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert "--doctest-modules" in options and '"runpredict"]' in options
    finder = doctest.DocTestFinder()
    shown = [
        name
        for name in NAMES
        if any(test.examples for test in finder.find(getattr(runpredict, name), name))
    ]
    assert len(shown) >= 4
