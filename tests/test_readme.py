"""README.md is true: its lines run as they stand, in order, on the sample tables."""

import io
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from helpers.processes import PATIENCE_S
from helpers.tables import written_in

from runpredict.commands import main as cli
from runpredict.datafiles import packaged_rows
from runpredict.logbook.book import Logbook
from runpredict.physics.material_words import material_names, shipped_words
from runpredict.tables.columns import DEFAULTS

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


def test_the_season_runs_as_it_is_typed(tmp_path):
    """Twenty lines, as they stand: three pots planned, printed, recorded, and asked again."""
    (season,) = [block for kind, block in BLOCKS if kind == "sh"]
    assert len(season.splitlines()) <= 20
    (typed,) = re.findall(r"she answered (.*?)\)", README)
    answers = [word.strip("`").replace("Enter", "") for word in typed.split(", ")]
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-eu", "-c", season],
        cwd=tmp_path,
        env={**os.environ, "PATH": path},
        input="\n".join([*answers, ""]),
        capture_output=True,
        text=True,
        timeout=2 * PATIENCE_S,
        check=False,
    )
    assert done.returncode == 0 and not done.stderr, done.stderr
    with Logbook.open(tmp_path / "season" / "logbook") as book:
        log = book.layers()
    fired = log.loc[log["firing"].eq("October")]
    assert fired["past_foot"].tolist() == ["no", "no", "yes", "no", "no"]
    assert fired["run_mm"].dropna().tolist() == [4.0]
    assert log.loc[log["firing"].eq("November"), "batch"].tolist() == [
        "", "November bucket", "", "", "November bucket",
    ]  # fmt: skip
    assert (tmp_path / "season" / "november.html").exists()
    first, second = done.stdout.split("Firing November")
    assert "mug 2" in first and "the log holds 3 layers of this glaze" in second


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
        ".venv/bin/python -m pytest -n auto --dist loadfile",
        "source .venv/bin/activate",
    }
    for part in ("-m venv", '--editable ".[test]"', "python -m pytest -n auto --dist loadfile"):
        assert part in script
        assert part in README


def test_every_file_and_name_it_points_to_is_there():
    import runpredict

    package = Path(runpredict.__file__).parent
    for name in re.findall(r"`([\w/]+(?:\.\w+(?:\.\w+)?|/))`", README):
        known = {"layers.csv", "pieces.csv", "limits.csv", "firings.csv", "load.csv", "history.csv",
                 "paired-devices.json", "changes.json"}  # fmt: skip
        if not name.startswith("runpredict.") and name not in known:
            found = [ROOT / name, package.parent / name, package / "data" / name]
            assert any(path.exists() for path in found), name
    for name in re.findall(r"`runpredict\.(\w+)`", README):
        assert name in {*runpredict.__all__, "__all__"}


# What README.md says that no line of it runs, and the test that holds it.
CLAIMS = {
    "nine times in ten": "model/test_learned.py::test_told_and_seen_agree",
    "as a recipe book has them": "test_readme.py::test_recipes_may_be_typed_as_a_book_has_them",
    "946 names of 194 raw materials": "test_readme.py::test_as_many_materials_as_it_says",
    "her own logged results": "model/test_learned.py::test_more_log_makes_it_surer",
    "the cheapest change": "answers/test_advice.py::test_ways_are_ordered_by_what_they_cost",
    "Nothing is told that costs more than it saves": (
        "answers/test_advice.py::test_no_advice_costs_more_than_leaving_all_as_it_is"
    ),
    "Only glaze on the **outside** counts": (
        "tables/test_optional_columns.py::test_a_layer_inside_is_kept_and_not_judged"
    ),
    "how deep it may pool in the well": (
        "answers/test_pools.py::test_it_is_said_in_a_line_wherever_a_pot_is_told"
    ),
    "only where the log bears it": (
        "words/test_reviews.py::test_every_effect_is_said_where_its_range_bears_it_and_only_there"
    ),
    "it is taken as upright": "test_readme.py::test_a_wall_that_is_not_told_is_upright",
    "Columns of your own may stay": "test_readme.py::test_a_spreadsheet_that_is_there_already",
    "Its headings are others?": (
        "commands/test_logbook_commands.py::test_a_spreadsheet_that_exists_goes_in_as_it_is"
    ),
    "what has no number is of all layers": (
        "tables/test_headings.py::test_a_row_with_base_and_top_becomes_two_layers"
    ),
    "holds for the rows right below it": (
        "tables/test_headings.py::test_the_first_row_of_a_pot_carries_its_cells_down"
    ),
    "What is missing or cannot be read is told all at once": (
        "commands/test_main.py::test_all_faults_are_told_at_once_and_twenty_shown"
    ),
    "a firing of one name with two holds or two dates": (
        "tables/test_slips.py::test_two_firings_of_one_name_and_names_alike_are_told_once"
    ),
    "an analysis that sums to 60": (
        "tables/test_rows.py::test_an_analysis_that_sums_to_60_is_asked_about"
    ),
    "the second is shown both sides": (
        "bench/test_nothing_lost.py::test_two_at_one_pot_choose_and_nothing_is_offered_twice"
    ),
    "each is let in once": "bench/test_guard.py::test_a_code_lets_one_device_in_once",
    "is served to this machine alone": (
        "bench/test_guard.py::test_the_server_listens_on_loopback_and_says_nothing_of_itself"
    ),
    "a cookie under the pot": "answers/test_cookies.py::test_a_cookie_holds_what_may_run",
    "Training takes seconds and happens by itself": (
        "model/test_model_store.py::test_a_model_is_trained_once_and_again_when_the_log_changes"
    ),
    "nothing in it is ever deleted": (
        "logbook/test_history.py::test_every_row_can_be_had_as_it_stood_at_any_time"
    ),
    "From three firings on": (
        "answers/test_review.py::test_before_any_trial_the_words_say_so_and_what_it_takes"
    ),
    "The risk of a pot never falls": "model/test_rules.py::test_more_is_never_safer",
    "with or without a log": "model/test_learned.py::test_more_is_never_safer_in_a_trained_model",
    "the spread of the lots widens": (
        "physics/test_lots.py::test_a_recipe_of_what_differs_much_is_told_wider"
    ),
    "up to 24 pots": "pages/test_sheet.py::test_no_more_than_24_pots_are_taped_on_a_page",
    "the heat seen goes before the heat planned": (
        "tables/test_optional_columns.py::test_the_heat_seen_goes_before_the_heat_planned"
    ),
}


