"""The exported history: what stood before can be read from it and the tables alone."""

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, layers
from hypothesis import given, settings
from hypothesis import strategies as st

from runpredict.errors import TableWarning
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files
from runpredict.logbook.history import CHANGE_COLUMNS
from runpredict.logbook.results import Outcome
from runpredict.tables.columns import COLUMNS, KEYS, KINDS
from runpredict.tables.workbooks import workbook_sheets

GLAZES = pd.DataFrame([ANALYSIS, {"glaze": "ash", "source": "jar"}])
RECIPE = {"glaze": "ash", "addition": "", "parts": 40.0}


def recipe(*materials):
    return pd.DataFrame([{**RECIPE, "material": material} for material in materials])


@pytest.fixture
def log(tmp_path):
    with Logbook.open(tmp_path / "log", create=True) as log:
        log.import_tables({"layers": layers({}), "glazes": GLAZES, "recipes": recipe("spar")})
        yield log


def changes_of(log, **named):
    changes = log.changes()
    for column, value in named.items():
        changes = changes.loc[changes[column] == value]
    return [tuple(line) for line in changes[["row", "change", "column", "before", "after"]].values]


def test_a_row_that_came_in_is_one_line_with_its_time_and_file(log):
    changes = log.changes()
    assert list(changes.columns) == list(CHANGE_COLUMNS)
    assert changes["table"].tolist() == ["glazes", "glazes", "recipes", "layers"]
    assert changes["row"].tolist()[-1] == "piece mug; firing f1; layer 1"
    assert set(changes["change"]) == {"added"}
    assert set(changes["origin"]) == {"tables"}
    assert set(changes["entry"]) == {1}
    assert pd.to_datetime(changes["logged_at"], utc=True).notna().all()


def test_a_correction_is_a_line_a_cell_with_what_stood_before(log):
    log.record("mug", [Outcome(1, 4.5, "no", "glossy")])
    log.record("mug", [Outcome(1, 3.0)])
    row = "piece mug; firing f1; layer 1"
    assert changes_of(log, action="record") == [
        (row, "corrected", "run_mm", "", 4.5),
        (row, "corrected", "past_foot", "", "no"),
        (row, "corrected", "note", "", "glossy"),
        (row, "corrected", "run_mm", 4.5, 3.0),
    ]
    assert log.changes()["entry"].tolist()[-4:] == [2, 2, 2, 3]


def test_what_left_a_recipe_says_what_it_was_and_may_come_back(log):
    log.import_tables({"recipes": recipe("clay")})
    log.import_tables({"recipes": recipe("spar", "clay")})
    spar, clay = "glaze ash; material spar", "glaze ash; material clay"
    assert changes_of(log, table="recipes") == [
        (spar, "added", "", "", ""),
        (clay, "added", "", "", ""),
        (spar, "left", "parts", 40.0, ""),
        (spar, "added", "", "", ""),
    ]


def test_changes_of_an_unknown_column_are_kept(log):
    for rack in ("top", "low"):
        with pytest.warns(TableWarning, match="not known here"):
            log.import_tables({"layers": layers({"rack": rack})})
    assert [line[2:] for line in changes_of(log, change="corrected")] == [
        ("rack", "", "top"),
        ("rack", "top", "low"),
    ]


def stood(log, kind):
    """Every row of a table after each of its revisions, worked back from its last state."""
    changes = log.changes()
    now = log.table(kind).astype(object)
    now = now.where(now.notna() & (now != ""), "")
    names = ["; ".join(f"{n} {row[n]}" for n in KEYS[kind] if row[n] != "") for _, row in
             now.iterrows()]  # fmt: skip
    state = dict(zip(names, now.to_dict("records"), strict=True))
    found = []
    mine = changes.loc[changes["table"] == kind]
    for (_, row), lines in reversed(list(mine.groupby(["entry", "row"], sort=False))):
        kinds = set(lines["change"])
        assert len(kinds) == 1
        if kinds != {"left"}:
            found.append(dict(state[row]))
        if kinds == {"added"}:
            del state[row]
            continue
        for line in lines.itertuples():
            cells = state.setdefault(row, {})
            assert kinds == {"left"} or cells[line.column] == line.after
            cells[line.column] = line.before
    assert not state, "every row came in once"
    return found[::-1]


ROWS = st.lists(st.sampled_from(["spar", "clay", "whiting"]), unique=True, min_size=1)
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("recipes"), ROWS, st.floats(1.0, 90.0)),
        st.tuples(st.just("layers"), st.integers(1, 9), st.sampled_from(["", "thin", "=thick"])),
        st.tuples(st.just("record"), st.floats(0.0, 5.0), st.sampled_from(["yes", "no", ""])),
    ),
    max_size=6,
)


@settings(max_examples=30)
@given(steps=STEPS)
def test_every_row_can_be_had_as_it_stood_at_any_time(tmp_path_factory, steps):
    with Logbook.open(tmp_path_factory.mktemp("log"), create=True) as log:
        log.import_tables({"layers": layers({}), "glazes": GLAZES})
        for what, first, second in steps:
            if what == "recipes":
                log.import_tables({"recipes": recipe(*first).assign(parts=second)})
            elif what == "layers":
                log.import_tables({"layers": layers({"wall_deg": 10 * first, "note": second})})
            else:
                log.record("mug", [Outcome(1, first, second)])
        for kind in KINDS:
            history = log.history(kind)
            told = history.loc[~history["retired"]]
            worked_back = pd.DataFrame(stood(log, kind))
            assert len(worked_back) == len(told)
            for column in [column.name for column in COLUMNS[kind]] if len(told) else []:
                was = told[column].astype(object).where(told[column].notna(), "").tolist()
                # Cells of a row that had left: the ones that are blank are not listed.
                seen = worked_back.get(column, pd.Series("", index=worked_back.index)).fillna("")
                if column not in KEYS[kind]:
                    assert seen.tolist() == was


def test_the_history_lies_beside_the_tables_in_csv_and_workbook(log, tmp_path):
    log.record("mug", [Outcome(1, 4.5, "no", "=1+1")])
    log.export(tmp_path / "out", tmp_path / "book.xlsx")
    lines = (tmp_path / "out" / "history.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == ",".join(CHANGE_COLUMNS)
    assert lines[-1].endswith("corrected,note,,'=1+1")
    assert len(lines) == len(log.changes()) + 1
    (sheet,) = (s for s in workbook_sheets(tmp_path / "book.xlsx") if s.title == "history")
    assert sheet.records[0] == list(CHANGE_COLUMNS)
    assert sheet.records[-3][-2:] == ["", "4.5"]


def test_a_history_alone_is_passed_over_with_a_word(log, tmp_path):
    log.export(tmp_path / "out")
    with pytest.warns(TableWarning, match="history.csv: is not imported"):
        assert import_files([tmp_path / "out" / "history.csv"], log.file.parent) == {}
    assert len(log.changes()) == 4
