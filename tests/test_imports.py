"""Data flow one way: a module imports only from those above it, and loads nothing it spares."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import runpredict

PACKAGE = Path(runpredict.__file__).parent
# From the top down; those on one line may import each other as far as no circle arises.
ORDER = (
    ("errors",),
    ("datafiles", "units"),
    ("columns",),
    ("cells", "files"),
    ("workbooks",),
    ("tables",),
    ("tablefiles",),
    ("chemistry",),
    ("plan",),
    ("melt_net",),
    ("melt",),
    ("heat",),
    ("film",),
    ("features",),
    ("rules",),
    ("posterior",),
    ("effects",),
    ("learned",),
    ("trial",),
    ("estimator",),
    ("cache",),
    ("decisions",),
    ("words",),
    ("check",),
    ("report",),
    ("logbook",),
    ("sources",),
    ("review", "teach"),
    ("drawing",),
    ("curves",),
    ("sheet",),
    ("page", "cli"),
    ("__main__",),
)
RANK = {name: rank for rank, names in enumerate(ORDER) for name in names}
APART = {"__init__", "melt_fit"}  # public names by their home; the refit script, which none imports


def family(module):
    """`logbook_rows` belongs to `logbook`, `cli_page` to `cli`, `page.views` to `page`."""
    head = module.split(".")[0]
    while head not in RANK and "_" in head:
        head = head.rpartition("_")[0]
    return head


def is_type_checking(node):
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)


def runtime_nodes(tree):
    for node in ast.iter_child_nodes(tree):
        if not is_type_checking(node):
            yield node
            yield from runtime_nodes(node)


def imported_names(path):
    """Full names of what a file imports when it runs, ours and others."""
    for node in runtime_nodes(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names = [node.module]
            if node.module == "runpredict":
                names = [f"runpredict.{alias.name}" for alias in node.names]
        else:
            assert not isinstance(node, ast.ImportFrom), f"{path}: relative import"
            continue
        yield from names


def imported(path):
    """Modules of ours that a file imports when it runs."""
    for name in imported_names(path):
        if name.startswith("runpredict."):
            yield name.removeprefix("runpredict.")


MODULES = {
    ".".join(path.relative_to(PACKAGE).with_suffix("").parts): path
    for path in sorted(PACKAGE.rglob("*.py"))
}


@pytest.mark.parametrize("module", sorted(set(MODULES) - APART))
def test_a_module_imports_only_from_above(module):
    mine = family(module)
    assert mine in RANK, f"{module} has no place in the order"
    for other in imported(MODULES[module]):
        if other not in MODULES and other in runpredict.__all__:
            continue
        assert family(other) != "melt_fit", f"{module} imports the refit script"
        if family(other) == mine:
            continue
        assert RANK[family(other)] < RANK[mine], f"{module} imports {other}, which is below it"


def test_film_stands_alone():
    assert list(imported(MODULES["film"])) == []


def test_decisions_know_no_predictor():
    assert set(imported(MODULES["decisions"])) <= {"film", "units"}


# `teach` asks what a log would teach, so it loads what learns.
LEARNING = {"posterior", "effects", "learned", "trial", "estimator", "teach_belief"}


@pytest.mark.parametrize("module", sorted(set(MODULES) - APART - LEARNING))
def test_only_learning_imports_scipy_and_scikit_learn(module):
    assert not {"scipy", "sklearn"} & {
        name.split(".")[0] for name in imported_names(MODULES[module])
    }


def loaded_after(code):
    script = f"import sys\n{code}\nprint(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    )
    return {name.split(".")[0] for name in done.stdout.splitlines()[-1].split()}


def test_importing_the_package_loads_nothing_heavy():
    spared = {"numpy", "pandas", "matplotlib", "sklearn", "scipy", "openpyxl"}
    assert not spared & loaded_after("import runpredict")


@pytest.mark.parametrize("code", ["import runpredict.check", "import runpredict.cli"])
def test_a_check_loads_no_pictures_and_no_learning(code):
    assert not {"matplotlib", "sklearn", "scipy", "joblib"} & loaded_after(code)


def test_a_whole_check_loads_no_pictures_and_no_learning():
    """A plan with no log; a log or a demo of one has to learn."""
    code = (
        "from runpredict import cli\n"
        "words = ['check']\n"
        "for option, name in (('plan', 'layers'), ('glazes', 'glazes'), ('recipes', 'recipes'),\n"
        "                     ('schedules', 'schedules')):\n"
        "    words += [f'--{option}', str(cli.sample_folder() / f'{name}.csv')]\n"
        "assert cli.main(words) == 0"
    )
    assert not {"matplotlib", "sklearn", "scipy", "joblib"} & loaded_after(code)
