"""The logbook's commands: what they say, and what outlives a kill, a crowd and a full disk."""

import io
import os
import random
import re
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pandas as pd
import pytest
from helpers.logbook_driver import run
from helpers.processes import PATIENCE_S
from helpers.tables import ANALYSIS, layers, read_workbook, written_in

from runpredict.commands import main as cli
from runpredict.datafiles import OXIDES
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import GUIDE_SHEET
from runpredict.logbook.history import HISTORY
from runpredict.logbook.schema import FILE_NAME
from runpredict.tables import workbooks
from runpredict.tables.columns import COLUMNS, KINDS
from runpredict.tables.csv_files import write_table

TESTS = Path(__file__).parents[1]
GLAZES = pd.DataFrame([ANALYSIS, {"glaze": "ash", "source": "jar"}])
MUG = layers({}, {"layer": 2, "glaze": "ash", "lower_edge_mm": 40.0})


@pytest.fixture
def studio(tmp_path, monkeypatch):
    """A folder with the tables of one piece, logged."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    write_table(MUG, "layers.csv")
    write_table(GLAZES, "glazes.csv")
    assert run(["import", "layers.csv", "glazes.csv"]) == 0
    return tmp_path


HERS = """Pot,Clay,Base glaze,Base coats,Top glaze,Top coats,Stops,Top stops,Height (in),Cone
m1,grey,Sea,2,ash,1,1/4,1 1/2,3.5,6
m2,grey,Sea,2,,,1/4,,3.5,6
m3,grey,Sea,2,Sae,1,1/4,1,3.5,6
m4,grey,Sea,two,ash,1,1/4,1,3.5,6
"""
COLUMNS_OF_HERS = (
    "pot=piece,clay=body,stops=edge 1 in,top stops=edge 2 in,height (in)=upper_edge_mm"
)


def test_a_spreadsheet_that_exists_goes_in_as_it_is(tmp_path, monkeypatch, capsys):
    """One row a pot, her headings and inches, a glaze misspelled and a cell that is no number."""
    monkeypatch.chdir(tmp_path)
    Path("hers.csv").write_text(HERS, encoding="utf-8")
    write_table(GLAZES.replace({"glaze": {ANALYSIS["glaze"]: "Sea"}}), "glazes.csv")
    files = ["import", "hers.csv", "glazes.csv"]
    assert cli.main(files) == 2
    told = capsys.readouterr().err
    assert 'Is it your "Pot"? Then import with --columns "Pot=piece".' in told
    assert cli.main([*files, "--columns", COLUMNS_OF_HERS]) == 2
    told = capsys.readouterr().err
    assert 'row 5, column Base coats: "two" is not a number' in told
    Path("one.csv").write_text(HERS.replace("Sae", "ash"), encoding="utf-8")
    assert cli.main(["import", "one.csv", "glazes.csv", "--columns", COLUMNS_OF_HERS]) == 2
    assert "--leave-out: would take in all pieces but these." in capsys.readouterr().err
    Path("one.csv").unlink()
    assert written_in(tmp_path) == {"hers.csv", "glazes.csv"}
    assert cli.main([*files, "--columns", COLUMNS_OF_HERS, "--leave-out"]) == 0
    told = capsys.readouterr()
    assert "layers: 3 added, 0 corrected, 0 unchanged, 2 pieces left out" in told.out
    assert 'row 4, column Top glaze: "m3" is left out: "Sae" is not in the logbook' in told.err
    assert 'row 5, column Base coats: "m4" is left out: "two" is not a number' in told.err
    with Logbook.open("logbook") as log:
        laid = log.layers()
    assert laid["piece"].tolist() == ["m1", "m1", "m2"]
    assert laid["lower_edge_mm"].tolist() == pytest.approx([6.35, 38.1, 6.35])
    assert set(laid["upper_edge_mm"]) == {88.9} and set(laid["body"]) == {"grey"}
    # What her columns are is asked once: the logbook knows, for import and check.
    assert cli.main(["import", "hers.csv", "--leave-out"]) == 0
    assert "0 added, 0 corrected, 3 unchanged" in capsys.readouterr().out
    Path("plan.csv").write_text("\n".join(HERS.splitlines()[:3]), encoding="utf-8")
    assert cli.main(["check", "--plan", "plan.csv", "--logbook", "logbook"]) == 0
    assert "m2" in capsys.readouterr().out


def test_an_import_tells_of_materials_by_glaze_and_line(tmp_path, monkeypatch, capsys):
    """A misspelled one with the three nearest; a bare feldspar is taken as typical, saying so."""
    monkeypatch.chdir(tmp_path)
    Path("glazes.csv").write_text("glaze,source\nPond,recipe\n", encoding="utf-8")
    lines = "glaze,material,parts\nPond,Feldspar,60\nPond,whiting,20\nPond,{},20\n"
    Path("recipes.csv").write_text(lines.format("Slica"), encoding="utf-8")
    assert cli.main(["import", "glazes.csv", "recipes.csv"]) == 2
    told = capsys.readouterr().err
    assert 'recipes.csv, row 4, column material: "Pond" calls for "Slica"' in told
    assert re.search(r'did you mean "silica" or "[^"]+" or "[^"]+"\?', told)
    Path("recipes.csv").write_text(lines.format("Silica"), encoding="utf-8")
    assert cli.main(["import", "glazes.csv", "recipes.csv"]) == 0
    assert cli.main(["glaze", "Pond", "--logbook", "logbook"]) == 0
    (note,) = re.findall("Note: .*", capsys.readouterr().err)
    assert '"Feldspar" is taken for a typical one' in note


def test_a_workbook_with_one_sheet_of_any_name_goes_in(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_table(GLAZES, "glazes.csv")
    with pd.ExcelWriter("mine.xlsx") as book:
        MUG.to_excel(book, sheet_name="Sheet1", index=False)
    assert run(["import", "mine.xlsx", "glazes.csv"]) == 0


@pytest.fixture
def terminal(monkeypatch):
    """Answers typed in a terminal."""

    def type_in(*answers):
        waiting = iter(answers)

        def ask(question):
            print(question)
            answer = next(waiting, None)
            if answer is None:
                raise EOFError
            return answer

        monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
        monkeypatch.setattr("builtins.input", ask)

    return type_in


def outcomes(folder="logbook"):
    with Logbook.open(folder) as log:
        frame = log.layers()
    return list(zip(frame["run_mm"].fillna(-1.0), frame["past_foot"], strict=True))


def test_import_tells_counts(studio, capsys):
    assert run(["import", "layers.csv", "glazes.csv", "--logbook", "two"]) == 0
    told = capsys.readouterr().out
    assert "layers: 2 added, 0 corrected, 0 unchanged" in told
    assert f"two/{FILE_NAME}" in told
    write_table(MUG.assign(coats=[2, 3]), "layers.csv")
    assert run(["import", "layers.csv"]) == 0
    assert "layers: 0 added, 1 corrected, 1 unchanged" in capsys.readouterr().out


def test_tables_are_known_by_their_headings(studio, capsys):
    (studio / "a.txt").write_text("Target (C);Rate C per h;SEGMENT;firing\n600;100;1;slow\n")
    (studio / "b.csv").write_bytes("material\tSiO2\tK2O\nspar\t66\t17\n".encode("utf-16"))
    (studio / "c.csv").write_text("sep=,\nparts,material,glaze\n40,spar,ash\n")
    (studio / "d.csv").write_text("\nglaze,note\nash,runs\n")
    files = ["a.txt", "b.csv", "c.csv", "d.csv"]
    header = (studio / "a.txt").read_text().replace("Target (C)", "target_c")
    (studio / "a.txt").write_text(header.replace("Rate C per h", "rate_c_per_h"))
    assert run(["import", *files]) == 0
    told = capsys.readouterr().out
    for kind in ("schedules", "materials", "recipes"):
        assert f"{kind}: 1 added" in told
    assert "glazes: 0 added, 1 corrected" in told


def test_all_faults_of_all_files_and_nothing_imported(studio, capsys):
    before = (studio / "logbook" / FILE_NAME).read_bytes()
    write_table(MUG.assign(piece="bowl", coats=["two", 1]), "bad.csv")
    write_table(GLAZES.assign(glaze=["new", "new"]), "glazes.csv")
    (studio / "empty.csv").write_text("")
    capsys.readouterr()
    assert run(["import", "bad.csv", "glazes.csv", "empty.csv", "layers.csv"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert [line.split(":")[0] for line in told.err.splitlines()] == [
        "empty.csv",
        "bad.csv, row 2, column coats",
        "glazes.csv, row 3, column glaze",
    ]
    assert (studio / "logbook" / FILE_NAME).read_bytes() == before


def test_export_writes_csv_and_a_workbook(studio, capsys):
    assert run(["export", "out", "--xlsx", "book.xlsx"]) == 0
    names = written_in(studio / "out")
    assert names == {f"{name}.csv" for name in (*KINDS, HISTORY)}
    assert "Wrote the logbook to out." in capsys.readouterr().out
    assert run(["import", "book.xlsx", "--logbook", "two"]) == 0
    assert run(["export", "out2", "--logbook", "two"]) == 0
    for kind in KINDS:
        assert (studio / "out" / f"{kind}.csv").read_bytes() == (
            studio / "out2" / f"{kind}.csv"
        ).read_bytes()
    told = pd.read_csv(studio / "out" / "history.csv")
    assert told["table"].value_counts().to_dict() == {"layers": 2, "glazes": 2}
    assert (
        run(
            [
                "import",
                *(str(studio / "out" / name) for name in sorted(names)),
                "--logbook",
                "three",
            ]
        )
        == 0
    )
    assert run(["export"]) == 2
    assert run(["export", "out3", "--logbook", "nowhere"]) == 2
    assert not (studio / "out3").exists()


def test_template_is_a_blank_form_with_words(studio, capsys):
    assert run(["template", "form.xlsx"]) == 0
    sheets = {s.title: s.records for s in workbooks.workbook_sheets(studio / "form.xlsx")}
    assert list(sheets)[:2] == [GUIDE_SHEET, "layers"]
    guide = {(row[0], row[1]) for row in sheets[GUIDE_SHEET][1:]}
    for kind in KINDS:
        assert sheets[kind] == [[column.name for column in COLUMNS[kind]]]
        explained = {column for table, column in guide if table == kind}
        named = {column.name for column in COLUMNS[kind]} - set(OXIDES)
        assert named <= explained, "every column is explained"
    assert sheets[GUIDE_SHEET][0][3] == "example (invented)"
    content = (studio / "form.xlsx").read_bytes()
    assert run(["template", "form.xlsx"]) == 2
    assert run(["template", "form.csv"]) == 2
    assert (studio / "form.xlsx").read_bytes() == content
    before = (studio / "logbook" / FILE_NAME).read_bytes()
    assert run(["import", "form.xlsx"]) == 0
    assert (studio / "logbook" / FILE_NAME).read_bytes() == before


def test_the_examples_of_the_form_can_be_imported_when_typed(studio):
    from openpyxl import load_workbook

    run(["template", "form.xlsx"])
    book = load_workbook(studio / "form.xlsx")
    for _, kind, column, example in (
        (None, row[0], row[1], row[3]) for row in book[GUIDE_SHEET].iter_rows(2, values_only=True)
    ):
        if kind in KINDS:
            headings = [cell.value for cell in book[kind][1]]
            names = ["SiO2", "K2O"] if "..." in column else [column]
            for name in names:
                cell = 12 if name == "K2O" else example
                book[kind].cell(2, headings.index(name) + 1).value = cell
    book["glazes"].cell(2, 2).value = "analysis"
    book["materials"].cell(2, 2).value = 60
    book.save(studio / "filled.xlsx")
    assert set(read_workbook(studio / "filled.xlsx")) == set(KINDS)
    assert run(["import", "filled.xlsx", "--logbook", "filled"]) == 0
    with Logbook.open("filled") as log:
        row = log.layers().iloc[0]
    assert row["run_mm"] == pytest.approx(9.525)  # 3/8 in, by definition 25.4 mm to the inch
    assert row["cone"] == "6"


def test_help_of_record_says_what_a_word_may_be(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    with pytest.raises(SystemExit):
        run(["record", "--help"])
    told = capsys.readouterr().out
    assert "--lost cracked|shivered|crawled|exploded|stuck|other" in told
    assert "--photo FILE" in told
    assert "--witness-cone CONE" in told
    assert "WORD" not in told


def test_record_in_options(studio, capsys):
    words = ["record", "mug", "--firing", "f1", "--layer", "1", "--run", "3/8 in"]
    assert run([*words, "--past-foot", "yes", "--note", "sharp drip"]) == 0
    told = capsys.readouterr().out.splitlines()[-1]
    assert told == "Logged: mug (f1), layer 1, sea: ran 9.5 mm (3/8 in), past the foot."
    assert outcomes() == [(pytest.approx(9.525), "yes"), (-1.0, "")]
    assert run(["record", "Mug", "--past-foot", "no"]) == 2
    assert "a run of 9.5 mm from 5 mm above the foot is past it" in capsys.readouterr().err
    assert run(["record", "Mug", "--layer", "1", "--run", "4", "--past-foot", "no"]) == 0
    assert run(["record", "Mug", "--past-foot", "no"]) == 0
    assert capsys.readouterr().out.startswith("Logged: mug (f1), layer 1, sea: ")
    assert outcomes() == [(4.0, "no"), (-1.0, "no")]
    assert run(["record", "mug", "--layer", "1", "--run", "unknown"]) == 0
    assert outcomes() == [(-1.0, "no"), (-1.0, "no")]
    with Logbook.open("logbook") as log:
        assert log.layers()["note"].tolist() == ["sharp drip", ""]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["mug"], '--past-foot: is missing for "mug", layer 1'),
        (["mug", "--layer", "1", "--run", "4"], "--past-foot: is missing"),
        (["mug", "--run", "4", "--past-foot", "no"], '--layer: "mug" has 2 layers'),
        (["mug", "--past-foot", "yes"], '--layer: "mug" has 2 layers'),
        (["mug", "--layer", "3", "--past-foot", "no"], "mug: has no layer 3"),
        (["jug", "--past-foot", "no"], 'did you mean "mug"'),
        (["mug", "--firing", "f9", "--past-foot", "no"], 'not in a firing "f9"'),
        (["mug", "--layer", "1", "--run", "a lot", "--past-foot", "no"], "--run:"),
        (["mug", "--layer", "1", "--run", "9 m", "--past-foot", "no"], "--run:"),
        (["mug", "--layer", "1", "--run", "90 in", "--past-foot", "yes"], "is more than"),
    ],
)
def test_record_without_a_terminal_says_what_is_missing(studio, capsys, words, sentence):
    capsys.readouterr()
    assert run(["record", *words]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert sentence in told.err
    assert len(told.err.splitlines()) == 1
    assert outcomes() == [(-1.0, ""), (-1.0, "")]


def test_a_named_piece_is_walked_through_in_a_terminal(studio, terminal, capsys):
    write_table(MUG.assign(piece="other"), "more.csv")
    run(["import", "more.csv"])
    capsys.readouterr()
    terminal("maybe", "p 1 1/2 in", "n")
    assert run(["record", "Mug"]) == 0
    with Logbook.open("logbook") as log:
        past = log.layers().groupby("piece")["past_foot"].agg(list)
    assert past.to_dict() == {"mug": ["yes", "no"], "other": ["", ""]}
    told = capsys.readouterr()
    assert '"maybe" is not a length' in told.err
    assert told.out.startswith("mug: 2 layers, 0 of them written already.")
    assert "mug: 2 of 2 layers have their result." in told.out


def test_which_firing_of_a_piece_has_to_be_said(studio, terminal, capsys):
    write_table(MUG.assign(firing="f2"), "more.csv")
    run(["import", "more.csv"])
    terminal("2", "q")
    assert run(["record", "mug"]) == 2
    assert 'mug: is in the firings "f1", "f2"; say which with --firing.' in capsys.readouterr().err
    assert run(["record", "mug", "--firing", "f2"]) == 0
    assert outcomes() == [(-1.0, ""), (-1.0, ""), (2.0, "no"), (-1.0, "")]


# What happens to the file.

WORKER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from helpers.logbook_driver import run
folder, first, last = Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
row = "pot {n},f1,6,1,sea,2,5,90\\n"
head = "piece,firing,cone,layer,glaze,coats,lower_edge_mm,upper_edge_mm\\n"
for n in range(first, last):
    file = folder / f"{n}.csv"
    file.write_text(head + row.format(n=n))
    log = ["--logbook", str(folder / "log")]
    assert run(["import", str(file), str(folder / "glazes.csv"), *log]) == 0
    print("imported", n, flush=True)
    assert run(["record", f"pot {n}", "--run", str(n % 50), "--past-foot", "yes", *log]) == 0
    file.unlink()
"""


