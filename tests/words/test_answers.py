"""An answer in words: the columns of the contract, a sentence a row, any units from one answer."""

import re

import numpy as np
import pandas as pd
import pytest
from helpers.pictures import briefly
from helpers.pieces import MANY_HOLDS, glazes, pieces
from helpers.tables import ANALYSIS, LAYER, layers

from runpredict.answers.check import check
from runpredict.drawings.piece import drawn_piece
from runpredict.units import format_distance
from runpredict.words.answers import answer_text, told, write_answer
from runpredict.words.pots import NEEDS, firings_in_words

pytestmark = MANY_HOLDS

ONE_GLAZE = pd.DataFrame([ANALYSIS])
# The contract of the batch check, from memory.
LAYERS = [
    "piece", "firing", "layer", "glaze", "risk", "run_p05_mm", "run_p50_mm", "run_p95_mm",
    "lower_edge_mm", "basis", "reason",
]  # fmt: skip
PIECES = [
    "piece", "firing", "risk", "layer_to_blame", "wax_height_mm", "cookie", "cookie_diameter_mm",
    "cookie_height_mm", "advice", "after",
]  # fmt: skip


@pytest.fixture(scope="module")
def answer():
    return check(pieces(31, 400), glazes())


def test_columns_are_those_of_the_contract(answer):
    found = told(answer)
    assert list(found.layers) == LAYERS
    assert list(found.pieces) == PIECES
    pd.testing.assert_frame_equal(found.layers[LAYERS[:-1]], answer.layers)
    pd.testing.assert_frame_equal(found.pieces[PIECES[:-2]], answer.pieces)


def test_every_piece_is_told_its_own_advice(answer):
    first = answer.changes().drop_duplicates("piece")
    for change, spare, sentence in zip(
        first.itertuples(), answer.outlook["spare_mm"], told(answer).pieces["advice"], strict=True
    ):
        begins = {
            "none": "Safe as planned.",
            "cookie": "Fire it as planned on a kiln-washed ",
            "dish": "Not on this pot: choose another glaze",
        }
        assert sentence.startswith(begins.get(change.advice, ""))
        assert ("could end" in sentence) == (spare >= 5.0)
        if change.change == "edge":
            assert change.glaze in sentence
    assert set(first["advice"]) == {"none", "change", "cookie", "dish"}


def test_a_line_of_the_kiln_sheet_is_short_and_says_the_same(answer):
    for brief, sentence in zip(briefly(answer), told(answer).pieces["advice"], strict=True):
        assert len(brief) < 150
        for size in re.findall(r"[\d.]+ mm", brief.replace("\N{NO-BREAK SPACE}", " ")):
            assert size in sentence


def test_one_answer_is_told_in_any_units(answer):
    mm, inches = told(answer), told(answer, "in")
    for before, after, column in zip(mm, inches, ("reason", "advice"), strict=True):
        apart = [column, *before.columns[before.columns == "after"]]  # told on another ruler
        pd.testing.assert_frame_equal(before.drop(columns=apart), after.drop(columns=apart))
        assert before[column].str.contains(r"\d mm\b").any()
        assert not before[column].str.contains(r"\d in\b").any()
        assert after[column].str.contains(r"\d in\b").any()
        assert not after[column].str.contains(r"\d mm\b").any()
    assert not re.search(r"\d mm\b", answer_text(answer, "in"))
    assert not re.search(r"\d in\b", answer_text(answer, "mm"))


