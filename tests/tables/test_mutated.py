"""Tables mutated at random are read or refused in sentences; what is read is answered.

A hundred thousand of them, with their figures: ``RUNPREDICT_EXAMPLES=100000 python -m pytest -rP
-n 4 tests/tables/test_mutated.py``.
"""

import collections
import os
import random
import warnings

import pytest

from runpredict.answers.check import answer
from runpredict.errors import BadInput, TableWarning
from runpredict.tables.csv_files import read_table
from runpredict.tables.plan import read_plan

TABLES = max(200, int(os.environ.get("RUNPREDICT_EXAMPLES", "0")))
PARTS = 4  # each a process, with -n
ANSWERED_OF = 50  # one in so many is read with the others and answered, which takes much longer
MOST_CHARS = 700
SOUND = {
    "glazes": "glaze,source,behaviour,matures_cone,SiO2,Al2O3,Na2O,K2O,CaO,ZnO,note\n"
    "Grey Sill,analysis,stable,6,62,14,4,3,17,,base\nTarn,jar,fluid,6,,,,,,,\n"
    "Moss,recipe,,,,,,,,,\n",
    "recipes": "glaze,material,parts,addition\nMoss,nepheline syenite,45,\nMoss,whiting,20,\n"
    "Moss,silica,35,\nMoss,copper carbonate,3,yes\n",
    "schedules": "firing,segment,rate_c_per_h,target_c,hold_min\nslow,1,150,600,\n"
    "slow,2,60,1215,20\n",
    "layers": "piece,form,firing,fired_on,cone,hold_min,wall_deg,foot_mm,layer,glaze,coats,"
    "thickness_mm,lower_edge_mm,upper_edge_mm,run_mm,past_foot,note\n"
    "mug 1,mug,Wren,2026-03-08,6,10,90,70,1,Grey Sill,2,0.5,6,95,,,plain\n"
    "mug 1,mug,Wren,2026-03-08,6,10,90,70,2,Tarn,1,,40,95,,,\n"
    'bowl,bowl,slow,,,,75,"2 3/4 in",1,Moss,2,~0.6,12 mm,60,,,"dark, ""thin"""\n'
    "tile,tile,Wren,2026-03-08,6,10,90,,1,Moss,3,,30,80,2,no,\n",
}
STRANGE = [
    *("", "nan", "-", "?", "0", "-1", "1e400", "9" * 40, "1,5", "1.500", "½ in", "06", "6-7"),
    *("=1+1", "\x00", "\u202e", "\ud83e\udea3", "true", "yes", "2026-02-30", "6 half", "mug 1"),
    *("MUG 1", "tarn", "Grey  Sill", "x" * 300, "inside", "~", "20+", "3/8", "inf", "café", '"'),
]


def _cells(lines, rng):
    row = rng.randrange(len(lines))
    return row, lines[row].split(",")


def _strange_cell(lines, rng):
    row, cells = _cells(lines, rng)
    cells[rng.randrange(len(cells))] = rng.choice(STRANGE)
    lines[row] = ",".join(cells)


def _swapped_cells(lines, rng):
    row, cells = _cells(lines, rng)
    one, other = rng.randrange(len(cells)), rng.randrange(len(cells))
    cells[one], cells[other] = cells[other], cells[one]
    lines[row] = ",".join(cells)


def _cell_lost(lines, rng):
    row, cells = _cells(lines, rng)
    del cells[rng.randrange(len(cells))]
    lines[row] = ",".join(cells)


def _column_blank(lines, rng):
    column = rng.randrange(lines[0].count(",") + 1)
    for row in range(1, len(lines)):
        cells = lines[row].split(",")
        cells[column : column + 1] = [""] if column < len(cells) else []
        lines[row] = ",".join(cells)


def _character(lines, rng):
    row = rng.randrange(len(lines))
    at = rng.randrange(len(lines[row]) + 1)
    lines[row] = lines[row][:at] + rng.choice(STRANGE)[:1] + lines[row][at + rng.randrange(2) :]


def _line_lost(lines, rng):
    del lines[rng.randrange(len(lines))]


def _line_twice(lines, rng):
    lines.insert(rng.randrange(len(lines)), rng.choice(lines))


CHANGES = [
    *(_strange_cell, _swapped_cells, _cell_lost, _column_blank, _character),
    *(_line_lost, _line_twice),
]


def mutated(text, rng):
    """The bytes of a table with one change or two."""
    lines = text.splitlines()
    for _ in range(rng.randint(1, 2)):
        if lines:
            rng.choice(CHANGES)(lines, rng)
    text = rng.choice(["\n"] * 8 + ["\r\n", "\r"]).join(lines)
    if rng.random() < 0.05:
        text = text.replace(",", rng.choice(";\t|"))
    found = text.encode(rng.choice(["utf-8"] * 8 + ["utf-8-sig", "utf-16", "cp1252"]), "replace")
    return found[: rng.randrange(len(found) + 1)] if rng.random() < 0.05 else found


def _sentences(read):
    """What a table is read as, None where it is refused, and every line that is told of it."""
    with warnings.catch_warnings(record=True) as notes:
        warnings.simplefilter("always", TableWarning)
        try:
            return read(), [str(note.message) for note in notes]
        except BadInput as bad:
            return None, [*map(str, bad.faults), *(str(note.message) for note in notes)]


@pytest.mark.parametrize("part", range(PARTS))
def test_mutated_tables_are_read_or_refused_in_sentences(part, tmp_path):
    files = {kind: tmp_path / f"{kind}.csv" for kind in SOUND}
    for kind, text in SOUND.items():
        files[kind].write_text(text, encoding="utf-8")
    others = {role: files[role] for role in ("recipes", "schedules")}
    came = collections.Counter()
    for number in range(part, TABLES, PARTS):
        rng = random.Random(number)
        kind = rng.choice(list(SOUND))
        files[kind].write_bytes(mutated(SOUND[kind], rng))
        table, told = _sentences(lambda: read_table(files[kind], kind))  # noqa: B023 - at once
        came["refused" if table is None else "noted" if told else "read"] += 1
        assert table is not None or told, number
        if number % (ANSWERED_OF * PARTS) == part:
            tables, more = _sentences(lambda: read_plan(files["layers"], files["glazes"], **others))
            told += more
            if tables is not None:
                came["answered"] += 1
                assert answer(tables).pieces["risk"].between(0, 1).all(), number
        files[kind].write_text(SOUND[kind], encoding="utf-8")
        for line in told:
            assert line.isprintable(), (number, line)
            assert line.startswith(tuple(file.name for file in files.values())), (number, line)
            assert len(line) < MOST_CHARS, (number, line)
    assert came["refused"] > 0
    assert came["read"] + came["noted"] > 0
    print(f"mutated tables: {dict(came)}")  # pytest -rP shows it
