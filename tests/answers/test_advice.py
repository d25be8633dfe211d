"""Which change is told: the cheapest that is enough, each kind of it, none that spoils the pot."""

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import glazes, pieces
from helpers.tables import ANALYSIS, layers

from runpredict.answers import advice
from runpredict.answers.check import check
from runpredict.model.features import FIRED_SHARE, typical_thickness_mm
from runpredict.model.rules import RulesPredictor
from runpredict.units import MM_PER_INCH

# ZnO and frit with hardly any alumina, as crystal glazes are; invented.
CRYSTAL = {
    "glaze": "crystal", "source": "analysis", "SiO2": 48.0, "Al2O3": 1.8, "Na2O": 9.0, "K2O": 1.0,
    "CaO": 3.0, "ZnO": 27.0, "TiO2": 6.0, "B2O3": 2.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def answer():
    return check(pieces(41, 600), glazes())


def test_every_kind_of_change_and_every_number_of_them_comes_up(answer):
    found = answer.advice()
    assert set(found.word) == {"none", "change", "dish"}
    assert {"wax", "edge", "coat", "cone"} <= set(found.kind.ravel())
    assert set((found.kind != "").sum(axis=1)) == {0, 1, 2}
    assert ((found.word == "none") == (answer.pieces["risk"] <= answer.tolerance)).all()


def test_a_change_is_on_the_lines_of_the_ruler(answer):
    for units, step_m in (("mm", 1e-3), ("in", MM_PER_INCH / 8e3)):
        found = answer.advice(units)
        on_wall = np.isin(found.kind, ("wax", "edge"))
        lines = found.changed[on_wall] / step_m
        assert lines == pytest.approx(np.round(lines))
        assert (found.changed[on_wall] > found.planned[on_wall]).all()


def test_one_line_less_is_not_enough(answer):
    """A single band or edge is the least that is enough: the line below it is over."""
    found, stacks = answer.advice(), answer.stacks
    alone = (found.word == "change") & (found.kind[:, 1] == "")
    for i in np.flatnonzero(alone & np.isin(found.kind[:, 0], ("wax", "edge"))):
        one = stacks.take(np.array([i]))
        at = max(found.changed[i, 0] - 1e-3, found.planned[i, 0])
        lower = one.lower_m.copy()
        if found.kind[i, 0] == "wax":
            lower = np.where(one.present, np.maximum(lower, at), lower)
        else:
            lower[0, found.layer[i, 0] - 1] = at
        changed = advice.replace(one, lower_m=lower)
        assert answer.predictor.chances(changed).risk(changed)[1][0] > answer.tolerance


def test_two_are_told_only_where_no_one_is_enough(answer):
    """Each change of a combination, alone and as far as it may go, leaves the piece over."""
    found, stacks = answer.advice(), answer.stacks
    several = np.flatnonzero(found.kind[:, 1] != "")
    assert len(several) > 30
    told = RulesPredictor().chances(stacks)
    part, ask = stacks.take(several), advice.Ask(stacks, told, answer.tolerance)
    case = advice.Case(ask.take(several), several, lambda: ask, np.zeros(len(several), bool))
    whole = np.ones(len(several))
    moves = [advice.Move("wax"), advice.Move("top edge"), advice.Move("hold")]
    moves += [advice.Move(kind, k) for kind in ("edge", "coat")
              for k in range(part.present.shape[1])]  # fmt: skip
    for move in moves:
        far = advice.reach(case, move, (move,))
        risk = advice.risk_after(case, (move,), [far], whole)
        assert (risk[far.possible] > answer.tolerance).all()


def test_ways_are_ordered_by_what_they_cost():
    found = advice.ways(2)
    assert found[0] == (advice.Move("wax", little=True),)
    kinds = [tuple(move.kind for move in way) for way in found]
    assert kinds.index(("coat",)) < len(kinds) - 1 - kinds[::-1].index(("wax",))
    sizes = [len(way) for way in found]
    assert sizes == sorted(sizes)
    for count in (2, 3):
        costs = [sum(advice.COSTS[k] for k in way) for way in kinds if len(way) == count]
        assert costs == sorted(costs)
    assert all(len(set(way)) == len(way) for way in kinds)


def test_never_to_no_coat_nor_one_brushed(answer):
    coat = answer.advice().kind == "coat"
    changed = answer.advice().changed
    piece, place = np.nonzero(coat)
    layer = answer.advice().layer[piece, place] - 1
    method = answer.stacks.method[piece, layer]
    assert (changed[piece, place] >= np.where(method == "brush", 2, 1)).all()
    assert (changed[piece, place] == answer.stacks.coats[piece, layer] - 1).all()
    assert not answer.stacks.measured[piece, layer].any()


def test_a_measured_layer_is_told_how_thick_instead_of_how_many_coats(answer):
    """As a coat less would make it, on the hundredth (or tenth) of a mm at or below that."""
    found, stacks = answer.advice(), answer.stacks
    piece, place = np.nonzero(found.kind == "thickness")
    layer = found.layer[piece, place] - 1
    assert len(piece) > 5 and stacks.measured[piece, layer].all()
    coats = stacks.coats[piece, layer]
    typical = [
        typical_thickness_mm(stacks.method[piece, layer].tolist(), c) for c in (coats - 1, coats)
    ]
    dry_mm = 1e3 * stacks.thickness_m[piece, layer] / FIRED_SHARE
    assert 1e3 * found.planned[piece, place] == pytest.approx(dry_mm)
    changed_mm = 1e3 * found.changed[piece, place]
    finest = np.where(changed_mm < 1, 0.01, 0.1)
    assert changed_mm / finest == pytest.approx(np.round(changed_mm / finest))
    short = dry_mm * typical[0] / typical[1] - changed_mm
    assert ((short > -1e-9) & (short < finest + 1e-9)).all()


def test_a_shorter_hold_is_enough_where_nothing_else_can_be():
    """One coat, too low for wax: heat alone is left to change."""
    planned = {"coats": 1, "lower_edge_mm": 5.0, "upper_edge_mm": 20.0, "cone": "4"}
    glaze = pd.DataFrame([ANALYSIS])
    found = check(layers(planned | {"hold_min": 1500.0}), glaze)
    changes = found.changes()
    hold = changes.loc[changes["change"] == "hold"].iloc[0]
    assert (hold["layer"], hold["planned"]) == (0, 1500.0)
    assert hold["changed"] < 1500.0


def changed_in_columns(plan, changes):
    """The table with each change written where a potter would write it."""
    plan = plan.set_index(["piece", "layer"])
    columns = {"edge": "lower_edge_mm", "coat": "coats", "thickness": "thickness_mm"}
    for row in changes.loc[changes["change"].ne("")].itertuples():
        if row.change == "wax":
            plan.loc[row.piece, "lower_edge_mm"] = (
                plan.loc[row.piece, "lower_edge_mm"].clip(lower=row.changed).to_numpy()
            )
        elif row.change in columns:
            plan.loc[(row.piece, row.layer), columns[row.change]] = row.changed
        else:
            plan.loc[row.piece, {"hold": "hold_min", "cone": "cone"}[row.change]] = row.changed
    return plan.reset_index()


@pytest.mark.parametrize("scheduled", [True, False])
@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_what_is_told_is_enough_once_it_is_written_in_its_columns(scheduled, units):
    """Also of a firing typed as a schedule, whose heat no column changes, so that none is told."""
    segments = {"rate_c_per_h": [150.0, 60.0], "target_c": [1100.0, 1225.0], "hold_min": [0, 40]}
    schedule = pd.DataFrame({"firing": "f", "segment": [1, 2], **segments}) if scheduled else None
    plan = pieces(43, 400).assign(hold_min=40.0, cone="6")
    found = check(plan, glazes(), schedules=schedule)
    changes = found.changes(units)
    assert bool({"hold", "cone"} & set(changes["change"])) != scheduled
    after = check(changed_in_columns(plan, changes), glazes(), schedules=schedule).pieces["risk"]
    told = found.advice(units).word == "change"
    assert told.sum() >= 50
    assert after.to_numpy()[told].max() <= found.tolerance + 1e-9


def test_a_glaze_that_is_meant_to_run_is_caught_as_a_matter_of_course():
    row = {"glaze": "crystal", "cone": "10", "coats": 3, "lower_edge_mm": 3.0}
    answer = check(layers(row), pd.DataFrame([CRYSTAL]))
    assert answer.pieces["risk"].iloc[0] > 0.5
    assert advice.is_meant_to_run(answer.stacks).tolist() == [True]
    assert answer.advice().word.tolist() == ["pedestal"]
    assert answer.pieces["cookie"].tolist() == ["dish"]
    plain = check(layers({"coats": 3}), pd.DataFrame([ANALYSIS]))
    assert advice.is_meant_to_run(plain.stacks).tolist() == [False]
