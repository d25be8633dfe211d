"""pyproject.toml says what the package is: what it needs, what it holds, under which licences."""

import ast
import re
import runpy
import sys
import tomllib
from pathlib import Path

import runpredict

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
DISTRIBUTIONS = {"PIL": "pillow", "sklearn": "scikit-learn"}
PACKAGE = Path(runpredict.__file__).parent


def needed(names):
    """Lower bound of each library of a list."""
    return dict(re.fullmatch(r"([\w-]+)>=([\d.]+)", name).groups() for name in names)


def imported():
    """Every distribution that the package imports, wherever it does."""
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module]
            for name in names:
                room = name.split(".")[0]
                if room not in sys.stdlib_module_names and room != "runpredict":
                    yield DISTRIBUTIONS.get(room, room)


def test_what_is_imported_is_needed_and_the_other_way_round():
    project = PROJECT["project"]
    extras = project["optional-dependencies"]
    ours = needed(project["dependencies"])
    extra = {
        k: v
        for name in extras
        if name not in ("test", "docs")
        for k, v in needed(extras[name]).items()
    }
    assert set(ours | extra) == set(imported())


def test_every_folder_of_code_is_in_the_wheel():
    folders = {
        ".".join(path.parent.relative_to(PACKAGE.parent).parts)
        for path in PACKAGE.rglob("__init__.py")
    }
    listed = set(PROJECT["tool"]["setuptools"]["packages"])
    assert listed == folders | {"runpredict.sample_data"}


def test_both_licences_are_there_and_said():
    project = PROJECT["project"]
    assert project["license"] == "MIT AND ODbL-1.0"
    code, data = (
        (ROOT / name).exists() or (PACKAGE.parent / name).exists()
        for name in project["license-files"]
    )
    assert code and data
    told = (PACKAGE / "data" / "melt_coefficients_LICENSE.txt").read_text(encoding="utf-8")
    assert "Open Database" in told and "EPAM Systems" in told


def test_pictures_have_an_address_on_a_registry():
    absolute = runpy.run_path(str(ROOT / ".ci" / "absolute_pictures.py"))["absolute"]
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    there = absolute(readme, "https://example.org/runpredict", "1.2.3")
    pictures = re.findall(r"!\[[^]]*\]\(([^)]+)\)", there)
    assert len(pictures) >= 5
    start = "https://example.org/runpredict/raw/v1.2.3/"
    for picture in pictures:
        assert picture.startswith(start)
        assert (ROOT / picture.removeprefix(start)).is_file()
    assert absolute(there, "https://example.com", "2") == there
