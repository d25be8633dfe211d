"""The logbook keeps every line, whatever comes in and whatever happens to its file."""

import csv
import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, LAYER, faults_of, layers
from hypothesis import given, settings
from hypothesis import strategies as st

from runpredict.answers.willing import Willing, keep_willing
from runpredict.errors import BadInput, TableWarning
from runpredict.logbook import schema as logbook_schema
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files
from runpredict.logbook.results import Outcome
from runpredict.logbook.rows import Counts
from runpredict.logbook.schema import BACKUP_NAME, FILE_NAME
from runpredict.tables import headings
from runpredict.tables.columns import COLUMNS, KINDS, column_of
from runpredict.tables.rows import check_table

GLAZES = pd.DataFrame([ANALYSIS, {"glaze": "ash", "source": "jar", "behaviour": "runny"}])
RECIPES = pd.DataFrame(
    {"glaze": "ash", "material": ["whiting", "clay"], "parts": [40.0, 60.0], "addition": ""}
)
SCHEDULES = pd.DataFrame(
    {"firing": "slow", "segment": [1, 2], "rate_c_per_h": 100.0, "target_c": [600.0, 1220.0]}
)
MATERIALS = pd.DataFrame([{"material": "own spar", "SiO2": 66.0, "K2O": 17.0, "Al2O3": 17.0}])
TWO = layers({}, {"layer": 2, "glaze": "ash", "lower_edge_mm": 40.0, "note": "over, thick"})
TABLES = {
    "layers": TWO,
    "glazes": GLAZES,
    "recipes": RECIPES,
    "materials": MATERIALS,
    "schedules": SCHEDULES,
}
CORRECTED, UNCHANGED = Counts(0, 1, 0), Counts(0, 0, 1)


@pytest.fixture
def log(tmp_path):
    with Logbook.open(tmp_path / "log", create=True) as log:
        log.import_tables(TABLES)
        yield log


def exported(log, folder):
    log.export(folder)
    return {kind: (folder / f"{kind}.csv").read_bytes() for kind in KINDS}


@pytest.mark.skipif(os.name != "posix", reason="other machines have other rights")
def test_nobody_else_on_the_machine_reads_a_logbook(tmp_path):
    """Nor what lies beside it, whatever a new file is allowed there."""
    before = os.umask(0)
    try:
        with Logbook.open(tmp_path / "log", create=True) as book:
            book.import_tables(TABLES)
            keep_willing(tmp_path / "log", Willing())
            book.remove("mug")
            beside = [*(tmp_path / "log").rglob("*"), tmp_path / "log"]
            open_to_others = [file.name for file in beside if file.stat().st_mode & 0o077]
    finally:
        os.umask(before)
    assert len(beside) > 2 and open_to_others == []


def test_tables_come_back_as_checked(log):
    for kind, raw in TABLES.items():
        pd.testing.assert_frame_equal(log.table(kind), check_table(raw, kind))
    pd.testing.assert_frame_equal(log.layers(), log.table("layers"))
    assert list(log.glazes()["glaze"]) == ["sea", "ash"]
    assert [len(log.recipes()), len(log.materials()), len(log.schedules())] == [2, 1, 2]


