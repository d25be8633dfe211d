"""Data flow one way: a module imports only from those above it, and loads nothing it spares."""

import ast
import graphlib
import re
import subprocess
import sys
from pathlib import Path

import pytest
from helpers.processes import PATIENCE_S

import runpredict

PACKAGE = Path(runpredict.__file__).parent
ROOT = Path(__file__).parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
# From the top down: a module imports only from its own package and from those above it.
ORDER = (
    "errors",
    "patience",
    "arrays",
    "datafiles",
    "units",
    "physics",
    "tables",
    "logbook",
    "model",
    "answers",
    "words",
    "drawings",
    "pages",
    "bench",
    "commands",
    "__main__",
)
RANK = {name: rank for rank, name in enumerate(ORDER)}
APART = {"__init__"}  # public names by their home


def room(module):
    """`logbook.rows` belongs to `logbook`."""
    return module.split(".")[0]


def is_type_checking(node):
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)


def nodes_of(tree, typing):
    for node in ast.iter_child_nodes(tree):
        if typing or not is_type_checking(node):
            yield node
            yield from nodes_of(node, typing)


def imported_names(path, typing=False):
    """Full names of what a file imports when it runs, or is typed too, ours and others."""
    for node in nodes_of(ast.parse(path.read_text(encoding="utf-8")), typing):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names = [node.module]
            if node.module == "runpredict":
                names = [f"runpredict.{alias.name}" for alias in node.names]
            elif (PACKAGE.parent / node.module.replace(".", "/")).is_dir():
                names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            assert not isinstance(node, ast.ImportFrom), f"{path}: relative import"
            continue
        yield from names


def imported(path, typing=True):
    """Modules of ours that a file imports, also where only its types need them."""
    for name in imported_names(path, typing):
        if name.startswith("runpredict."):
            yield name.removeprefix("runpredict.")


MODULES = {
    ".".join(path.relative_to(PACKAGE).with_suffix("").parts): path
    for path in sorted(PACKAGE.rglob("*.py"))
}


PLACES = sorted(module for module in MODULES if module.split(".")[-1] != "__init__")


@pytest.mark.parametrize("module", sorted(set(PLACES) - APART))
def test_a_module_imports_only_from_above(module):
    assert room(module) in RANK, f"{module} has no place in the order"
    for other in imported(MODULES[module]):
        if other not in MODULES and other in runpredict.__all__:
            continue
        assert RANK[room(other)] <= RANK[room(module)], f"{module} imports {other}, below it"


def test_no_circle():
    links = {m: {o for o in imported(MODULES[m]) if o in MODULES} for m in PLACES}
    assert sum(map(len, links.values())) > len(PLACES)
    list(graphlib.TopologicalSorter(links).static_order())


def test_film_stands_alone():
    assert set(imported(MODULES["physics.film"])) == {"arrays", "physics.speeds"}


def test_decisions_know_no_predictor():
    when_run = set(imported(MODULES["answers.decisions"], typing=False))
    assert when_run <= {"arrays", "physics.film", "units"}


# `teach` asks what a log would teach, so it loads what learns.
LEARNING = {
    "model.design",
    "model.fit",
    "model.effects",
    "model.learned",
    "model.readings",
    "model.line",
    "model.trial",
    "model.estimator",
    "answers.teach_belief",
}


@pytest.mark.parametrize("module", sorted(set(PLACES) - APART - LEARNING))
def test_only_learning_imports_scipy_and_scikit_learn(module):
    assert not {"scipy", "sklearn"} & {
        name.split(".")[0] for name in imported_names(MODULES[module])
    }


def loaded_after(code):
    script = f"import sys\n{code}\nprint(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        timeout=PATIENCE_S,
    )
    return {name.split(".")[0] for name in done.stdout.splitlines()[-1].split()}


def test_importing_the_package_loads_nothing_heavy():
    spared = {"numpy", "pandas", "matplotlib", "sklearn", "scipy", "openpyxl"}
    assert not spared & loaded_after("import runpredict")


@pytest.mark.parametrize("module", ["answers.check", "commands.main"])
def test_a_check_loads_no_pictures_and_no_learning(module):
    heavy = {"matplotlib", "sklearn", "scipy", "joblib"}
    assert not heavy & loaded_after(f"import runpredict.{module}")


def test_words_load_no_pictures():
    names = ", ".join(name for name in PLACES if name.startswith("words."))
    imports = ", ".join(f"runpredict.{name}" for name in names.split(", "))
    assert not {"matplotlib", "jinja2"} & loaded_after(f"import {imports}")


def test_only_a_page_loads_the_templates():
    assert "jinja2" not in loaded_after("import runpredict.commands.main")
    assert "jinja2" in loaded_after("import runpredict.pages.sheet")


def test_a_whole_check_loads_no_pictures_and_no_learning():
    """A plan with no log; a log or a demo of one has to learn."""
    code = (
        "from runpredict.commands import main as cli\n"
        "words = ['check']\n"
        "for option, name in (('plan', 'layers'), ('glazes', 'glazes'), ('recipes', 'recipes'),\n"
        "                     ('schedules', 'schedules')):\n"
        "    words += [f'--{option}', str(cli.sample_folder() / f'{name}.csv')]\n"
        "assert cli.main(words) == 0"
    )
    assert not {"matplotlib", "sklearn", "scipy", "joblib"} & loaded_after(code)


def drawing():
    """Which package imports from which, a row each, as DEVELOPERS.md shows it."""
    rooms = ORDER[: ORDER.index("commands") + 1]
    links = {
        (room(module), room(other))
        for module in set(PLACES) - APART
        for other in imported(MODULES[module])
    }
    width = max(map(len, rooms))
    lines = [" " * width + "  " + " ".join(rooms[:-1])]
    for row in rooms:
        cells = ("x" if row != other and (row, other) in links else "." for other in rooms[:-1])
        marks = " ".join(cell.center(len(other)) for cell, other in zip(cells, rooms, strict=False))
        lines.append(f"{row:{width}}  {marks}".rstrip())
    return "\n".join(lines)


def test_the_drawing_of_the_imports_is_as_the_code_has_it():
    assert f"```\n{drawing()}\n```" in DEVELOPERS, f"DEVELOPERS.md should have:\n{drawing()}"


def test_the_table_of_packages_names_every_package():
    table = DEVELOPERS.split("| package | holds |\n")[1].split("\n\n")[0]
    told = re.findall(r"^\| (\w+) \| ", table, re.MULTILINE)
    assert told == [name for name in ORDER if (PACKAGE / name).is_dir()]


def test_every_name_that_developers_read_of_is_there():
    """`film.mixing_shares` is a function of a module `film`."""
    found = re.findall(r"`(\w+)\.(\w+)`", DEVELOPERS)
    homes = {module.split(".")[-1]: path for module, path in MODULES.items()}
    named = [(home, name) for home, name in found if home in homes]
    assert len(named) >= 4
    for home, name in named:
        if name != "py":
            assert re.search(
                rf"^(def |class )?{name}\b", homes[home].read_text("utf-8"), re.MULTILINE
            )
    paths = re.findall(r"`((?:tests|runpredict)/[\w/.]+)`", DEVELOPERS)
    assert paths
    for path in paths:
        assert (ROOT / path).exists() or (PACKAGE.parent / path).exists(), path