def start(folder, first, last):
    words = [sys.executable, "-c", WORKER, str(TESTS), str(folder), str(first), str(last)]
    pipe = subprocess.PIPE
    # Unbuffered, or communicate would lose what readline has read ahead.
    return subprocess.Popen(words, stdout=pipe, stderr=pipe, stdin=subprocess.DEVNULL, bufsize=0)


def assert_whole(folder):
    with closing(sqlite3.connect(folder / "log" / FILE_NAME)) as bare:
        assert bare.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert bare.execute("PRAGMA foreign_key_check").fetchall() == []


def confirmed(told):
    imported = {int(n) for n in re.findall(rb"imported (\d+)\n", told)}
    recorded = {int(n) for n in re.findall(rb"Logged: pot (\d+) .*\.\n", told)}
    return imported, recorded


def logged(folder):
    with Logbook.open(folder / "log") as log:
        frame = log.layers()
    assert frame["piece"].is_unique
    numbers = frame["piece"].str.removeprefix("pot ").astype(int)
    done = frame["past_foot"] == "yes"
    assert (frame.loc[done, "run_mm"] == numbers[done] % 50).all()
    return set(numbers), set(numbers[done])


def kill_at_random(folder, times, seed):
    """Kill a process that imports and records, again and again on one logbook."""
    write_table(GLAZES, folder / "glazes.csv")
    chance = random.Random(seed)
    imported, recorded, journals = set(), set(), 0
    for trial in range(times):
        process = start(folder, 1000 * trial, 1000 * trial + 1000)
        head, wanted = b"", (b"", b"imported", b"Logged")[trial % 3]
        while wanted not in head:
            line = process.stdout.readline()
            assert line
            head += line
        time.sleep(chance.uniform(0.0, 0.3 if head else 0.6))
        process.send_signal(signal.SIGKILL)
        told, complaint = process.communicate()
        assert complaint == b""
        journals += (folder / "log" / f"{FILE_NAME}-journal").exists()
        now_imported, now_recorded = confirmed(head + told)
        imported |= now_imported
        recorded |= now_recorded
        if imported:
            assert_whole(folder)
            rows, results = logged(folder)
            assert imported <= rows
            assert recorded <= results
    return len(imported), len(recorded), journals