@pytest.mark.parametrize("claim", CLAIMS)
def test_every_claim_has_a_test(claim):
    file, name = CLAIMS[claim].split("::")
    assert claim in README
    assert f"def {name}" in (ROOT / "tests" / file).read_text(encoding="utf-8")


def test_recipes_may_be_typed_as_a_book_has_them():
    sentence = README.split("as a recipe book has them")[1].split(". ")[0]
    typed = re.findall(r"`([^`]+)`", sentence)
    assert len(typed) == 6
    known = material_names()
    for name in typed:
        assert known.find(name), name


def test_as_many_materials_as_it_says():
    told = re.search(r"(\d+) names of (\d+) raw materials", README)
    materials = {row["material"] for row in packaged_rows("materials.csv")}
    assert tuple(map(int, told.groups())) == (len(shipped_words()), len(materials))


def test_a_wall_that_is_not_told_is_upright():
    assert DEFAULTS["wall_deg"] == 90.0


def test_a_spreadsheet_that_is_there_already(tmp_path, capsys):
    """Only the headings that README.md names, in another order and case, and one of her own."""
    (told,) = re.findall(r"the headings (.*?), in any order", README)
    headings = re.findall(r"`(\w+)`", told)
    cells = {"piece": "mug 1", "layer": 1, "glaze": "Sea", "coats": 2, "thickness_mm": "",
             "lower_edge_mm": "1/2 in", "upper_edge_mm": 90, "cone": "6"}  # fmt: skip
    assert set(headings) == set(cells)
    mine = pd.DataFrame([{**cells, "Shelf mark": "blue"}])[[*headings[::-1], "Shelf mark"]]
    mine.columns = [heading.upper().replace("_", " ") for heading in mine.columns]
    mine.to_csv(tmp_path / "mine.csv", index=False)
    with pd.ExcelWriter(tmp_path / "mine.xlsx") as book:
        mine.to_excel(book, sheet_name="layers", index=False)
    jar = {"glaze": "Sea", "source": "jar", "behaviour": "fluid", "matures_cone": "6"}
    for column in jar:
        assert f"`{column}`" in README
    pd.DataFrame([jar]).to_csv(tmp_path / "glazes.csv", index=False)
    given = ["--plan", str(tmp_path / "mine.csv"), "--glazes", str(tmp_path / "glazes.csv")]
    assert cli.main(["check", *given]) == 0
    said = capsys.readouterr()
    assert "mug 1" in said.out
    assert "SHELF MARK" in said.err and "kept unread" in said.err
    book = ["--logbook", str(tmp_path / "book")]
    assert (
        cli.main(["import", str(tmp_path / "mine.xlsx"), str(tmp_path / "glazes.csv"), *book]) == 0
    )
    assert cli.main(["check", *book]) == 0
    assert "mug 1" in capsys.readouterr().out
