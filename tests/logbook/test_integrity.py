"""A logbook that others changed is told and left; nothing they plant in it is believed or run."""

import json
import sqlite3
import threading
from contextlib import closing

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, faults_of, layers

from runpredict.errors import BadInput, TableWarning
from runpredict.logbook import integrity
from runpredict.logbook import schema as logbook_schema
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files
from runpredict.logbook.integrity import checksum
from runpredict.logbook.results import Outcome
from runpredict.logbook.schema import FILE_NAME

GLAZES = pd.DataFrame([ANALYSIS, {**ANALYSIS, "glaze": "ash"}])
PLAN = ({}, {"layer": 2, "glaze": "ash", "lower_edge_mm": 40.0})


@pytest.fixture
def file(tmp_path):
    """A closed logbook of one piece of two layers, the upper with a result."""
    with Logbook.open(tmp_path, create=True) as log:
        log.import_tables({"glazes": GLAZES, "layers": layers(*PLAN)})
        log.record("mug", [Outcome(2, 3.0, "no")])
    return tmp_path / FILE_NAME


def change(file, *statements):
    """What another program does to the file, unasked."""
    with closing(sqlite3.connect(file)) as bare:
        for statement in statements:
            bare.execute(*statement) if isinstance(statement, tuple) else bare.execute(statement)
        bare.commit()


def told(file):
    """What is said of the file, which stays as it is."""
    before = file.read_bytes()
    (fault,) = faults_of(Logbook.open, file.parent)
    assert file.read_bytes() == before
    return fault


def unlocked(file, table):
    """Statements that take the triggers of a table away, and those that put them back."""
    with closing(sqlite3.connect(file)) as bare:
        found = bare.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
        ).fetchall()
    return [f"DROP TRIGGER {name}" for name, _ in found], [sql for _, sql in found]


@pytest.mark.parametrize("rows", ["id = 1", "id = (SELECT max(id) FROM layers)", "1"])
def test_rows_deleted_by_another_program_are_told(file, rows):
    off, on = unlocked(file, "layers")
    change(file, *off, f"DELETE FROM layers WHERE {rows}", *on)
    assert "was changed by another program" in told(file)


def test_rows_added_by_another_program_are_told(file):
    with closing(sqlite3.connect(file)) as bare:
        bare.row_factory = sqlite3.Row
        row = dict(bare.execute("SELECT * FROM layers WHERE id = 1").fetchone())
    del row["id"]
    row |= {"piece": "forged", "run_mm": 1.0}
    del row["checksum"]
    row["checksum"] = checksum(row)
    insert = f"INSERT INTO layers ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})"
    change(file, (insert, [*row.values()]))
    assert "was changed by another program" in told(file)


@pytest.mark.parametrize("words", ["INSERT OR REPLACE", "REPLACE"])
@pytest.mark.parametrize("id_too", [True, False])
def test_nothing_can_be_replaced(file, words, id_too):
    columns = ", ".join(c for c in columns_of(file) if id_too or c != "id")
    with pytest.raises(sqlite3.IntegrityError, match="never replaced"):
        change(file, f"{words} INTO layers ({columns}) SELECT {columns} FROM layers WHERE id = 1")
    with Logbook.open(file.parent) as log:
        assert len(log.layers()) == 2


def test_an_entry_made_while_the_file_is_proved_is_not_told_as_a_strangers(file, monkeypatch):
    def import_one():
        with Logbook.open(file.parent) as log:
            log.import_tables({"layers": layers({"piece": "late"})})

    writer = threading.Thread(target=import_one)

    def totals(connection):
        if not writer.ident:
            writer.start()
            writer.join(1.0)  # it may have to wait until the proof is through
        return real(connection)

    real = integrity.totals
    monkeypatch.setattr(integrity, "totals", totals)
    with Logbook.open(file.parent):
        pass
    writer.join()
    with Logbook.open(file.parent) as log:
        assert "late" in set(log.layers()["piece"])