def test_a_change_and_a_cookie_are_told_as_one_or_the_other(answer):
    """On the line that is taped to the kiln, in the sentence, and in the table's words."""
    pieces = told(answer)[1]
    changes = answer.changes().drop_duplicates("piece")["advice"].to_numpy() == "change"
    assert changes.sum() > 20
    catch = answer.outlook["catch"]
    for row, brief, change, holds in zip(
        pieces.itertuples(),
        briefly(answer),
        changes,
        catch,
        strict=True,
    ):
        wide, high = np.ceil([row.cookie_diameter_mm, row.cookie_height_mm])
        size = f"{wide:g} x {high:g} mm".replace(" ", "\N{NO-BREAK SPACE}")  # on one line
        stands = {"dish": f"in a catch dish {size}", "stand": "on props over a kiln-washed tray"}
        stands = stands.get(holds, f"on a {holds} {size}")
        assert (f", or as planned {stands}." in brief) == change
        assert (stands in brief) == (row.cookie != "none")
        assert ("Or fire it as planned " in row.advice) == change
        assert ("dish" in brief) == (row.cookie == "dish" and holds == "dish")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_after_is_the_risk_of_the_pot_changed_as_advised(answer, units):
    pieces = told(answer, units)[1]
    advised = answer.changes(units).drop_duplicates("piece")["advice"].to_numpy()
    change = advised == "change"
    assert (pieces["after"][change] <= answer.tolerance).all()
    assert (pieces["risk"][change] > answer.tolerance).all()
    assert (pieces["after"][~change] == pieces["risk"][~change]).all()


def test_firings_have_their_pieces_by_risk(answer):
    (firing,) = firings_in_words(answer)
    assert (firing.firing, firing.name) == ("f", "f")
    chances = [pot.chance for pot in firing.pots]
    assert chances == sorted(chances, reverse=True)
    layers, pieces = told(answer)
    for pot in firing.pots:
        row = pieces.iloc[pot.place]
        assert (pot.piece, pot.chance, pot.advice) == (row["piece"], row["risk"], row["advice"])
        mine = layers.loc[layers["piece"] == pot.piece].sort_values("layer")
        assert [layer.glaze for layer in pot.layers] == mine["glaze"].tolist()
        blamed = mine.loc[mine["layer"] == row["layer_to_blame"]].iloc[0]
        assert pot.blame == f"{blamed['glaze']} (layer {blamed['layer']})"
        assert pot.why == f"{blamed['reason']}."
        assert pot.on_dish == row["advice"].startswith("Not on this pot")
        assert pot.over == (row["risk"] > answer.tolerance)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_bare_band_is_as_advised_or_as_planned(answer, units):
    waxed = 0
    for pot in firings_in_words(answer, units)[0].pots:
        piece = drawn_piece(answer, pot.place, units)
        planned = format_distance(piece.planned_band_mm, units)
        words = pot.bare.replace("\N{NO-BREAK SPACE}", " ")
        if np.isnan(piece.wax_mm):
            assert words == planned
        else:
            assert words == f"{format_distance(piece.wax_mm, units)}, as planned {planned}"
            waxed += 1
    assert waxed > 12


@pytest.mark.parametrize("units", ["mm", "in"])
def test_wax_alone_is_the_wax_that_is_advised(answer, units):
    """One number: of a pot told to be waxed, and nothing else, no narrower band beside it."""
    pots = [pot for firing in firings_in_words(answer, units) for pot in firing.pots]
    waxed = [pot for pot in pots if pot.need == "wax"]
    assert len(waxed) > 5
    for pot in waxed:
        assert f"eave the lowest {pot.wax} or more bare" in pot.advice


def test_pots_are_grouped_by_what_they_need(answer):
    (firing,) = firings_in_words(answer)
    assert sum(map(len, firing.by_need.values())) == len(answer.pieces)
    places = [list(NEEDS.values()).index(words) for words in firing.by_need]
    assert places == sorted(places)
    changes = answer.changes().groupby("piece")
    advice, kinds = changes["advice"].first(), changes["change"].agg(list)
    for words, pots in firing.by_need.items():
        for pot in pots:
            one = kinds[pot.piece][0] if len(kinds[pot.piece]) == 1 else "several"
            told = one if advice[pot.piece] == "change" else advice[pot.piece]
            assert words == NEEDS[told]
    assert len(firing.by_need) > 3


