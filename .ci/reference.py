"""Makes the reference of the public names, and pages of the notebooks: a folder is told.

    python .ci/reference.py OUT

Needs the extra "docs". The notebooks are shown with the outputs that are kept in them.
"""

import sys
import warnings
from pathlib import Path

import pdoc
from nbconvert import HTMLExporter

import runpredict

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def write_names(out):
    """A page of every public name, from its docstring, that leads to the notebooks."""
    links = "\n".join(f"- [{path.stem.replace('_', ' ')}]({path.stem}.html)" for path in NOTEBOOKS)
    runpredict.__doc__ += f"\n\nNotebooks go through each step:\n\n{links}\n"
    for name in runpredict.__all__:  # which are loaded when first asked for
        setattr(runpredict, name, getattr(runpredict, name))
    pdoc.render.configure(docformat="numpy", show_source=False)
    with warnings.catch_warnings():
        # pandas is generic for type checkers alone
        warnings.filterwarnings("ignore", "Error parsing type annotation")
        pdoc.pdoc("runpredict", output_directory=out)


def write_notebooks(out):
    """A page of each notebook."""
    for path in NOTEBOOKS:
        page, _ = HTMLExporter(embed_images=True).from_filename(str(path))
        (out / f"{path.stem}.html").write_text(page, encoding="utf-8")


def main(out):
    """Write all of it."""
    out.mkdir(parents=True, exist_ok=True)
    write_names(out)
    write_notebooks(out)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