def test_killed_at_random_it_keeps_what_was_confirmed(tmp_path):
    imported, recorded, _ = kill_at_random(tmp_path, 5, seed=1)
    assert imported > 0
    assert recorded > 0


@pytest.mark.slow
def test_killed_200_times_it_keeps_what_was_confirmed(tmp_path):
    imported, recorded, journals = kill_at_random(tmp_path, 200, seed=2)
    print(f"{imported} imports, {recorded} records confirmed; {journals} killed while writing")
    assert journals > 0, "the kills must hit the writing itself"
    assert recorded > 50


@pytest.mark.parametrize("each", [3, pytest.param(25, marks=pytest.mark.slow)])
def test_eight_processes_at_once_lose_nothing(tmp_path, each):
    write_table(GLAZES, tmp_path / "glazes.csv")
    crowd = [start(tmp_path, 100 * n, 100 * n + each) for n in range(8)]
    for process in crowd:
        _, complaint = process.communicate(timeout=PATIENCE_S)
        assert (process.returncode, complaint) == (0, b"")
    assert_whole(tmp_path)
    everyone = {100 * n + m for n in range(8) for m in range(each)}
    assert logged(tmp_path) == (everyone, everyone)


def content_of(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def assert_refused(words, reason, capsys):
    capsys.readouterr()
    assert run(words) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert len(told.err.splitlines()) == 1
    assert re.search(reason, told.err)


def big_table(folder):
    """More than fits in a small disk."""
    many = layers(*({"piece": f"p{n}", "note": "x" * 900} for n in range(2000)))
    write_table(many, folder / "many.csv")


def test_a_file_that_may_not_grow_gives_one_sentence(studio, capsys):
    """As with a quota: no file of this process may grow beyond the limit."""
    big_table(studio)
    before = content_of(studio / "logbook")
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, limits[1]))
    try:
        assert_refused(["import", "many.csv"], "disk.*nothing was changed", capsys)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    after = content_of(studio / "logbook")
    assert after[FILE_NAME] == before[FILE_NAME]
    assert set(after) <= {FILE_NAME, "logbook-backup.sqlite3"}
    assert run(["import", "many.csv"]) == 0


