"""The command line: what a potter types, sees, and finds in her folder."""

import csv
import random
import re
import subprocess
import sys
from importlib.metadata import version

import pandas as pd
import pytest
from helpers.processes import PATIENCE_S
from helpers.tables import written_in

from runpredict.answers.willing import keep_willing, kept_willing
from runpredict.commands import main as cli

SAMPLE = cli.sample_folder()
LAYERS = [
    "piece", "firing", "layer", "glaze", "risk", "run_p05_mm", "run_p50_mm", "run_p95_mm",
    "lower_edge_mm", "basis", "reason",
]  # fmt: skip
PIECES = [
    "piece", "firing", "risk", "layer_to_blame", "wax_height_mm", "cookie", "cookie_diameter_mm",
    "cookie_height_mm", "advice", "after",
]  # fmt: skip
FILES = ("layers", "glazes", "recipes", "schedules")

PLAN = (
    "piece,firing,cone,hold_min,layer,glaze,coats,lower_edge_mm,upper_edge_mm\n"
    "mug,f1,6,10,1,sea,1,8,90\n"
)
GLAZES = "glaze,source,SiO2,Al2O3,B2O3,Na2O,CaO\nsea,analysis,62,13,6,6,13\n"
RECIPES = "glaze,material,parts\nsea,silica,30\nsea,whiting,30\n"


@pytest.fixture
def folder(tmp_path):
    """A small sound plan."""
    (tmp_path / "layers.csv").write_text(PLAN, encoding="utf-8")
    (tmp_path / "glazes.csv").write_text(GLAZES, encoding="utf-8")
    return tmp_path


def check(folder, *more):
    """Exit status of a check of the tables in a folder."""
    options = ["--plan", str(folder / "layers.csv"), "--glazes", str(folder / "glazes.csv")]
    for name in FILES[2:]:
        if (folder / f"{name}.csv").exists():
            options += [f"--{name}", str(folder / f"{name}.csv")]
    return cli.main(["check", *options, *map(str, more)])


def sample_copy(folder):
    for name in FILES:
        (folder / f"{name}.csv").write_bytes((SAMPLE / f"{name}.csv").read_bytes())
    return folder


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def test_a_check_prints_an_answer_and_writes_the_tables(tmp_path, capsys):
    sample_copy(tmp_path)
    assert check(tmp_path, "--out", tmp_path / "out" / "deep") == 0
    shown = capsys.readouterr()
    assert "risk of running past the foot" in shown.out
    assert "mug 3" in shown.out
    assert "never a promise" in shown.out
    assert shown.err == ""
    layers, pieces = (rows_of(tmp_path / "out" / "deep" / f"{n}.csv") for n in ("layers", "pieces"))
    assert layers[0] == LAYERS
    assert pieces[0] == PIECES
    plan = rows_of(tmp_path / "layers.csv")
    assert len(layers) == len(plan)
    assert len(pieces) - 1 == len({tuple(row[:2]) for row in plan[1:]})
    left = written_in(tmp_path / "out" / "deep")
    assert left == {"layers.csv", "pieces.csv", "limits.csv", "firings.csv", "load.csv"}
    for row in pieces[1:]:
        assert row[5] in ("none", "advised", "needed", "dish")
        assert 0 <= float(row[2]) <= 1


def test_demo_runs_the_whole_job_and_says_it_is_invented(tmp_path, capsys):
    assert cli.main(["demo", "--out", str(tmp_path)]) == 0
    assert "invented" in capsys.readouterr().out
    assert rows_of(tmp_path / "pieces.csv")[0] == PIECES


def test_the_version_is_the_one_installed(capsys):
    with pytest.raises(SystemExit) as left:
        cli.main(["--version"])
    assert left.value.code == 0
    assert capsys.readouterr().out == f"runpredict {version('runpredict')}\n"


def test_strict_tells_by_the_exit_status(folder, capsys):
    assert check(folder, "--strict", "--tolerance", 0.999) == 0
    assert check(folder, "--tolerance", 0.0001) == 0
    assert check(folder, "--strict", "--tolerance", 0.0001) == 1
    assert "over under 1 %" not in capsys.readouterr().err


def test_inches(folder, capsys):
    assert check(folder, "--units", "in", "--out", folder / "out") == 0
    assert " in " in capsys.readouterr().out
    answer = pd.read_csv(folder / "out" / "layers.csv")
    assert answer["lower_edge_mm"].tolist() == [8.0]