def test_export_then_import_is_the_same_logbook_byte_for_byte(log, tmp_path):
    with pytest.warns(TableWarning, match="not known here"):
        log.import_tables({"glazes": GLAZES.assign(bucket=["=tall", ""], rack="")})
    first = exported(log, tmp_path / "first")
    log.export(xlsx=tmp_path / "book.xlsx")
    with (tmp_path / "first" / "glazes.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["bucket"] for row in rows] == ["'=tall", ""]
    assert list(rows[0])[-2:] == ["bucket", "rack"]
    files = [tmp_path / "first" / f"{kind}.csv" for kind in reversed(KINDS)]
    files.append(tmp_path / "first" / "history.csv")
    for number, given_files in enumerate((files, [tmp_path / "book.xlsx"])):
        folder = tmp_path / f"again{number}"
        with pytest.warns(TableWarning) as told:
            import_files(given_files, folder)
        words = " ".join(str(warning.message) for warning in told)
        assert "not known here" in words
        assert "history.csv: is not" in words or "sheet history: is not imported" in words
        with Logbook.open(folder) as again:
            assert exported(again, folder / "out") == first


@settings(max_examples=25)
@given(
    notes=st.lists(st.text(max_size=40), min_size=1, max_size=4),
    length_mm=st.floats(0.0, 5.0),
    data=st.data(),
)
def test_any_text_survives_the_round_trip(tmp_path_factory, notes, length_mm, data):
    tmp_path = tmp_path_factory.mktemp("trip")
    extra = data.draw(st.lists(st.text(max_size=40), min_size=len(notes), max_size=len(notes)))
    raw = layers(*({"piece": f"p{i}", "note": note} for i, note in enumerate(notes)))
    raw = raw.assign(lower_edge_mm=length_mm, rack=extra)
    with Logbook.open(tmp_path / "a", create=True) as log:
        try:
            with pytest.warns(TableWarning):
                log.import_tables({"layers": raw, "glazes": GLAZES})
        except BadInput as bad:
            assert all(fault.column in ("note", "rack") for fault in bad.faults)
            return
        first = exported(log, tmp_path / "first")
    with pytest.warns(TableWarning):
        import_files([tmp_path / "first" / f"{kind}.csv" for kind in KINDS], tmp_path / "b")
    with Logbook.open(tmp_path / "b") as log:
        assert exported(log, tmp_path / "second") == first
        assert log.layers()["lower_edge_mm"].tolist() == [length_mm] * len(notes)


def test_import_twice_adds_nothing(log, tmp_path):
    before = log.file.read_bytes()
    counts = log.import_tables(TABLES)
    assert {kind: (c.added, c.corrected) for kind, c in counts.items()} == dict.fromkeys(
        KINDS, (0, 0)
    )
    assert sum(count.unchanged for count in counts.values()) == 9
    assert log.file.read_bytes() == before


def test_a_correction_keeps_what_stood(log):
    assert log.import_tables({"layers": layers({"coats": 3})})["layers"] == CORRECTED
    assert log.layers()["coats"].tolist() == [3, 2]
    history = log.history("layers", piece="mug", layer=1)
    assert history["coats"].tolist() == [2, 3]
    assert history["revision"].tolist() == [1, 2]
    assert history["action"].tolist() == ["import", "import"]
    assert history["logged_at"].str.endswith("+00:00").all()


def test_a_blank_outcome_never_blanks_a_logged_one(log):
    log.record("mug", [Outcome(1, 4.0, "yes", "dripped")])
    assert log.import_tables({"layers": TWO})["layers"] == Counts(0, 0, 2)
    counts = log.import_tables(
        {"layers": layers({"body": "porcelain"}, {"layer": 2, "glaze": "ash"})}
    )
    assert counts["layers"] == Counts(0, 2, 0)
    first = log.layers().iloc[0]
    assert (first["run_mm"], first["past_foot"], first["note"]) == (4.0, "yes", "dripped")
    assert first["body"] == "porcelain"


def test_an_oxide_left_out_of_a_newer_analysis_is_gone(log):
    log.import_tables({"glazes": pd.DataFrame([{**ANALYSIS, "PbO": 5.0, "CaO": 15.0}])})
    log.import_tables({"glazes": pd.DataFrame([{**ANALYSIS, "note": "lead free"}])})
    assert log.glazes()["PbO"].isna().all()
    log.import_tables({"glazes": pd.DataFrame([{"glaze": "sea", "behaviour": "fluid"}])})
    assert log.glazes()["CaO"].tolist()[0] == 20.0


def test_a_newer_recipe_replaces_the_whole_recipe(log):
    newer = RECIPES.assign(material=["whiting", "ball clay"])
    assert log.import_tables({"recipes": newer})["recipes"] == Counts(1, 1, 1)
    assert log.recipes()["material"].tolist() == ["whiting", "ball clay"]
    gone = log.history("recipes", material="clay")
    assert gone["retired"].tolist() == [False, True]
    log.import_tables({"recipes": RECIPES})
    assert log.recipes()["material"].tolist() == ["whiting", "clay"]
    shorter = SCHEDULES.iloc[:1]
    assert log.import_tables({"schedules": shorter})["schedules"] == Counts(0, 1, 1)
    assert len(log.schedules()) == 1


def test_every_fault_of_every_table_and_then_nothing(log):
    before = log.file.read_bytes()
    faults = faults_of(
        log.import_tables,
        {
            "layers": layers({"piece": "new", "glaze": "seas"}, {"piece": "b", "coats": "many"}),
            "glazes": GLAZES.assign(behaviour="wobbly"),
        },
    )
    assert len(faults) == 4
    assert 'did you mean "sea"' in "".join(faults)
    assert log.file.read_bytes() == before


def test_an_import_must_agree_with_what_is_logged(log):
    log.import_tables({"layers": TWO.assign(body="porcelain")})
    (fault,) = faults_of(log.import_tables, {"layers": layers({"body": "stoneware"})})
    assert fault.startswith(FILE_NAME)
    assert 'not the stoneware of another layer of piece "mug"' in fault


def test_the_same_row_in_two_files_must_not_differ(tmp_path):
    for name, coats in (("a", 1), ("b", 1), ("c", 2)):
        layers({"coats": coats}).to_csv(tmp_path / f"{name}.csv", index=False)
    GLAZES.to_csv(tmp_path / "glazes.csv", index=False)
    files = [tmp_path / f"{name}.csv" for name in ("a", "b", "glazes")]
    assert import_files(files, tmp_path / "log")["layers"] == Counts(1, 0, 0)
    (fault,) = faults_of(import_files, [*files, tmp_path / "c.csv"], tmp_path / "log")
    assert (
        fault
        == "c.csv, row 2: differs from the same row in a.csv, row 2; keep the one that is right."
    )


def test_no_logbook_is_made_by_an_import_with_faults(tmp_path):
    layers({}).to_csv(tmp_path / "layers.csv", index=False)
    (tmp_path / "odd.csv").write_text("colour,taste\nred,sweet\n")
    faults = faults_of(
        import_files,
        [tmp_path / "layers.csv", tmp_path / "odd.csv", tmp_path / "no.csv"],
        tmp_path / "log",
    )
    assert [fault.split(":")[0] for fault in faults] == [
        "odd.csv",
        "no.csv",
        "layers.csv, row 2, column glaze",
    ]
    assert not (tmp_path / "log").exists()


def test_text_that_cannot_be_kept_is_told(log):
    with pytest.warns(TableWarning):
        (fault,) = faults_of(log.import_tables, {"glazes": GLAZES.assign(bin=["a\x07", "b"])})
    assert "index 0, column bin: cannot be kept" in fault


@pytest.mark.parametrize("beside", [{}, {"glazes": GLAZES}])
def test_a_glaze_may_be_typed_in_any_case_and_is_logged_as_it_is_known(log, beside):
    typed = {
        "layers": layers({"piece": "cup", "glaze": " SEA"}),
        "recipes": RECIPES.assign(glaze="A s h", parts=[45.0, 55.0]),
    }
    with pytest.warns(TableWarning) as told:
        log.import_tables({**typed, **beside})
    assert [str(one.message).split(": ")[-1] for one in told] == [
        '"SEA" is taken for "sea" of the glazes.',
        '"A s h" is taken for "ash" of the glazes.',
    ]
    assert list(log.layers()["glaze"]) == ["sea", "ash", "sea"]
    assert list(log.recipes()["glaze"]) == ["ash", "ash"]
    assert list(log.recipes()["parts"]) == [45.0, 55.0]


def test_a_piece_may_be_recorded_by_its_name_in_any_case(log):
    assert list(log.record("MUG", [Outcome(1, 4.0)])["piece"]) == ["mug"]
    assert log.piece(" mUg")["run_mm"].iloc[0] == 4.0
    assert list(log.remove("MUG", result=True)["run_mm"]) == [4.0]


def test_a_firing_may_be_named_in_any_case(log):
    log.import_tables({"layers": layers({"firing": "F 2"})})
    log.record("mug", [Outcome(1, 3.0)], firing="f2")
    assert log.piece("mug", "F 2")["run_mm"].iloc[0] == 3.0


def test_parts_of_a_material_given_under_two_spellings_of_a_glaze_are_added(log):
    twice = RECIPES.assign(glaze=["ASH", "ash"], material="talc", parts=[40.0, 60.0])
    with pytest.warns(TableWarning, match="taken for|added together"):
        log.import_tables({"recipes": twice})
    assert log.recipes().query("glaze == 'ash'")["parts"].tolist() == [100.0]


def test_record_and_take_back(log):
    row = log.record("mug", [Outcome(2, 12.0, "no")]).iloc[0]
    assert (row["layer"], row["run_mm"], row["past_foot"]) == (2, 12.0, "no")
    assert log.layers()["past_foot"].tolist() == ["", "no"]
    size = len(log.history())
    log.record("mug", [Outcome(2, 12.0, "no")], firing="f1")
    assert len(log.history()) == size
    log.record("mug", [Outcome(2, float("nan"), "")])
    assert log.layers()["run_mm"].isna().all()
    assert log.history(layer=2)["past_foot"].tolist() == ["", "no", ""]


def test_record_says_what_is_odd_and_refuses_what_cannot_be(log):
    with pytest.warns(TableWarning, match="write yes, or mend the run"):
        log.record("mug", [Outcome(1, 30.0, "no")])
    assert "has no layer 3; it has 1, 2" in faults_of(log.record, "mug", [Outcome(3, 1.0)])[0]
    assert "less than 0 mm" in faults_of(log.record, "mug", [Outcome(1, -1.0)])[0]
    assert 'did you mean "mug"' in faults_of(log.record, "mugs", [Outcome(1)])[0]
    log.import_tables({"layers": layers({"firing": "f2"})})
    assert '"f1", "f2"' in faults_of(log.record, "mug", [Outcome(1)])[0]
    assert 'not in a firing "f3"' in faults_of(log.record, "mug", [Outcome(1)], firing="f3")[0]
    log.record("mug", [Outcome(1, None, "yes")], firing="f2")
    assert log.layers()["past_foot"].tolist() == ["no", "", "yes"]


def test_the_file_refuses_to_forget(log):
    with sqlite3.connect(log.file) as bare:
        for statement in ("DELETE FROM layers", "UPDATE entries SET made_at = ''"):
            with pytest.raises(sqlite3.IntegrityError, match="never changed"):
                bare.execute(statement)
        bare.execute("PRAGMA foreign_keys = ON")
        with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
            bare.execute("INSERT INTO entries (made_at, action, source) VALUES ('', 'erase', '')")
    bare.close()


def test_the_file_has_every_column_of_the_tables(log):
    with sqlite3.connect(log.file) as bare:
        for kind in KINDS:
            stored = [row[1] for row in bare.execute(f"PRAGMA table_info({kind})")]
            ours = {"id", "entry", "revision", "retired", "extra", "checksum"}
            assert set(stored) - ours == {column.name for column in COLUMNS[kind]}
    bare.close()


@pytest.fixture
def newer(monkeypatch):
    """A program whose layers have two further columns, made as a row of the list makes them."""

    def install():
        made = [
            replace(column_of("layers", like), name=name, since=logbook_schema.version() + 1)
            for name, like in (("clay_batch", "batch"), ("soak_s", "hold_min"))
        ]
        layers, place = COLUMNS["layers"], 4
        wider = (*layers[:place], *made, *layers[place:])
        with_columns(wider)
        return lambda: with_columns(layers)

    def with_columns(columns):
        monkeypatch.setitem(COLUMNS, "layers", columns)
        for names in (headings._names, headings._layer_names):
            names.cache_clear()

    as_it_is = COLUMNS["layers"]
    yield install
    with_columns(as_it_is)


def test_a_column_that_came_later_is_added_to_a_logbook_of_before(log, newer):
    before = log.layers()
    log.close()
    older = newer()
    with Logbook.open(log.file.parent) as later:
        assert later.layers()["clay_batch"].tolist() == ["", ""]
        pd.testing.assert_frame_equal(later.layers()[list(before)], before)
        changed = layers({"clay_batch": "June", "soak_s": 4})
        later.import_tables({"layers": changed})
    with Logbook.open(log.file.parent) as later:  # proved whole with rows of both versions
        assert later.layers()["clay_batch"].tolist() == ["June", ""]
        assert later.layers()["soak_s"].tolist()[:1] == [4.0]
    older()
    content = log.file.read_bytes()
    assert "of version 2, newer than this program" in faults_of(Logbook.open, log.file.parent)[0]
    assert log.file.read_bytes() == content


def test_a_column_that_was_kept_unread_is_read_once_it_is_known(log, newer):
    with pytest.warns(TableWarning, match="kept unread"):
        log.import_tables({"layers": layers({"Clay batch": "June", "soak_s": "4"})})
    with pytest.warns(TableWarning, match="kept unread"):
        log.import_tables({"layers": layers({"piece": "cup", "soak_s": "a while"})})
    log.close()
    newer()
    with Logbook.open(log.file.parent) as later:
        table = later.layers()
        assert table["clay_batch"].tolist() == ["June", "", ""]
        assert table["soak_s"].fillna(-1.0).tolist() == [4.0, -1.0, -1.0]
        assert table["soak_s as typed"].tolist() == ["", "", "a while"]
        assert "Clay batch" not in table
        later.import_tables({"layers": layers({"clay_batch": "July"})})
        assert later.layers()["clay_batch"].tolist() == ["July", "", ""]
        later.export(log.file.parent / "out")
    assert "soak_s as typed" in (log.file.parent / "out" / "layers.csv").read_text("utf-8")


def test_a_step_that_fails_leaves_the_logbook_as_it_was(log, newer, monkeypatch):
    log.close()
    content = log.file.read_bytes()
    newer()
    step = logbook_schema._step
    wrong = {2: ["CREATE TABLE layers (id)"]}
    monkeypatch.setattr(logbook_schema, "_step", lambda n: [*step(n), *wrong.get(n, [])])
    assert "already exists" in faults_of(Logbook.open, log.file.parent)[0]
    assert log.file.read_bytes() == content
    monkeypatch.setattr(logbook_schema, "_step", step)
    with Logbook.open(log.file.parent) as later:
        assert len(later.layers()) == 2


def test_the_backup_is_the_logbook_before_the_last_import(log, tmp_path):
    log.import_tables({"layers": layers({"piece": "late"})})
    log.close()
    shutil.copy(log.file.with_name(BACKUP_NAME), tmp_path / FILE_NAME)
    with Logbook.open(tmp_path) as older:
        assert older.layers()["piece"].tolist() == ["mug", "mug"]


@pytest.mark.parametrize("keep", [0, 1, 50, 99, 512, 4096, 4097, 0.5, -4096, -1])
def test_a_truncated_logbook_is_refused_and_left(log, keep):
    log.import_tables({"layers": layers({"piece": "late"})})
    log.close()
    content = log.file.read_bytes()
    cut = content[: int(len(content) * keep) if isinstance(keep, float) else keep]
    log.file.write_bytes(cut)
    (fault,) = faults_of(Logbook.open, log.file.parent, create=True)
    assert "is damaged" in fault and BACKUP_NAME in fault
    assert log.file.read_bytes() == cut


def test_damage_anywhere_is_refused_or_harmless(log):
    """A byte changed at random is noticed, unless it lies where nothing is kept."""
    log.import_tables(
        {"layers": layers(*({"piece": f"p{i}", "note": "x" * 50} for i in range(60)))}
    )
    before = [log.table(kind) for kind in KINDS]
    log.close()
    content = log.file.read_bytes()
    chance = random.Random(4)
    written = [place for place, byte in enumerate(content) if byte]
    refused = 0
    for _ in range(150):
        place = chance.choice(written)
        spoilt = bytearray(content)
        spoilt[place] ^= chance.randrange(1, 256)
        log.file.write_bytes(spoilt)
        try:
            with Logbook.open(log.file.parent) as opened:
                for kind, frame in zip(KINDS, before, strict=True):
                    pd.testing.assert_frame_equal(opened.table(kind), frame)
        except BadInput as bad:
            assert len(bad.faults) == 1
            refused += 1
        assert log.file.read_bytes() == bytes(spoilt)
    assert refused > 20


@pytest.mark.parametrize("foreign", ["text", "database"])
def test_what_is_no_logbook_is_refused(tmp_path, foreign):
    file = tmp_path / FILE_NAME
    if foreign == "text":
        file.write_text("piece,glaze\n" * 500)
    else:
        with sqlite3.connect(file) as other:
            other.execute("CREATE TABLE letters (id)")
        other.close()
    before = file.read_bytes()
    (fault,) = faults_of(Logbook.open, tmp_path, create=True)
    assert "not a logbook" in fault and "put a copy of your own" in fault
    assert file.read_bytes() == before


def test_a_missing_logbook_is_not_made_by_reading(tmp_path):
    (fault,) = faults_of(Logbook.open, tmp_path / "none")
    assert "import your tables first" in fault
    assert not (tmp_path / "none").exists()


def test_importing_loads_nothing_heavy(tmp_path):
    layers({}).to_csv(tmp_path / "layers.csv", index=False)
    GLAZES.to_csv(tmp_path / "glazes.csv", index=False)
    code = (
        "import json, sys\nfrom runpredict.logbook.forms import import_files\n"
        "import_files(sys.argv[1:3], sys.argv[3])\n"
        "print(json.dumps([m for m in ('scipy', 'sklearn', 'matplotlib', 'openpyxl', "
        "'runpredict.physics.chemistry') if m in sys.modules]))"
    )
    words = [tmp_path / "layers.csv", tmp_path / "glazes.csv", tmp_path / "log"]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, check=True)
    assert json.loads(done.stdout) == []
    assert LAYER["piece"] in (tmp_path / "layers.csv").read_text()


