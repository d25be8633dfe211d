"""Which change is told: the cheapest that is enough, each kind of it, none that spoils the pot."""

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import MANY_HOLDS, glazes, pieces
from helpers.tables import ANALYSIS, layers

from runpredict.answers import advice, moves
from runpredict.answers.advice import is_meant_to_run
from runpredict.answers.check import answer as check_answer
from runpredict.answers.check import check
from runpredict.answers.moves import Move
from runpredict.answers.willing import Willing
from runpredict.model.features import FIRED_SHARE, typical_thickness_mm
from runpredict.tables.plan import check_plan
from runpredict.units import MM_PER_INCH

pytestmark = MANY_HOLDS

# ZnO and frit with hardly any alumina, as crystal glazes are; invented.
CRYSTAL = {
    "glaze": "crystal", "source": "analysis", "SiO2": 48.0, "Al2O3": 1.8, "Na2O": 9.0, "K2O": 1.0,
    "CaO": 3.0, "ZnO": 27.0, "TiO2": 6.0, "B2O3": 2.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def answer():
    """Of a studio without cookies, where most is changed."""
    without = Willing(frozenset({"wax", "edge", "coats"}))
    return check_answer(check_plan(pieces(41, 600), glazes()), willing=without)


def test_every_kind_of_change_and_every_number_of_them_comes_up(answer):
    found = answer.advice()
    assert set(found.word) == {"none", "change", "dish"}
    assert {"wax", "edge", "coat", "thickness"} <= set(found.kind.ravel())
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
    """A band or an edge is the least that holds 2 mm lower: a mm less, and it does not."""
    found, stacks = answer.advice(), answer.stacks
    alone = (found.word == "change") & (found.kind[:, 1] == "")
    over = []
    for i in np.flatnonzero(alone & np.isin(found.kind[:, 0], ("wax", "edge"))):
        one = stacks.take(np.array([i]))
        kind, layer = found.kind[i, :1], found.layer[i, :1] - 1
        less = moves.with_change(one, kind, layer, found.changed[i, :1], -3e-3)
        over.append(answer.predictor.chances(less).risk(less)[1][0] > goals(answer)[i])
    assert len(over) > 30 and np.mean(over) > 0.95  # but where an edge lies near another


def goals(answer):
    """Risk at or under which a change is worth its reglazing."""
    return np.minimum(answer.tolerance, answer.pieces["risk"].to_numpy() - 0.5 / 20.0)


def test_an_edge_beside_another_holds_wherever_a_hand_ends():
    """Two edges within 3 mm: on its way from 2 mm below to 2 mm above, one passes the other."""
    plan = pieces(47, 900, most_layers=2)
    plan = plan[plan.groupby("piece")["layer"].transform("size") == 2].copy()
    first = plan.groupby("piece")["lower_edge_mm"].transform("first")
    off = np.random.default_rng(1).choice([-3.0, -1.0, -0.5, 0.0, 0.5, 1.0, 3.0], len(plan))
    second = np.clip(first + off, 0.0, plan["upper_edge_mm"] - 1.0)
    plan["lower_edge_mm"] = np.where(plan["layer"] == 2, second, first)
    answer = check_answer(check_plan(plan, glazes()), willing=Willing(frozenset({"edge"})))
    found, goal = answer.advice(), goals(answer)
    told = np.flatnonzero(found.word == "change")
    assert len(told) > 30
    for off_m in np.arange(-2.0, 2.01, 0.25) * 1e-3:
        one = answer.stacks.take(told)
        for place in (0, 1):
            kind, layer = found.kind[told, place], np.maximum(found.layer[told, place] - 1, 0)
            amount = np.nan_to_num(found.changed[told, place])
            one = moves.with_change(one, kind, layer, amount, off_m)
        assert (answer.predictor.chances(one).risk(one)[1] <= goal[told] + 1e-9).all()


def test_a_thickness_holds_a_tenth_over_what_is_told():
    plan = pieces(41, 600).assign(thickness_mm=0.5)
    answer = check_answer(check_plan(plan, glazes()), willing=Willing(frozenset({"coats"})))
    found, goal = answer.advice(), goals(answer)
    told = np.flatnonzero(found.kind[:, 0] == "thickness")
    one = answer.stacks.take(told)
    thicker = 1.1 * found.changed[told, 0]
    one = moves.with_change(one, found.kind[told, 0], found.layer[told, 0] - 1, thicker)
    risk = answer.predictor.chances(one).risk(one)[1]
    assert len(told) > 10 and (risk <= goal[told] + 1e-9).all()


def test_two_are_told_only_where_no_one_is_enough(answer):
    """Each change of a combination, alone and as far as it may go, leaves the piece over."""
    found, stacks = answer.advice(), answer.stacks
    several = np.flatnonzero(found.kind[:, 1] != "")
    assert len(several) > 4
    part = stacks.take(several)
    tried = [Move("wax"), Move("top edge")]
    tried += [Move(kind, k) for kind in ("edge", "coat") for k in range(part.present.shape[1])]
    over = []
    for move in tried:
        far = moves.reach(part, move, (move,))
        kind = moves.told_kind(part, move, far.layer)
        most = far.at(np.ones(len(several)))
        changed = moves.with_change(part, kind, far.layer, most, -moves.HAND_M)
        risk = answer.predictor.chances(changed).risk(changed)[1]
        goal = np.minimum(answer.tolerance, answer.pieces["risk"].to_numpy()[several] - 0.5 / 20.0)
        over += (risk > goal)[far.possible].tolist()
    assert len(over) > 15 and np.mean(over) > 0.95  # but where a single change is larger


def test_what_is_settled_at_once_for_many_layers_changes_no_advice(monkeypatch):
    """Towers of six layers: the same advice as where every two changes are tried by themselves."""
    base = pieces(45, 150, most_layers=1).query("upper_edge_mm > 70")
    base = base.assign(thickness_mm=np.nan, coats=2, method="spray", hold_min=10.0)
    tower = pd.concat([base.assign(layer=k) for k in range(1, 7)], ignore_index=True)
    stepped = tower["lower_edge_mm"] + 8.0 * (tower["layer"] - 1)
    tower["lower_edge_mm"] = np.minimum(stepped, tower["upper_edge_mm"] - 8.0)
    tables = check_plan(tower.sort_values(["piece", "layer"], ignore_index=True), glazes())
    some = Willing(frozenset({"edge", "coats"}))
    at_once = check_answer(tables, willing=some).advice()
    monkeypatch.setattr(advice, "MANY", 1000)
    by_itself = check_answer(tables, willing=some).advice()
    assert (at_once.kind[:, 1] == "coat").any()
    for name in ("word", "kind", "layer", "changed"):
        np.testing.assert_array_equal(getattr(at_once, name), getattr(by_itself, name))


def test_ways_are_ordered_by_what_they_cost():
    found = moves.ways(2)
    assert found[0] == (Move("wax", little=True),)
    kinds = [tuple(move.kind for move in way) for way in found]
    sizes = [len(way) for way in found]
    assert sizes == sorted(sizes)
    for count in (2, 3):
        costs = [sum(moves.COSTS[k] for k in way) for way in kinds if len(way) == count]
        assert costs == sorted(costs)
    assert all(len(set(way)) == len(way) for way in kinds)


def test_never_to_no_coat_nor_one_brushed(answer):
    coat = answer.advice().kind == "coat"
    changed = answer.advice().changed
    piece, place = np.nonzero(coat)
    layer = answer.advice().layer[piece, place] - 1
    method = answer.stacks.method[piece, layer]
    assert (changed[piece, place] >= np.where(method == "brush", 2, 1)).all()
    less = answer.stacks.coats[piece, layer] - changed[piece, place]
    alone = answer.advice().kind[piece, 1] == ""
    assert set(less[alone]) > {1, 2} and set(less[~alone]) == {1}
    assert not answer.stacks.measured[piece, layer].any()


def test_a_measured_layer_is_told_how_thick_instead_of_how_many_coats(answer):
    """Beside another change as a coat less makes it, on the twentieth of a mm or the tenth."""
    found, stacks = answer.advice(), answer.stacks
    paired = (found.kind[:, 1] != "")[:, None]
    piece, place = np.nonzero((found.kind == "thickness") & paired)
    layer = found.layer[piece, place] - 1
    assert len(piece) > 2 and stacks.measured[piece, layer].all()
    coats = stacks.coats[piece, layer]
    typical = [
        typical_thickness_mm(stacks.method[piece, layer].tolist(), c) for c in (coats - 1, coats)
    ]
    dry_mm = 1e3 * stacks.thickness_m[piece, layer] / FIRED_SHARE
    assert 1e3 * found.planned[piece, place] == pytest.approx(dry_mm)
    changed_mm = 1e3 * found.changed[piece, place]
    finest = np.where(changed_mm < 1, 0.05, 0.1)
    assert changed_mm / finest == pytest.approx(np.round(changed_mm / finest))
    short = dry_mm * typical[0] / typical[1] - changed_mm
    assert ((short > -1e-9) & (short < finest + 1e-9)).all()


def test_nothing_is_told_that_the_studio_is_not_willing_to_do():
    tables = check_plan(pieces(41, 300), glazes())
    for some, told in (
        ({"wax"}, {"wax"}),
        ({"edge", "cookie"}, {"edge"}),
        ({"coats"}, {"coat", "thickness"}),
        (set(), set()),
    ):
        found = check_answer(tables, willing=Willing(frozenset(some))).advice()
        assert set(found.kind.ravel()) - {""} == told
        assert ("cookie" in found.word) == ("cookie" in some)
        assert "none" in found.word and "dish" in found.word


def test_no_advice_costs_more_than_leaving_all_as_it_is():
    """In the studio's own numbers, whatever they are and whatever it tolerates."""
    tables = check_plan(pieces(41, 300), glazes())
    for tolerance, willing in (
        (0.05, Willing()),
        (0.01, Willing()),
        (0.3, Willing(lost=4.0, reglaze=1.0)),
        (0.05, Willing(cookie=0.3, reglaze=0.9)),
    ):
        answer = check_answer(tables, tolerance, willing=willing)
        found, lost = answer.advice(), willing.lost_at(tolerance)
        before = lost * answer.pieces["risk"].to_numpy()
        after = np.where(found.word == "change", willing.reglaze + lost * found.risk, before)
        after = np.where(found.word == "cookie", willing.cookie, after)
        assert (after <= before + 1e-9).all()
        assert (found.word == "cookie").any()


def changed_in_columns(plan, changes):
    """The table with each change written where a potter would write it."""
    plan = plan.set_index(["piece", "layer"])
    columns = {"edge": "lower_edge_mm", "coat": "coats", "thickness": "thickness_mm"}
    for row in changes.loc[changes["change"].ne("")].itertuples():
        if row.change == "wax":
            plan.loc[row.piece, "lower_edge_mm"] = (
                plan.loc[row.piece, "lower_edge_mm"].clip(lower=row.changed).to_numpy()
            )
        else:
            plan.loc[(row.piece, row.layer), columns[row.change]] = row.changed
    return plan.reset_index()


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_what_is_told_is_enough_once_it_is_written_in_its_columns(units):
    plan = pieces(43, 400).assign(hold_min=40.0, cone="6")
    found = check(plan, glazes())
    changes = found.changes(units)
    after = check(changed_in_columns(plan, changes), glazes()).pieces["risk"]
    told = found.advice(units).word == "change"
    assert told.sum() >= 30
    assert after.to_numpy()[told].max() <= found.tolerance + 1e-9


def test_a_glaze_that_is_meant_to_run_is_caught_as_a_matter_of_course():
    row = {"glaze": "crystal", "cone": "10", "coats": 3, "lower_edge_mm": 3.0}
    answer = check(layers(row), pd.DataFrame([CRYSTAL]))
    assert answer.pieces["risk"].iloc[0] > 0.5
    assert is_meant_to_run(answer.stacks).tolist() == [True]
    assert answer.advice().word.tolist() == ["pedestal"]
    assert answer.pieces["cookie"].tolist() == ["dish"]
    plain = check(layers({"coats": 3}), pd.DataFrame([ANALYSIS]))
    assert is_meant_to_run(plain.stacks).tolist() == [False]


def test_of_a_layer_that_is_on_the_pot_only_wax_and_a_cookie_are_left():
    plan = pieces(41, 300)
    without = Willing(frozenset({"wax", "edge", "coats"}))
    free = check_answer(check_plan(plan, glazes()), willing=without).advice()
    assert {"edge", "coat"} <= set(free.kind.ravel())
    on_pot = check_plan(plan.assign(glazed="yes"), glazes())
    assert set(check_answer(on_pot, willing=without).advice().kind.ravel()) == {"", "wax"}
    assert "cookie" in check_answer(on_pot).advice().word
    first = check_plan(plan.assign(glazed=np.where(plan["layer"] == 1, "yes", "")), glazes())
    left = check_answer(first, willing=without).advice()
    other = left.layer[np.isin(left.kind, ("edge", "coat", "thickness"))]
    assert len(other) and (other > 1).all()


def test_of_many_coats_fewer_alone_are_told_before_two_changes():
    """Four coats of a runny jar that hold with two: nothing else is told of them."""
    plan = pieces(41, 600).assign(coats=4, thickness_mm=np.nan)
    without = Willing(frozenset({"wax", "edge", "coats"}))
    answer = check_answer(check_plan(plan, glazes()), willing=without)
    found = answer.advice()
    paired = np.flatnonzero(found.kind[:, 1] != "")
    part, over = answer.stacks.take(paired), []
    goal = goals(answer)[paired]
    for k in range(part.present.shape[1]):
        least = np.where(part.method[:, k] == "brush", 2.0, 1.0)
        layer = np.full(len(paired), k)
        kind = np.where(part.present[:, k], "coat", "").astype(object)
        fewest = moves.with_change(part, kind, layer, least)
        over.append(answer.predictor.chances(fewest).risk(fewest)[1] > goal)
    assert len(paired) and np.all(over)
    fewer = (found.kind[:, 0] == "coat") & (found.kind[:, 1] == "")
    assert (found.planned[fewer, 0] - found.changed[fewer, 0] > 1).sum() > 10