def test_one_firing_only(tmp_path, capsys):
    sample_copy(tmp_path)
    assert check(tmp_path, "--firing", "Dabchick", "--out", tmp_path / "out") == 0
    assert set(pd.read_csv(tmp_path / "out" / "pieces.csv")["firing"]) == {"Dabchick"}
    assert "Old Nan" not in capsys.readouterr().out
    assert check(tmp_path, "--firing", "frost") == 2
    told = capsys.readouterr().err
    assert '"frost" is not in the plan' in told
    assert '"Dabchick"' in told


def test_every_command_says_what_it_does(capsys):
    (commands,) = (a.choices for a in cli.build_parser()._actions if a.dest == "command")
    for name, parser in commands.items():
        assert parser.description, name


def test_one_glaze(capsys):
    options = ["--glazes", str(SAMPLE / "glazes.csv"), "--recipes", str(SAMPLE / "recipes.csv")]
    assert cli.main(["glaze", "Eel Lantern", *options]) == 0
    shown = capsys.readouterr().out
    assert "Unity formula" in shown
    assert "SiO2" in shown
    assert "Pa s" in shown.splitlines()[0]  # how it flows comes first, in figures she can read
    assert "e+" not in shown
    rows = re.findall(r"^(\d+) .*\(\d+ °F\) +\w+ +([\d,.]+) Pa s", shown, re.MULTILINE)
    assert [cone for cone, _ in rows] == ["06", "04", "1", "4", "6", "8", "10"], "as she fires"
    flow = [float(viscosity.replace(",", "")) for _, viscosity in rows]
    assert flow == sorted(flow, reverse=True)
    assert cli.main(["glaze", "Mackerel Sleeve", *options, "--units", "in"]) == 0
    assert "a jar" in capsys.readouterr().out
    assert cli.main(["glaze", "Nobody", *options]) == 2
    assert 'has no glaze "Nobody"' in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--plan"], "runpredict: the following arguments are required: COMMAND; "),
        (["check", "--plan"], "runpredict check: argument --plan: expected one argument; "),
        (["check", "plan.csv"], 'runpredict check: say before "plan.csv" what it is: --plan, '),
        (["check", "--plam", "x"], 'runpredict check: there is no option "--plam"; did you mean '),
        (["glaze"], "runpredict glaze: the following arguments are required: NAME; "),
        (["glaze", "Clear", "Blue"], 'runpredict glaze: it takes no "Blue"; '),
        (["page", "-z"], 'runpredict page: there is no option "-z"; '),
    ],
)
def test_wrong_use_is_told_in_a_sentence(arguments, told, capsys):
    assert cli.main(arguments) == 2
    said = capsys.readouterr().err
    assert said.startswith(told) and len(said.splitlines()) == 1
    assert "--help" in said


@pytest.mark.parametrize(("typed", "meant"), [("chek", "check"), ("Rewiev", "review")])
def test_a_command_that_is_nearly_one_is_told_which(typed, meant, capsys):
    assert cli.main([typed, "--plan", "x.csv"]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f'runpredict: "{typed}" is not a command; did you mean {meant}?')
    assert len(told.splitlines()) == 1
    assert cli.main(["fire"]) == 2
    told = capsys.readouterr().err
    assert "did you mean" not in told and "check, glaze" in told


@pytest.mark.parametrize("words", [[], ["check"]])
def test_a_check_of_nothing_says_how_to_begin(words, capsys):
    """The three commands it names are commands."""
    assert cli.main(words) == 2
    told = capsys.readouterr()
    assert told.out == ""
    lines = [line.split() for line in told.err.splitlines() if line.startswith("  runpredict")]
    assert [line[1] for line in lines] == ["demo", "template", "check"]
    for line in lines:
        cli.build_parser().parse_args(line[1:2])


def test_a_check_of_half_asks_for_the_rest(folder, capsys):
    assert cli.main(["check", "--glazes", str(folder / "glazes.csv")]) == 2
    told = capsys.readouterr()
    assert "--plan: is missing" in told.err
    assert told.out == ""


@pytest.mark.parametrize("command", ["check", "glaze", "demo"])
def test_every_command_and_option_has_help(command, capsys):
    with pytest.raises(SystemExit) as left:
        cli.main([command, "--help"])
    assert left.value.code == 0
    assert "--units" in capsys.readouterr().out
    for action in cli.build_parser()._subparsers._group_actions[0].choices[command]._actions:
        assert action.help


