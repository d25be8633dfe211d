"""Whatever the terminal, the pipe or the disk does: a sentence, never a traceback, and no lie in
the exit status."""

import io
import os
import subprocess
import sys
from importlib.metadata import entry_points
from pathlib import Path

import pandas as pd
import pytest
from helpers.processes import PATIENCE_S
from helpers.tables import ANALYSIS, layers

from runpredict.commands import main as cli
from runpredict.commands import terminal

SAMPLE = cli.sample_folder()
PROGRAM = [sys.executable, "-m", "runpredict"]
CHECK = ["check", "--plan", str(SAMPLE / "layers.csv"), "--glazes", str(SAMPLE / "glazes.csv")]
CHECK += ["--recipes", str(SAMPLE / "recipes.csv"), "--schedules", str(SAMPLE / "schedules.csv")]


def run(words, **settings):
    environment = {**os.environ, **settings.pop("env", {})}
    return subprocess.run(
        [*PROGRAM, *words], check=False, capture_output=True, env=environment, **settings
    )


@pytest.mark.parametrize("code_page", ["ascii", "cp437", "cp1252", "latin-1", "cp932", "utf-16"])
def test_output_fits_any_code_page(code_page):
    done = run(CHECK, env={"PYTHONIOENCODING": code_page, "PYTHONUTF8": "0"})
    assert done.returncode == 0, done.stderr
    shown = done.stdout.decode(code_page)
    assert "risk of running past the foot" in shown
    assert "Traceback" not in shown
    asked = run(CHECK, env={"PYTHONIOENCODING": "utf-8"}).stdout.decode("utf-8")
    assert shown.count("?") == asked.count("?")


def test_help_and_version_fit_any_code_page():
    for words in (["--help"], ["check", "--help"], ["--version"]):
        assert run(words, env={"PYTHONIOENCODING": "ascii"}).returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is full")
@pytest.mark.parametrize("words", [CHECK, ["--version"]])
def test_output_that_is_full_is_told_and_is_not_over_the_tolerance(words):
    with open("/dev/full", "wb") as full:
        done = subprocess.run([*PROGRAM, *words], check=False, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 2
    assert done.stderr.decode() == "The answer cannot be shown: no space left on device.\n"


@pytest.mark.skipif(os.name != "posix", reason="a shell that closes what it hands on")
@pytest.mark.parametrize(
    ("closed", "status"),
    [(">&-", 1), ("2>&-", 1), ("<&-", 1), (">&- 2>&- <&-", 1), ("| head -c 1", 0)],
)
def test_closed_streams_change_nothing_else(closed, status):
    words = " ".join([*PROGRAM, *CHECK, "--strict", "--tolerance", "0.0001"])
    done = subprocess.run(["sh", "-c", f"{words} {closed}"], check=False, capture_output=True)
    assert done.returncode == status
    assert done.stderr == b""


def test_a_mistake_of_ours_is_a_sentence_and_status_2(monkeypatch, capsys):
    def broken():
        raise ZeroDivisionError("by \x1b[31m nought")

    monkeypatch.delenv("RUNPREDICT_TRACEBACK", raising=False)
    assert terminal.run_safely(broken) == 2
    told = capsys.readouterr().err
    assert told.startswith("runpredict made a mistake of its own (ZeroDivisionError: by ?[31m")
    assert told.count("\n") == 1
    monkeypatch.setenv("RUNPREDICT_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        terminal.run_safely(broken)


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [(MemoryError(), "not memory enough"), (KeyboardInterrupt(), "Stopped.")],
)
def test_what_stops_a_command_is_told(fault, sentence, capsys):
    def stopped():
        raise fault

    assert terminal.run_safely(stopped) == 2
    assert sentence in capsys.readouterr().err


STOPPED_AT = """
import importlib.abc, sys
class Stop(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name == {module!r}:
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stop())
from {home} import {run}
sys.exit({run}())
"""


@pytest.mark.parametrize("module", ["argparse", "pandas", "runpredict.commands.record"])
def test_a_program_stopped_while_it_loads_says_so(module):
    (script,) = (one for one in entry_points(group="console_scripts") if one.name == "runpredict")
    program = STOPPED_AT.format(module=module, home=script.module, run=script.attr)
    done = subprocess.run(
        [sys.executable, "-c", program, *CHECK],
        check=False,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
    )
    assert (done.returncode, done.stdout, done.stderr) == (2, "", "Stopped.\n")


def test_too_little_memory_is_told_by_the_program():
    """Run with hardly more than it needs to start."""
    resource = pytest.importorskip("resource")
    code = (
        "import resource, sys\nimport runpredict.commands.main as cli\n"
        "import runpredict.commands.sources\nimport runpredict.answers.check\n"
        "def eat(*_, **__): return bytearray(2**40)\n"
        "resource.setrlimit(resource.RLIMIT_AS, (2**33, resource.RLIM_INFINITY))\n"
        "runpredict.commands.sources.gather = eat\n"
        f"sys.exit(cli.main({CHECK!r}))"
    )
    assert resource.RLIMIT_AS is not None
    done = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True)
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"not memory enough" in done.stderr


