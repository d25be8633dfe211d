"""README.md is true: its lines run as they stand, in order, on the sample tables."""

import io
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pandas as pd
import pytest
from helpers.tables import written_in

from runpredict.commands import main as cli

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
LINES = [line for kind, block in BLOCKS if not kind for line in block.splitlines() if line.strip()]
SETUP = re.compile(r"python3 -m venv|\S+ -m pytest|\S*pip install|source \.venv")


def steps(line):
    """Commands of a line, as lists of words, without its comment."""
    words = shlex.split(line, comments=True)
    found = [[]]
    for word in words:
        if word == "&&":
            found.append([])
        else:
            found[-1].append(word)
    return found


STEPS = [step for line in LINES for step in steps(line)]
COMMANDS = [step for step in STEPS if Path(step[0]).name == "runpredict"]


@pytest.fixture
def checkout(tmp_path, monkeypatch):
    """A folder with the sample tables, as a potter has it."""
    shutil.copytree(ROOT / "sample_data", tmp_path / "sample_data")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    # A page is served until it is stopped; here it is stopped before its first request.
    monkeypatch.setattr("runpredict.commands.page.DEFAULT_PORT", 0)  # hers may be open meanwhile
    monkeypatch.setattr("waitress.server.BaseWSGIServer.run", lambda server: None)
    return tmp_path


def run(step, monkeypatch):
    """Exit status of one command of README.md."""
    program, *words = step
    # At the walk through a kiln: fine, a length, past the foot twice, and the end of the input.
    monkeypatch.setattr("sys.stdin", io.StringIO("\n4\np\np\n"))
    if program == "cd":
        monkeypatch.chdir(*words)
        return 0
    if Path(program).name == "runpredict":
        try:
            return cli.main(words)
        except SystemExit as left:  # --version, or a line that cannot be parsed
            return left.code
    return subprocess.run(" ".join(step), shell=True, check=False).returncode


def test_every_line_runs_in_order_on_the_sample_tables(checkout, monkeypatch, capsys):
    for step in STEPS:
        if SETUP.match(" ".join(step)):
            continue
        status = run(step, monkeypatch)
        told = capsys.readouterr()
        assert status == 0, f"{' '.join(step)}\n{told.err}"
        assert not told.err, step
        if Path(step[0]).name == "runpredict":
            assert told.out.strip(), step
    mine = checkout / "mine"
    assert written_in(mine) == {
        "answer", "backup", "glazes.csv", "kiln.html", "layers.csv", "log.csv", "logbook",
        "logbook_form.xlsx", "materials.csv", "recipes.csv", "schedules.csv",
    }  # fmt: skip
    history = pd.read_csv(mine / "backup" / "history.csv")
    last = history.query("action == 'record'").iloc[-1]
    assert (last["row"], last["column"]) == ("piece mug 3; firing Dabchick; layer 2", "past_foot")
    assert last["after"] == "no"
    taken = history.query("action == 'remove'")
    assert set(taken["row"].str[:11]) == {"piece mug 2"} and "yes" in set(taken["before"])
    (block,) = [block for kind, block in BLOCKS if kind == "python"]
    exec(compile(block, "README.md", "exec"), {})
    pieces = pd.read_csv("layers.csv")[["piece", "firing"]].drop_duplicates()
    header, *rows = capsys.readouterr().out.splitlines()
    assert header.split() == ["piece", "risk", "wax_height_mm", "cookie"]
    assert len(rows) == len(pieces)


def test_every_command_is_shown():
    shown = {step[1] for step in COMMANDS}
    known = cli.build_parser()._subparsers._group_actions[0].choices
    assert shown - {"--version"} == set(known)


def test_the_setup_is_the_one_that_is_tested():
    """`.ci/run` makes an environment and passes the tests by the same commands."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    setup = [" ".join(step) for step in STEPS if SETUP.match(" ".join(step))]
    assert set(setup) == {
        "python3 -m venv .venv",
        ".venv/bin/pip install .[page]",
        ".venv/bin/pip install --editable .[test]",
        ".venv/bin/python -m pytest",
        "source .venv/bin/activate",
    }
    for part in ("-m venv", '--editable ".[test]"', "python -m pytest"):
        assert part in script
        assert part in README


def test_every_file_and_name_it_points_to_is_there():
    for name in re.findall(r"`([\w/]+(?:\.\w+(?:\.\w+)?|/))`", README):
        known = {"layers.csv", "pieces.csv", "limits.csv", "firings.csv", "load.csv", "history.csv",
                 "paired-devices.json", "changes.json"}  # fmt: skip
        if not name.startswith("runpredict.") and name not in known:
            found = [ROOT / name, ROOT / "runpredict" / "data" / name]
            assert any(path.exists() for path in found), name
    import runpredict

    for name in re.findall(r"`runpredict\.(\w+)`", README):
        assert name in runpredict.__all__