LONG = "n" * 10_000
BAD_TABLES = [
    # what is wrong, table, its text, what is told
    ("unknown glaze", "layers", PLAN.replace("sea", "lake"),
     "layers.csv, row 2, column glaze: \"lake\" is not in glazes.csv"),
    ("unknown cone", "layers", PLAN.replace(",6,", ",67,"), "layers.csv, row 2, column cone:"),
    ("cone that is a number with parts", "layers", PLAN.replace(",6,", ",6.5,"),
     "layers.csv, row 2, column cone:"),
    ("no cone", "layers", PLAN.replace(",6,", ",,"), "layers.csv, row 2, column cone: is blank"),
    ("lower above upper", "layers", PLAN.replace("8,90", "90,8"),
     "layers.csv, row 2, column lower_edge_mm: the lower edge, 90 mm"),
    ("overlap that cannot be", "layers", PLAN + "mug,f1,6,10,3,sea,1,8,90\n",
     "layers.csv, row 3, column layer: 3 leaves a gap"),
    ("negative length", "layers", PLAN.replace(",8,", ",-8,"),
     "layers.csv, row 2, column lower_edge_mm:"),
    ("absurd length", "layers", PLAN.replace(",90", ",90000"),
     "layers.csv, row 2, column upper_edge_mm:"),
    ("length that is none", "layers", PLAN.replace(",90", ",tall"),
     "layers.csv, row 2, column upper_edge_mm: \"tall\""),
    ("date for a fraction", "layers", PLAN.replace(",8,", ",2-Jan,"),
     "layers.csv, row 2, column lower_edge_mm: \"2-Jan\" is a date"),
    ("huge coats", "layers", PLAN.replace(",1,8", ",1000000,8"),
     "layers.csv, row 2, column coats:"),
    ("parts of a coat", "layers", PLAN.replace(",1,8", ",1.5,8"),
     "layers.csv, row 2, column coats:"),
    ("infinite hold", "layers", PLAN.replace(",10,", ",inf,"), "layers.csv, row 2, column hold"),
    ("duplicate rows", "layers", PLAN + PLAN.splitlines()[1] + "\n",
     "layers.csv, row 3, column layer: the layer (mug, f1, 1) is already in row 2"),
    ("long name", "layers", PLAN.replace("mug", LONG), "layers.csv, row 2, column piece:"),
    ("long unknown glaze", "layers", PLAN.replace("sea", LONG),
     "layers.csv, row 2, column glaze:"),
    ("no rows", "layers", PLAN.splitlines()[0], "layers.csv: has no layer"),
    ("empty", "layers", "", "layers.csv: is empty"),
    ("blank lines", "glazes", "\n\n\n", "glazes.csv: is empty"),
    ("no such columns", "layers", "a,b\n1,2\n", "layers.csv"),
    ("sum of 300", "glazes", GLAZES.replace("62,13,6,6,13", "100,100,25,25,50"),
     "glazes.csv, row 2: the oxides sum to 300"),
    ("oxide over 100", "glazes", GLAZES.replace("62", "6200"),
     "glazes.csv, row 2, column SiO2:"),
    ("word for a number", "glazes", GLAZES.replace("62", "sixty"),
     "glazes.csv, row 2, column SiO2: \"sixty\""),
    ("glaze twice", "glazes", GLAZES + GLAZES.splitlines()[1] + "\n",
     "glazes.csv, row 3, column glaze: the glaze (sea) is already in row 2"),
    ("no flux", "glazes", GLAZES.replace("62,13,6,6,13", "80,20,0,0,0"),
     "glazes.csv, row 2: the analysis has no flux"),
    ("unknown material", "recipes", RECIPES.replace("whiting", "moon dust"),
     "calls for \"moon dust\", which is not in the materials (did you mean \""),
    ("negative parts", "recipes", RECIPES.replace("30", "-30"),
     "recipes.csv, rows 2 and 3, column parts"),
    ("schedule without rate", "schedules",
     "firing,segment,rate_c_per_h,target_c,hold_min\nf1,1,0,1200,0\n",
     "schedules.csv, row 2, column rate_c_per_h:"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "text", "told"), [case[1:] for case in BAD_TABLES], ids=[c[0] for c in BAD_TABLES]
)
def test_bad_tables_are_told_in_one_sentence(folder, capsys, table, text, told):
    if table == "recipes":
        (folder / "glazes.csv").write_text("glaze,source\nsea,recipe\n", encoding="utf-8")
    (folder / f"{table}.csv").write_text(text, encoding="utf-8")
    (folder / "out").mkdir()
    (folder / "out" / "layers.csv").write_text("kept", encoding="utf-8")
    assert check(folder, "--out", folder / "out") == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert told in shown.err
    assert "Traceback" not in shown.err
    assert max(map(len, shown.err.splitlines())) < 400
    assert shown.err.rstrip().endswith((".", "?"))
    assert [path.name for path in (folder / "out").iterdir()] == ["layers.csv"]
    assert (folder / "out" / "layers.csv").read_text(encoding="utf-8") == "kept"