@pytest.fixture
def odd_folder(tmp_path):
    """A folder whose name, in bytes, is no UTF-8."""
    if os.name != "posix" or sys.platform == "darwin":
        pytest.skip("names of any bytes")
    folder = tmp_path / os.fsdecode(b"b\xff\xfe")
    folder.mkdir()
    pd.DataFrame([ANALYSIS]).to_csv(folder / os.fsdecode(b"gl\xe9.csv"), index=False)
    layers({}).to_csv(folder / os.fsdecode(b"pl\xe9.csv"), index=False)
    return folder


def test_names_that_are_no_utf_8_are_read_written_and_told(odd_folder):
    plan, glazes = (odd_folder / os.fsdecode(name) for name in (b"pl\xe9.csv", b"gl\xe9.csv"))
    odd = os.fsdecode(b"o\xff")
    words = ["check", "--plan", plan, "--glazes", glazes, "--out", odd_folder / odd]
    for again in ([], ["--replace"]):
        done = run([*words, "--sheet", odd_folder / f"{odd}.html", *again])
        assert (done.returncode, done.stderr) == (0, b"")
    book = odd_folder / f"{odd}book"
    for words in (
        ["import", plan, glazes, "--logbook", book],
        ["record", "mug", "--past-foot", "no", "--logbook", book],
        ["export", odd_folder / f"{odd}out", "--xlsx", odd_folder / "b.xlsx", "--logbook", book],
    ):
        done = run(words)
        assert (done.returncode, done.stderr) == (0, b"")
    plan.unlink()
    for words in (
        ["check", "--plan", plan, "--glazes", glazes],
        ["record", odd, "--past-foot", "no", "--logbook", book],
        ["record", "mug", "--past-foot", "no", "--note", odd, "--logbook", book],
        ["glaze", odd, "--glazes", glazes],
        ["check", "--firing", odd, "--logbook", book],
    ):
        done = run(words)
        assert done.returncode == 2
        assert b"Traceback" not in done.stderr
        assert b"mistake of its own" not in done.stderr
        assert len(done.stderr.decode("utf-8").splitlines()) == 1


def test_control_sequences_of_a_table_never_reach_the_terminal(tmp_path, capsys):
    rows = layers({"note": "a"})
    for heading, cell in (("sh\x1b[2Jelf", "x"), ("piece", "m\x1b]0;t\x07"), ("coats", "\x9b2J")):
        rows.assign(**{heading: cell}).to_csv(tmp_path / "p\x1b[2J.csv", index=False)
        pd.DataFrame([ANALYSIS]).to_csv(tmp_path / "g.csv", index=False)
        plan = str(tmp_path / "p\x1b[2J.csv")
        status = cli.main(["check", "--plan", plan, "--glazes", str(tmp_path / "g.csv")])
        told = capsys.readouterr()
        assert told.err
        assert status == (0 if heading.startswith("sh") else 2)
        for text in (told.out, told.err):
            assert all(char == "\n" or char.isprintable() for char in text)


def test_a_character_that_a_code_page_has_not_is_written_as_near_as_can_be():
    out = io.TextIOWrapper(io.BytesIO(), encoding="ascii", errors="strict")
    before = sys.stdout
    try:
        sys.stdout = out
        assert terminal.run_safely(lambda: print("1220 °C ≤ 1½ é 5² 釉 \udcff") or 0) == 0
    finally:
        sys.stdout = before
    assert out.buffer.getvalue() == b"1220 deg C <= 1 1/2 e 5^2 ? ?" + os.linesep.encode()
