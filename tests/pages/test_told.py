"""An answer in words: the columns of the contract, a sentence a row, any units from one answer."""

import re

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import glazes, pieces
from helpers.tables import ANALYSIS, LAYER, layers

from runpredict.answers.check import check
from runpredict.pages.check_text import answer_text
from runpredict.pages.told import told, told_firings, write_answer

ONE_GLAZE = pd.DataFrame([ANALYSIS])
# The contract of the batch check, from memory.
LAYERS = [
    "piece", "firing", "layer", "glaze", "risk", "run_p05_mm", "run_p50_mm", "run_p95_mm",
    "lower_edge_mm", "basis", "reason",
]  # fmt: skip
PIECES = [
    "piece", "firing", "risk", "layer_to_blame", "wax_height_mm", "cookie", "cookie_diameter_mm",
    "cookie_height_mm", "advice",
]  # fmt: skip
ADVICE = {
    "none": re.compile(r"^Safe as planned\.( .+ could end [\d.]+ mm lower and stay safe\.)?$"),
    "edge": re.compile(r"^Stop (.+) ([\d.]+) mm above the foot instead of ([\d.]+) mm\.$"),
    "coat": re.compile(r"^One coat less of (.+): (\d+) instead of (\d+)\.$"),
    "wax": re.compile(r"^Leave the lowest ([\d.]+) mm bare instead of ([\d.]+) mm\.$"),
    "hold": re.compile(r"^Hold (\d+) min at the top; it concerns the whole firing\.$"),
    "cookie": re.compile(r"on a cookie ([\d.]+) mm wide and ([\d.]+) mm high\.$"),
}


@pytest.fixture(scope="module")
def answer():
    return check(pieces(31, 400), glazes())


def test_columns_are_those_of_the_contract(answer):
    found = told(answer)
    assert list(found.layers) == LAYERS
    assert list(found.pieces) == PIECES
    pd.testing.assert_frame_equal(found.layers[LAYERS[:-1]], answer.layers)
    pd.testing.assert_frame_equal(found.pieces[PIECES[:-1]], answer.pieces)


def test_every_piece_is_told_its_own_change(answer):
    sentences = told(answer).pieces["advice"]
    for change, sentence in zip(answer.changes.itertuples(), sentences, strict=True):
        (match,) = [kind for kind, words in ADVICE.items() if words.search(sentence)]
        assert match == change.change
        if match in ("edge", "coat"):
            assert ADVICE[match].search(sentence).group(1) == change.glaze
        if match == "coat":
            shown = [int(n) for n in ADVICE[match].search(sentence).groups()[1:]]
            assert shown == [change.changed, change.planned]
        assert ("could end" in sentence) == (change.spare_mm >= 5.0)


def test_one_answer_is_told_in_any_units(answer):
    mm, inches = told(answer), told(answer, "in")
    for before, after, column in zip(mm, inches, ("reason", "advice"), strict=True):
        plain = before.drop(columns=column)
        pd.testing.assert_frame_equal(plain, after.drop(columns=column))
        assert before[column].str.contains(r"\d mm\b").any()
        assert not before[column].str.contains(r"\d in\b").any()
        assert after[column].str.contains(r"\d in\b").any()
        assert not after[column].str.contains(r"\d mm\b").any()
    assert not re.search(r"\d mm\b", answer_text(answer, "in"))
    assert not re.search(r"\d in\b", answer_text(answer, "mm"))


def test_firings_have_their_pieces_by_risk(answer):
    ((firing, found),) = told_firings(answer)
    assert firing == "f"
    risks = [told.piece["risk"] for told in found]
    assert risks == sorted(risks, reverse=True)
    for piece in found:
        assert set(piece.layers["piece"]) == {piece.piece["piece"]} == {piece.blamed["piece"]}
        assert piece.blamed["layer"] == piece.piece["layer_to_blame"]


def test_what_is_written_is_what_is_told(answer, tmp_path):
    write_answer(answer, tmp_path / "out", "in")
    for table, name in zip(told(answer, "in"), ("layers", "pieces"), strict=True):
        read = pd.read_csv(tmp_path / "out" / f"{name}.csv", keep_default_na=False)
        assert list(read) == list(table)
        assert read.iloc[:, -1].tolist() == table.iloc[:, -1].tolist()
        risk = read["risk"].astype(float).to_numpy()
        assert np.allclose(risk, table["risk"], rtol=0, atol=1e-9)


def test_reasons_name_what_they_rest_on():
    found = check(
        layers({"thickness_mm": 0.5}, {"layer": 2, "glaze": "sea", "lower_edge_mm": 60.0}),
        ONE_GLAZE,
    )
    for reason in told(found).layers["reason"]:
        assert "overlap" in reason
        assert "55 mm above a bare foot of 5 mm" in reason
    assert LAYER["lower_edge_mm"] == 5.0