def test_all_faults_are_told_at_once_and_twenty_shown(folder, capsys):
    rows = "".join(f"mug{i},f1,6,10,1,lake{i},1,8,90\n" for i in range(30))
    (folder / "layers.csv").write_text(PLAN + rows, encoding="utf-8")
    assert check(folder) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 21
    assert lines[-1] == "... and 10 more"


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_other_encodings_and_separators_are_read(folder, capsys, encoding, separator):
    for name in ("layers", "glazes"):
        text = (folder / f"{name}.csv").read_text(encoding="utf-8")
        text = text.replace("sea", "séa").replace(",", separator)
        (folder / f"{name}.csv").write_bytes(text.encode(encoding))
    assert check(folder) == 0
    assert "séa" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (bytes(range(256)) * 20, "layers.csv"),
        (b"\0" * 5000, "layers.csv: is not a text file"),
        (b"PK\x03\x04" + b"junk" * 100, "layers.csv: is a spreadsheet workbook"),
        (b"\x89PNG\r\n\x1a\n" + bytes(random.Random(1).randbytes(3000)), "layers.csv"),
        (b'piece,firing\n"never closed', "layers.csv"),
    ],
)
def test_binary_junk_is_told(folder, capsys, content, told):
    (folder / "layers.csv").write_bytes(content)
    assert check(folder) == 2
    shown = capsys.readouterr()
    assert told in shown.err
    assert "Traceback" not in shown.err


def test_a_missing_file_and_a_folder_are_told(folder, capsys):
    (folder / "glazes.csv").unlink()
    assert check(folder) == 2
    assert "glazes.csv: there is no such file in" in capsys.readouterr().err
    (folder / "glazes.csv").mkdir()
    assert check(folder) == 2
    assert "glazes.csv: cannot be read (is a directory)" in capsys.readouterr().err


def test_a_file_name_too_long_is_told(folder, capsys):
    assert cli.main(["check", "--plan", LONG, "--glazes", str(folder / "glazes.csv")]) == 2
    told = capsys.readouterr().err
    assert "cannot be read" in told or "no such file" in told


@pytest.mark.parametrize("in_the_way", ["out", "out/layers.csv", "out/pieces.csv"])
def test_a_folder_that_cannot_be_written_is_told_and_nothing_is(folder, capsys, in_the_way):
    blocked = folder / in_the_way
    if in_the_way == "out":
        blocked.write_text("a file where the folder should be", encoding="utf-8")
    else:
        blocked.mkdir(parents=True)
    before = sorted(folder.rglob("*"))
    assert check(folder, "--out", folder / "out", "--replace") == 2
    shown = capsys.readouterr()
    assert "cannot be written" in shown.err
    assert shown.out == ""
    assert sorted(folder.rglob("*")) == before


@pytest.mark.parametrize("tolerance", ["0", "1", "2", "-0.5", "nan", "inf"])
def test_a_tolerance_that_is_none_is_told(folder, capsys, tolerance):
    assert check(folder, f"--tolerance={tolerance}", "--out", folder / "out") == 2
    assert "tolerance" in capsys.readouterr().err
    assert not (folder / "out").exists()


def test_a_tolerance_in_words_is_told(folder, capsys):
    assert check(folder, "--tolerance", "five") == 2
    assert "--tolerance" in capsys.readouterr().err


def test_names_cannot_inject_formulas_or_control_characters(folder, capsys):
    plan = PLAN.replace("mug", '"=HYPERLINK(""x"")"').replace("f1", "f\x1b[31m")
    (folder / "layers.csv").write_text(plan, encoding="utf-8")
    status = check(folder, "--out", folder / "out")
    shown = capsys.readouterr()
    assert "\x1b" not in shown.out + shown.err
    if status == 0:
        assert rows_of(folder / "out" / "pieces.csv")[1][0].startswith("'=")