def test_a_database_that_is_full_gives_one_sentence(studio, capsys, monkeypatch):
    from runpredict.logbook import schema as logbook_schema

    settle = logbook_schema._settle

    def settle_full(connection):
        settle(connection)
        connection.execute("PRAGMA max_page_count = 1")  # no more than it has

    big_table(studio)
    before = (studio / "logbook" / FILE_NAME).read_bytes()
    monkeypatch.setattr(logbook_schema, "_settle", settle_full)
    assert_refused(["import", "many.csv"], "disk is full", capsys)
    assert (studio / "logbook" / FILE_NAME).read_bytes() == before


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 1 MB of its own; only root may mount one."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    words = [mount or "mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)]
    if mount is None or subprocess.run(words, capture_output=True, check=False).returncode != 0:
        pytest.skip("this account may not mount a disk")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_gives_one_sentence_and_changes_nothing(studio, small_disk, capsys):
    big_table(studio)
    log = ["--logbook", small_disk / "log"]
    assert run(["import", "layers.csv", "glazes.csv", *log]) == 0
    before = content_of(small_disk / "log")
    assert_refused(["import", "many.csv", *log], "disk is full|no space", capsys)
    assert content_of(small_disk / "log")[FILE_NAME] == before[FILE_NAME]
    with (small_disk / "filler").open("wb", buffering=0) as filler, pytest.raises(OSError):
        while True:
            filler.write(bytes(512))
    before = content_of(small_disk / "log")
    reason = "disk is full|no space|cannot be written|cannot be opened"
    assert_refused(["record", "mug", "--past-foot", "no", *log], reason, capsys)
    assert_refused(
        ["import", "layers.csv", "glazes.csv", "--logbook", small_disk / "b"], reason, capsys
    )
    assert content_of(small_disk / "log") == before
    assert not (small_disk / "b" / FILE_NAME).exists()
    (small_disk / "filler").unlink()
    assert run(["record", "mug", "--past-foot", "no", *log]) == 0


