"""Runs the notebooks and keeps their outputs: ``python tests/helpers/keep_outputs.py``.

A code host then shows them, and so does the reference. To be run again after whatever moves an
answer; looked at before it is committed.
"""

import os
import sys
import tempfile
from pathlib import Path

import nbformat
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"


def run(book, folder, patience_s=None):
    """Run a notebook as read, from a clean state, as if it stood in a folder; it is changed."""
    resources = {"metadata": {"path": str(folder)}}
    NotebookClient(book, timeout=patience_s, kernel_name="python3", resources=resources).execute()
    for cell in book.cells:
        cell.metadata.pop("execution", None)  # when it was run
    book.metadata["language_info"] = {"name": "python"}  # whichever it was run on
    return book


def main():
    """Every notebook anew."""
    with tempfile.TemporaryDirectory() as cache:
        os.environ |= {"XDG_CACHE_HOME": cache, "IPYTHONDIR": cache}
        for path in sorted(NOTEBOOKS.glob("*.ipynb")):
            book = run(nbformat.read(path, as_version=4), NOTEBOOKS)
            nbformat.write(book, path)
            print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB", file=sys.stderr)


if __name__ == "__main__":
    main()