def test_what_is_written_is_what_is_told(answer, tmp_path):
    write_answer(answer, tmp_path / "out", "in")
    for table, name in zip(told(answer, "in"), ("layers", "pieces"), strict=True):
        read = pd.read_csv(tmp_path / "out" / f"{name}.csv", keep_default_na=False)
        assert list(read) == list(table)
        assert read["risk"].astype(str).str.fullmatch(r"\d(\.\d{1,4})?").all()
        words = table.columns[table.columns.isin(["reason", "advice"])].item()
        assert read[words].tolist() == table[words].tolist()
        risk = read["risk"].astype(float).to_numpy()
        assert np.allclose(risk, table["risk"], rtol=0, atol=5.001e-5)


def test_a_load_of_thirty_is_two_screens_and_a_safe_pot_a_line():
    """A screen of 24 lines of 100 letters, common practice, no source; in full twice as many."""
    plan = pieces(31, 30, 2).assign(cone="6", hold_min=10.0, coats=1, thickness_mm=np.nan)
    plan["lower_edge_mm"] = plan["lower_edge_mm"].clip(lower=0.45 * plan["upper_edge_mm"])
    load = check(plan, glazes())
    over = load.pieces["risk"] > load.tolerance
    assert 4 <= over.sum() <= 15
    for need_only, most in ((False, 4.5 * 24), (True, 2 * 24)):
        lines = answer_text(load, need_only=need_only).splitlines()
        assert len(lines) <= most
        for piece, risk in zip(load.pieces["piece"], over, strict=True):
            rows = [line for line in lines if re.search(rf" {piece}  ", line)]
            assert len(rows) == (1 if risk or not need_only else 0)


def test_a_cookie_until_there_is_a_log_is_told_of_the_others_or_of_these():
    """Of a load in which nothing, and one in which something, is over what is tolerated."""
    plan = pieces(31, 30, 2).assign(cone="6", hold_min=10.0, coats=1, thickness_mm=np.nan)
    plan["lower_edge_mm"] = plan["lower_edge_mm"].clip(lower=0.45 * plan["upper_edge_mm"])
    risks = check(plan, glazes())
    mixed = " ".join(answer_text(risks).split())
    assert re.search(r"a cookie is safer also under \d+ of the others: ", mixed)
    calm = risks.pieces.loc[risks.pieces["risk"] < risks.tolerance, "piece"]
    only = check(plan.loc[plan["piece"].isin(calm)], glazes())
    said = " ".join(answer_text(only).split())
    assert re.search(r"a cookie is safer under \d+ of these: ", said)
    assert "of the others" not in said


def test_costs_are_told_in_what_they_count_before_the_first_of_them(answer):
    for need_only in (True, False):
        words = " ".join(answer_text(answer, need_only=need_only).split())
        assert 0 < words.index("Costs count a lost pot") < words.index("Cost as told")
        assert words.count("Costs count") == 1


def test_no_figure_is_finer_than_a_ruler(answer):
    """In inches nothing but fractions a ruler has; in mm no hundredths but of a coat measured."""
    found = told(answer, "in")
    words = [*found.layers["reason"], *found.pieces["advice"], answer_text(answer, "in")]
    lengths = re.findall(r"([\d./]+) in\b", " ".join(words))
    assert len(lengths) > 200
    assert all(re.fullmatch(r"\d+|\d+/(2|4|8|16|32|64)", length) for length in lengths)
    reasons = " ".join(told(answer).layers["reason"])
    assert not re.search(r"\.\d\d", reasons)


def test_reasons_name_what_they_rest_on():
    found = check(
        layers({"thickness_mm": 0.5}, {"layer": 2, "glaze": "sea", "lower_edge_mm": 60.0}),
        ONE_GLAZE,
    )
    for reason in told(found).layers["reason"]:
        assert "overlap" in reason
        assert "55 mm above a bare foot of 5 mm" in reason
    assert LAYER["lower_edge_mm"] == 5.0