def columns_of(file):
    with closing(sqlite3.connect(file)) as bare:
        return [row[1] for row in bare.execute("PRAGMA table_info(layers)")]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("cone", "99"),
        ("fired_on", "soon"),
        ("note", "\x1b[2J"),
        ("run_mm", float("inf")),
        ("run_mm", 3000.0),
        ("foot_mm", 0.5),
        ("method", "fling"),
        ("witness_cone", "6 up"),
        ("lost", "sold"),
        ("body", "a\x9bb"),
    ],
)
def test_forged_cells_are_told_even_with_their_check_figure(file, column, value):
    off, on = unlocked(file, "layers")
    with closing(sqlite3.connect(file)) as bare:
        bare.row_factory = sqlite3.Row
        row = dict(bare.execute("SELECT * FROM layers WHERE id = 1").fetchone())
    del row["id"], row["checksum"]
    row[column] = value
    change(
        file, *off,
        (f"UPDATE layers SET {column} = ?, checksum = ? WHERE id = 1", (value, checksum(row))),
        *on,
    )  # fmt: skip
    assert "is damaged or not a logbook" in told(file)


@pytest.mark.parametrize("extra", ["{", "[1]", json.dumps({"rack": 3}), '{"a": "\x1b"}'])
def test_forged_extra_columns_are_told(file, extra):
    off, on = unlocked(file, "layers")
    with closing(sqlite3.connect(file)) as bare:
        bare.row_factory = sqlite3.Row
        row = dict(bare.execute("SELECT * FROM layers WHERE id = 1").fetchone())
    del row["id"], row["checksum"]
    row["extra"] = extra
    change(
        file, *off,
        ("UPDATE layers SET extra = ?, checksum = ? WHERE id = 1", (extra, checksum(row))), *on,
    )  # fmt: skip
    assert "is damaged or not a logbook" in told(file)


MOST_TENS = 100_000
"""Tens of steps of SQLite: a small logbook is proven in some hundreds."""


@pytest.fixture
def tens_of_steps(monkeypatch):
    """Grows by one with each ten steps that SQLite takes; what never ends is broken off."""
    taken, connect = [], sqlite3.connect

    def counted(*words, **named):
        connection = connect(*words, **named)
        connection.set_progress_handler(lambda: taken.append(1) or len(taken) > MOST_TENS, 10)
        return connection

    monkeypatch.setattr(sqlite3, "connect", counted)
    return taken


ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"


@pytest.mark.parametrize(
    "statements",
    [
        ["CREATE VIEW more AS " + ENDLESS],
        ["ALTER TABLE recipes RENAME TO old", "CREATE VIEW recipes AS " + ENDLESS],
        ["CREATE TABLE more (a)"],
        ["CREATE INDEX more ON layers (note)"],
        ["DROP TRIGGER layers_delete"],
        ["CREATE TRIGGER more AFTER INSERT ON entries BEGIN INSERT INTO glaze_names "
         "VALUES ('x'); END"],
    ],
)  # fmt: skip
def test_what_is_not_of_a_logbook_is_told_and_never_run(file, tens_of_steps, statements):
    change(file, *statements)
    assert "is damaged or not a logbook" in told(file)
    assert 0 < len(tens_of_steps) < MOST_TENS


@pytest.mark.parametrize("version", [-1, 0, -(2**31)])
def test_a_version_that_never_was_is_told(file, version):
    change(file, f"PRAGMA user_version = {version}")
    assert "is damaged or not a logbook" in told(file)


def test_seals_that_are_gone_are_told(file):
    off, on = unlocked(file, "seals")
    change(file, *off, "DELETE FROM seals", *on)
    assert "was changed by another program" in told(file)