def mutated(text, rng):
    """A sample table as an accident leaves it."""
    content = bytearray(text.encode("utf-8"))
    kind = rng.randrange(6)
    if kind == 0:
        for _ in range(rng.randint(1, 30)):
            content[rng.randrange(len(content))] = rng.randrange(256)
        return bytes(content)
    if kind == 1:
        start = rng.randrange(len(content))
        return bytes(content[:start] + content[start + rng.randint(1, 200) :])
    rows = list(csv.reader(text.splitlines()))
    if kind == 2:
        gone = rng.randrange(len(rows[0]))
        rows = [row[:gone] + row[gone + 1 :] for row in rows]
    elif kind == 3:
        rng.shuffle(rows)
    elif kind == 4:
        odd = ["", "-1", "1e308", "nan", "inf", "½", "1/0", "01/02/03", "yes", "\u202e", "999999",
               "0", "1 1/2 in", "٣", "-0", "1e-300", '"', "=1+1", "13", "022"]  # fmt: skip
        for _ in range(rng.randint(1, 6)):
            row = rng.choice(rows)
            row[rng.randrange(len(row))] = rng.choice(odd)
    else:
        for _ in range(3):
            rows.insert(rng.randrange(len(rows)), list(rng.choice(rows)))
            rows.pop(rng.randrange(len(rows)))
    return "\n".join(",".join(f'"{cell}"' for cell in row) for row in rows).encode("utf-8")


@pytest.mark.parametrize(
    "seed", [*range(4), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(4, 44))]
)
def test_damaged_tables_never_end_in_a_traceback(tmp_path, capsys, seed):
    rng = random.Random(seed)
    statuses = set()
    for turn in range(25):
        sample_copy(tmp_path)
        for name in rng.sample(FILES, rng.randint(1, 2)):
            sound = (SAMPLE / f"{name}.csv").read_text(encoding="utf-8")
            (tmp_path / f"{name}.csv").write_bytes(mutated(sound, rng))
        out = tmp_path / f"out{turn}"
        status = check(tmp_path, "--out", out)
        shown = capsys.readouterr()
        assert status in (0, 2)
        assert out.exists() == (status == 0)
        assert bool(shown.out) == (status == 0)
        if status == 2:
            faults = [line for line in shown.err.splitlines() if not line.startswith("Note: ")]
            assert 1 <= len(faults) <= 21  # the first twenty, and how many more
        statuses.add(status)
    assert 2 in statuses


def test_pots_whose_results_were_forgotten_are_told_of(folder, capsys):
    table = folder / "layers.csv"
    table.write_text(PLAN + "bowl,f1,6,10,1,sea,1,8,90\n", encoding="utf-8")
    book = ["--logbook", str(folder / "book")]
    assert cli.main(["import", str(table), str(folder / "glazes.csv"), *book]) == 0
    assert cli.main(["check", *book]) == 0
    assert "no result" not in capsys.readouterr().out, "a firing without any result is the plan"
    assert cli.main(["record", "mug", "--past-foot", "no", *book]) == 0
    assert cli.main(["check", *book]) == 0
    told = capsys.readouterr().out
    asked = "1 pot of firing f1 has no result: was it fine? runpredict record --firing f1 --logbook"
    assert asked in " ".join(told.split())
    (line,) = [line for line in told.splitlines() if "runpredict record" in line]
    assert f"runpredict record --firing f1 --logbook {folder / 'book'}" in line, (
        "not over two lines"
    )
    assert told.index("Firing f1:") < told.index("1 pot of firing f1") < told.index("A prediction")
    assert check(folder) == 0
    assert "no result" not in capsys.readouterr().out


def test_as_a_program():
    done = subprocess.run(
        [sys.executable, "-m", "runpredict", "demo"],
        capture_output=True, text=True, encoding="utf-8", check=False, timeout=PATIENCE_S,
    )  # fmt: skip
    assert done.returncode == 0
    assert done.stderr == ""
    assert "Sample studio, invented" in done.stdout


