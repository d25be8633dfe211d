"""The rule of sizes in DEVELOPERS.md holds, and every public name says what it is."""

import ast
import io
import statistics
import tokenize
from pathlib import Path

import pytest

import runpredict

PACKAGE = Path(runpredict.__file__).parent
TESTS = Path(__file__).parent
NOT_CODE = {
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
}
FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)


def docstring_lines(tree):
    """Lines of strings that stand alone: docstrings, also those of constants."""
    return {
        line
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
        for line in range(node.lineno, node.end_lineno + 1)
    }


def bare_lines(text):
    """Numbers of the lines that hold code: no docstring, comment or blank line."""
    tokens = tokenize.generate_tokens(io.StringIO(text).readline)
    code = {
        line
        for token in tokens
        if token.type not in NOT_CODE
        for line in range(token.start[0], token.end[0] + 1)
    }
    return code - docstring_lines(ast.parse(text))


def text_of(path):
    return path.read_text(encoding="utf-8")


def functions_of(path):
    """Name and bare lines of each function of a file, those inside others too."""
    text = text_of(path)
    bare = bare_lines(text)
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, FUNCTION):
            yield node.name, sum(node.lineno <= line <= node.end_lineno for line in bare)


def public_names(path):
    """Each public name of a file that has no docstring, with its kind."""
    tree = ast.parse(text_of(path))
    for node in [tree, *tree.body]:
        if isinstance(node, ast.Module) or (
            isinstance(node, (*FUNCTION, ast.ClassDef)) and not node.name.startswith("_")
        ):
            yield getattr(node, "name", "the module"), node
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for member in node.body:
                if isinstance(member, FUNCTION) and not member.name.startswith("_"):
                    yield f"{node.name}.{member.name}", member


FILES = sorted(PACKAGE.rglob("*.py"))
MODULES = [path for path in FILES if path.name not in ("__init__.py", "__main__.py")]
FUNCTIONS = [
    (size, f"{path.relative_to(PACKAGE)}: {name}")
    for path in FILES
    for name, size in functions_of(path)
]


def test_what_is_counted():
    text = (
        '"""Doc\nstring."""\n\nX = 1  # one\n"""Says."""\n\n\ndef f(a):\n    """D."""\n    # why\n'
    )
    text += '    b = """two\nlines"""\n\n    return a, b\n'
    assert bare_lines(text) == {4, 8, 11, 12, 14}


def test_files_are_short():
    lines = {str(path.relative_to(PACKAGE)): text_of(path).count("\n") for path in MODULES}
    assert statistics.median(lines.values()) <= 250
    assert {name: size for name, size in lines.items() if size > 500} == {}


def test_functions_are_short():
    sizes = sorted(size for size, _ in FUNCTIONS)
    assert statistics.median(sizes) <= 12
    assert sizes[int(0.9 * len(sizes))] <= 35
    assert [function for function in FUNCTIONS if function[0] > 60] == []


def test_there_are_tests_enough():
    code, tests = (
        sum(
            len(bare_lines(text_of(path)))
            for path in folder.rglob("*.py")
            if "refit" not in path.parts
        )
        for folder in (PACKAGE, TESTS)
    )  # the refit of the melt is neither
    assert tests >= 0.8 * code


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_every_public_name_has_a_docstring(path):
    bare = [name for name, node in public_names(path) if not ast.get_docstring(node)]
    assert bare == []