def test_a_read_only_folder_can_be_read_and_not_written(studio, small_disk, capsys):
    log = ["--logbook", small_disk / "log"]
    assert run(["import", "layers.csv", "glazes.csv", *log]) == 0
    write_table(MUG.assign(note="new"), "layers.csv")
    before = content_of(small_disk / "log")
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    assert_refused(["record", "mug", "--past-foot", "no", *log], "read-only.*nothing", capsys)
    assert_refused(["import", "layers.csv", *log], "read-only.*nothing", capsys)
    words = ["import", "layers.csv", "glazes.csv", "--logbook", small_disk / "new"]
    assert_refused(words, "read-only.*nothing", capsys)
    assert run(["export", "out", *log]) == 0
    assert content_of(small_disk / "log") == before
    assert not os.path.exists(small_disk / "new")


def test_a_logbook_in_use_gives_one_sentence(studio, capsys, monkeypatch):
    monkeypatch.setattr("runpredict.logbook.schema.BUSY_TIMEOUT_S", 0.1)
    with closing(sqlite3.connect(studio / "logbook" / FILE_NAME, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert_refused(["record", "mug", "--past-foot", "no"], "in use by another", capsys)
        other.execute("ROLLBACK")
    assert run(["record", "mug", "--past-foot", "no"]) == 0


def test_an_export_writes_over_nothing_unasked(studio, capsys):
    assert run(["template", "form.xlsx"]) == 0
    before = content_of(studio)
    assert run(["export", ".", "--xlsx", "form.xlsx"]) == 2
    told = capsys.readouterr().err
    assert [line.split(":")[0] for line in told.splitlines()] == ["."]
    assert content_of(studio) == before
    words = ["export", "out", "--xlsx", "out/book.xlsx"]
    assert run(words) == 0
    assert run(words) == 2
    assert run([*words, "--replace"]) == 0


def test_an_export_to_a_full_or_read_only_disk_changes_nothing(studio, small_disk, capsys):
    out = small_disk / "out"
    assert run(["export", out]) == 0
    before = content_of(out)
    big_table(studio)
    with (small_disk / "filler").open("wb", buffering=0) as filler, pytest.raises(OSError):
        while True:
            filler.write(bytes(4096))
    assert run(["import", "many.csv"]) == 0
    assert_refused(["export", out, "--replace"], "no space", capsys)
    assert content_of(out) == before
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    assert_refused(["export", out, "--replace"], "read-only", capsys)
    assert run(["import", *(out / f"{kind}.csv" for kind in ("glazes", "layers")),
                "--logbook", "two"]) == 0  # fmt: skip
    assert content_of(out) == before


EXPORT = """
import os, sys
sys.path.insert(0, sys.argv[1])
from helpers.logbook_driver import run
sys.stdout, told = open(os.devnull, "w"), sys.stdout
while True:
    assert run(["export", sys.argv[2] + "/out", "--logbook", sys.argv[3], "--replace"]) == 0
    print("go", file=told, flush=True)
"""


@pytest.mark.parametrize("times", [8, pytest.param(200, marks=pytest.mark.slow)])
def test_a_killed_export_leaves_every_file_whole(studio, times):
    """Two logbooks exported to one folder in turn, killed at any moment: no file is half."""
    assert run(["import", "glazes.csv", "layers.csv", "--logbook", "other"]) == 0
    assert run(["record", "mug", "--past-foot", "no", "--logbook", "other"]) == 0
    whole = []
    for folder in ("logbook", "other"):
        assert run(["export", f"only_{folder}", "--logbook", folder]) == 0
        whole.append(content_of(studio / f"only_{folder}"))
    chance = random.Random(3)
    for trial in range(times):
        source = ("logbook", "other")[trial % 2]
        words = [sys.executable, "-c", EXPORT, str(TESTS), str(studio), source]
        with subprocess.Popen(words, stdout=subprocess.PIPE) as process:
            assert process.stdout.readline() == b"go\n"
            time.sleep(chance.uniform(0.0, 0.15))
            process.send_signal(signal.SIGKILL)
        left = content_of(studio / "out")
        for name in whole[0]:
            assert left[name] in [files[name] for files in whole]


def test_the_logbook_beside_her_is_meant_where_no_table_is_named(tmp_path, monkeypatch, capsys):
    """As `import` and `record` have it: what she is told to type next works as it stands."""
    monkeypatch.chdir(tmp_path)
    sample = cli.sample_folder()
    tables = [str(sample / f"{name}.csv") for name in ("glazes", "recipes", "log", "schedules")]
    assert cli.main(["import", *tables]) == 0
    for words in (["review"], ["glaze", "Eel Lantern"], ["combinations"]):
        capsys.readouterr()
        assert cli.main(words) == 0, capsys.readouterr().err
        said = capsys.readouterr().out
        assert cli.main([*words, "--logbook", "logbook"]) == 0
        assert capsys.readouterr().out == said
    assert cli.main(["check"]) == 2
    assert "every pot has its result" in capsys.readouterr().err
    assert cli.main(["review", "--glazes", tables[0]]) == 2
    assert "--log: is missing; give its file, or your logbook" in capsys.readouterr().err