def test_the_answer_never_replaces_a_table_of_hers(tmp_path, capsys):
    sample_copy(tmp_path)
    head, *rows = (tmp_path / "layers.csv").read_text(encoding="utf-8").splitlines()
    plan = [head, *(row for row in rows if row.startswith("mug 1,"))]
    (tmp_path / "layers.csv").write_text("\n".join(plan), encoding="utf-8")
    (tmp_path / "kiln.html").write_text("hers", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert check(tmp_path, "--out", tmp_path, "--sheet", tmp_path / "kiln.html") == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "layers.csv: is one of the tables that are read" in told.err
    assert "is not empty; give a folder of its own" in told.err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    words = ("--out", tmp_path / "out", "--sheet", tmp_path / "new.html")
    assert check(tmp_path, *words) == 0
    assert check(tmp_path, *words) == 2
    told = capsys.readouterr().err
    assert "out: is not empty; give a folder of its own" in told
    assert "new.html: is there already" in told
    assert check(tmp_path, *words, "--replace") == 0
    assert check(tmp_path, "--out", tmp_path, "--replace") == 2
    assert "layers.csv: is one of the tables that are read" in capsys.readouterr().err


def test_what_the_studio_changes_is_remembered_in_its_logbook(tmp_path, capsys):
    tables = [str(SAMPLE / f"{name}.csv") for name in ("glazes", "recipes", "schedules", "layers")]
    folder = ["--logbook", str(tmp_path / "book")]
    assert cli.main(["import", *tables, *folder]) == 0
    capsys.readouterr()
    assert cli.main(["check", *folder]) == 0
    assert "Leave the lowest" in (first := capsys.readouterr().out) and "at cone 5" in first
    assert cli.main(["check", *folder, "--changes", "cookie", "--costs", "40,1,1"]) == 0
    asked = capsys.readouterr().out
    assert cli.main(["check", *folder]) == 0
    assert capsys.readouterr().out == asked != first
    assert "Leave the lowest" not in asked and "at cone 5" not in asked
    words = " ".join(asked.split())
    assert "a lost pot and its shelf 40, a cookie 1, a pot glazed otherwise 1." in words
    assert cli.main(["check", *folder, "--changes", "prayer"]) == 2
    assert '"prayer" is no change that can be advised' in capsys.readouterr().err


def test_what_is_tolerated_in_a_firing_is_what_its_pots_are_judged_by(tmp_path, capsys):
    tables = [str(SAMPLE / f"{name}.csv") for name in ("glazes", "recipes", "schedules", "layers")]
    book = tmp_path / "book"
    folder = ["--logbook", str(book)]
    assert cli.main(["import", *tables, *folder]) == 0
    keep_willing(book, kept_willing(book).tolerating("old nan", 0.01))
    capsys.readouterr()
    assert cli.main(["check", *folder, "--firing", "Old Nan", "--out", str(tmp_path / "a")]) == 0
    own = capsys.readouterr().out
    given = ["--firing", "Old Nan", "--tolerance", "0.01", "--out", str(tmp_path / "b")]
    assert cli.main(["check", *folder, *given]) == 0
    assert capsys.readouterr().out == own
    assert cli.main(["check", *folder]) == 0
    both = " ".join(capsys.readouterr().out.split())
    assert "past the foot is over 1 %" in both and "past the foot is over 5 %" in both
    assert [both.count(f"Firing {name}:") for name in ("Old Nan", "Dabchick")] == [1, 1]
    assert cli.main(["check", *folder, "--sheet", str(tmp_path / "sheet.html")]) == 2
    assert "name one with --firing" in capsys.readouterr().err
    assert not (tmp_path / "sheet.html").exists()


def test_need_lists_only_what_needs_something(capsys):
    assert cli.main(["demo"]) == 0
    whole = capsys.readouterr().out
    assert cli.main(["demo", "--need"]) == 0
    short = capsys.readouterr().out
    assert len(short.splitlines()) < 0.85 * len(whole.splitlines())
    told = short.partition("Safe as planned")[0]
    assert "bottle 1" in told and "bowl 1" not in told
    assert "bowl 1" in short and "could end" in whole and "could end" not in short


def test_a_logbook_whose_pots_all_have_results_says_so(tmp_path, capsys):
    tables = [str(SAMPLE / f"{name}.csv") for name in ("glazes", "recipes", "schedules", "log")]
    folder = ["--logbook", str(tmp_path / "book")]
    assert cli.main(["import", *tables, *folder]) == 0
    capsys.readouterr()
    assert cli.main(["check", *folder]) == 2
    told = capsys.readouterr().err
    assert "book: every pot has its result, so nothing is planned" in told
    assert "--plan: is missing" not in told