def test_a_version_that_seals_nothing_cannot_add_rows(file):
    """Two versions on one logbook: the older one seals nothing."""
    with closing(logbook_schema.connect(file)) as older, Logbook.open(file.parent) as newer:
        newer.import_tables({"glazes": GLAZES.assign(note="seen")})
        with pytest.raises(sqlite3.IntegrityError, match="another version"):
            older.execute("INSERT INTO entries (made_at, action, source) VALUES ('', 'import', '')")
        newer.import_tables({"layers": layers({"piece": "second"})})
    with Logbook.open(file.parent) as log:
        assert "second" in set(log.layers()["piece"])


def test_this_version_does_not_write_to_what_a_newer_one_changed(file):
    with Logbook.open(file.parent) as log:
        change(file, f"PRAGMA user_version = {logbook_schema.version() + 1}")
        (fault,) = faults_of(log.record, "mug", [Outcome(1, 1.0, "no")])
        assert "newer than this program" in fault


def fired(log, **changes):
    """Import the lower layer with a result again, some cells changed."""
    log.record("mug", [Outcome(1, 2.0, "no")])
    return log.import_tables({"layers": layers(changes)})


@pytest.mark.parametrize(
    ("changes", "column"),
    [
        ({"glaze": "ash"}, "glaze"),
        ({"coats": 3}, "coats"),
        ({"lower_edge_mm": 9}, "lower_edge_mm"),
        ({"upper_edge_mm": 70}, "upper_edge_mm"),
    ],
)
def test_a_name_used_again_takes_no_result_over(file, changes, column):
    with Logbook.open(file.parent) as log:
        (fault,) = faults_of(fired, log, **changes)
        assert fault.startswith(f"layers, index 0, column {column}: ")
        assert "give it another name or firing" in fault
        counts = fired(log, **changes, run_mm=4)["layers"]
        assert counts.corrected == 1
        row = log.layers().iloc[0]
        assert (row["run_mm"], row["past_foot"]) == (4.0, "")  # nothing of the old result


def test_a_further_layer_of_a_fired_piece_needs_its_result(file):
    third = {"layer": 3, "lower_edge_mm": 60}
    with Logbook.open(file.parent) as log:
        (fault,) = faults_of(log.import_tables, {"layers": layers(*PLAN, third)})
        assert "was fired without this layer" in fault
        log.import_tables({"layers": layers(*PLAN, {**third, "past_foot": "no"})})


def test_what_was_blank_may_be_filled_in(file):
    with Logbook.open(file.parent) as log:
        counts = fired(log, wall_deg=80, note="seen again")
        assert counts["layers"].corrected == 1
        assert log.layers()["run_mm"].tolist() == [2.0, 3.0]


def test_a_warning_while_recording_names_the_layer(file):
    with Logbook.open(file.parent) as log, pytest.warns(TableWarning) as found:
        log.record("mug", [Outcome(1, 30.0, "no")])
    (message,) = {str(warning.message) for warning in found}
    assert message.startswith(f"{FILE_NAME}, piece mug, firing f1, layer 1, column past_foot: ")
    with Logbook.open(file.parent) as log:
        (fault,) = faults_of(log.record, "mug", [Outcome(1, 3000.0)])
    assert fault.startswith(f"{FILE_NAME}, piece mug, firing f1, layer 1, column run_mm: ")


def test_a_table_of_layers_without_its_upper_edges_is_no_table_of_glazes(file, tmp_path):
    plan = layers({"piece": "new"}).drop(columns="upper_edge_mm")
    plan.to_csv(tmp_path / "plan.csv", index=False)
    with pytest.raises(BadInput, match=r"plan\.csv, column upper_edge_mm: the column is missing"):
        import_files([tmp_path / "plan.csv"], file.parent)


@pytest.mark.parametrize("heading", ["sh\x1belf", "a" * 300])
def test_headings_that_cannot_be_kept_are_told(file, heading):
    with (
        Logbook.open(file.parent) as log,
        pytest.warns(TableWarning),
        pytest.raises(BadInput, match="is no heading that can be kept") as caught,
    ):
        log.import_tables({"layers": layers({"piece": "new", heading: "top"})})
    assert str(caught.value).isprintable()