def test_an_import_refuses_an_unknown_material_with_its_glaze_and_line(tmp_path):
    GLAZES.to_csv(tmp_path / "glazes.csv", index=False)
    lines = "glaze,material,parts\nash,Custer Feldspar,40\nash,Grollek kaolin,30\nash,flint,30\n"
    (tmp_path / "recipes.csv").write_text(lines)
    files = [tmp_path / "glazes.csv", tmp_path / "recipes.csv"]
    with pytest.raises(BadInput) as caught:
        import_files(files, tmp_path / "log")
    (fault,) = caught.value.faults
    assert str(fault).startswith(
        'recipes.csv, row 3, column material: "ash" calls for "Grollek kaolin", which is not in '
        "the materials (did you mean "
    )
    assert '"Grolleg' in fault.message
    assert fault.message.count(" or ") == 2 + 1  # three names, and "or give its analysis"
    assert not (tmp_path / "log").exists()
    (tmp_path / "materials.csv").write_text("material,SiO2,Al2O3\nGrollek Kaolin,48,37\n")
    import_files([*files, tmp_path / "materials.csv"], tmp_path / "log")
    # Once it is logged a recipe may call for it.
    import_files([tmp_path / "recipes.csv"], tmp_path / "log")
    with Logbook.open(tmp_path / "log") as log:
        assert "Grollek kaolin" in log.recipes()["material"].tolist()
