"""A logbook written by several at once: what one has not seen is not written over."""

import pandas as pd
import pytest

from runpredict.errors import BadInput
from runpredict.logbook.book import Logbook
from runpredict.logbook.overtaken import Overtaken, Taken
from runpredict.logbook.results import Outcome
from runpredict.logbook.schema import transaction
from runpredict.logbook.store import newest_rows
from runpredict.tables.rows import empty_table

GLAZES = pd.DataFrame({"glaze": ["sea", "sky"], "source": "jar"})
MUG = ("mug", "f1")


def layers(*glazes, piece="mug", firing="f1", **cells):
    rows = [
        {
            "piece": piece, "firing": firing, "cone": "6", "layer": k, "glaze": glaze, "coats": 2,
            "lower_edge_mm": 5.0 + 30 * k, "upper_edge_mm": 90.0, "note": "n", **cells,
        }
        for k, glaze in enumerate(glazes, 1)
    ]  # fmt: skip
    return pd.DataFrame(rows)


@pytest.fixture
def book(tmp_path):
    with Logbook.open(tmp_path, create=True) as log:
        log.import_tables({"glazes": GLAZES, "layers": layers("sea", "sky")})
        yield log


@pytest.fixture
def other(book, tmp_path):
    """The same logbook in another program."""
    with Logbook.open(tmp_path) as log:
        yield log


def mark(book, pot=MUG):
    return book.marked("layers")[1].get(pot, "")


def test_what_was_read_before_is_as_the_file_says(book, other, tmp_path):
    """Nothing of what was taken back, and all that another wrote, in numbers given back too."""
    book.layers()
    with pytest.raises(KeyError), transaction(book._connection):
        book._write_outcomes("mug", [Outcome(1, 5.0, "no")], "f1", "record", {})
        assert newest_rows(book._connection, "layers")["mug", "f1", "", 1].revision == 2
        raise KeyError
    assert book.layers()["run_mm"].isna().all()
    for writer in (other, book, other):
        totals = book.totals(["layers"]), book.totals(["glazes"])
        writer.record("mug", [Outcome(2, 3.0 if writer is other else 4.0, "no")], firing="f1")
        with Logbook.open(tmp_path) as fresh:
            assert book.layers().equals(fresh.layers())
            assert book.marked("layers")[1] == fresh.marked("layers")[1]
        assert book.totals(["layers"]) != totals[0] and book.totals(["glazes"]) == totals[1]


def test_a_mark_changes_with_its_own_piece_alone(book):
    before = book.marked("layers")[1]
    book.put_piece(layers("sea", piece="cup"), None, "")
    after = book.marked("layers")[1]
    assert after[MUG] == before[MUG]
    book.put_piece(layers("sky", "sky"), MUG, after[MUG])
    assert mark(book) != before[MUG]


def test_marked_rows_are_those_of_the_table(book):
    pd.testing.assert_frame_equal(book.marked("layers")[0], book.layers())


def test_the_version_changes_with_every_write_of_any_program(book, other):
    versions = [book.version()]
    assert book.version() == versions[0]
    other.record("mug", [Outcome(1, past_foot="no")])
    versions.append(book.version())
    book.record("mug", [Outcome(2, past_foot="no")])
    versions.append(book.version())
    assert len(set(versions)) == 3


def test_a_piece_is_written_as_given_blanks_too(book):
    book.put_piece(layers("sky", note="", body=""), MUG, mark(book))
    (row,) = book.layers().itertuples()
    assert (row.glaze, row.note, row.layer) == ("sky", "", 1)
    history = book.history("layers", layer=2)
    assert history["retired"].tolist() == [False, True]


def test_a_piece_that_changed_is_not_written_over(book, other):
    seen = mark(book)
    other.put_piece(layers("sky", "sea"), MUG, seen)
    with pytest.raises(Overtaken, match="changed by somebody else") as late:
        book.put_piece(layers("sea"), MUG, seen)
    assert late.value.standing["glaze"].tolist() == ["sky", "sea"]
    assert book.layers()["glaze"].tolist() == ["sky", "sea"]


def test_a_new_piece_is_not_written_over_one_that_is_there(book):
    with pytest.raises(Taken, match='is there already in "f1"'):
        book.put_piece(layers("sea"), None, "")


@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_a_renamed_piece_does_not_land_on_another(book):
    book.put_piece(layers("sea", piece="cup"), None, "")
    for name in ("cup", "CUP"):
        with pytest.raises(Taken, match='is there already in "f1"; give another name'):
            book.put_piece(layers("sky", piece=name), MUG, mark(book))
    assert mark(book)
    book.put_piece(layers("sky", piece="jug", firing="f2"), MUG, mark(book))
    assert sorted(book.marked("layers")[1]) == [("cup", "f1"), ("jug", "f2")]


def test_a_removed_piece_may_come_back(book):
    seen = mark(book)
    book.put_piece(empty_table("layers"), MUG, seen)
    assert book.layers().empty
    with pytest.raises(Overtaken):
        book.put_piece(layers("sea"), MUG, seen)
    book.put_piece(layers("sea"), None, "")
    assert book.layers()["glaze"].tolist() == ["sea"]


def test_a_fired_piece_stays_as_it_was(book):
    book.record("mug", [Outcome(1, past_foot="no")])
    for change in (layers("sky"), empty_table("layers")):
        with pytest.raises(BadInput, match="has a result"):
            book.put_piece(change, MUG, mark(book))
    assert book.layers()["glaze"].tolist() == ["sea", "sky"]


def test_results_are_written_with_the_mark_that_was_read(book, other):
    seen = mark(book)
    other.record("mug", [Outcome(1, past_foot="no")], firing="f1", mark=seen)
    with pytest.raises(Overtaken):
        book.record("mug", [Outcome(1, past_foot="yes")], firing="f1", mark=seen)
    book.record("mug", [Outcome(2, 4.0, "no")], firing="f1", mark=mark(book))
    assert book.layers()["past_foot"].tolist() == ["no", "no"]


def test_a_glaze_and_its_recipe_are_written_with_their_marks(book, other):
    def recipe(parts):
        return {
            "glazes": pd.DataFrame({"glaze": ["dew"], "source": ["recipe"]}),
            "recipes": pd.DataFrame({"glaze": "dew", "material": ["silica"], "parts": [parts]}),
        }

    new = {"glazes": "", "recipes": ""}
    book.import_tables(recipe(1), "bench", new)
    with pytest.raises(Overtaken):
        other.import_tables(recipe(2), "bench", new)
    marks = {kind: other.marked(kind)[1][("dew",)] for kind in new}
    other.import_tables(recipe(2), "bench", marks)
    assert book.recipes()["parts"].tolist() == [2.0]
    with pytest.raises(Overtaken):
        book.import_tables(recipe(3), "bench", marks)


def test_faults_are_told_and_nothing_is_written(book):
    before = mark(book)
    with pytest.raises(BadInput, match="not in the logbook"):
        book.put_piece(layers("fog"), MUG, before)
    with pytest.raises(BadInput, match="is not below the upper"):
        book.put_piece(layers("sea", lower_edge_mm=95.0), MUG, before)
    assert mark(book) == before
