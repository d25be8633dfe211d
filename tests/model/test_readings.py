"""Needles, cones that went down and the seconds of dips, and what a log learns of them."""

import numpy as np
import pytest
from helpers.pieces import MANY_HOLDS, glazes
from helpers.tables import layers

from runpredict.answers.check import check
from runpredict.model.features import features_of
from runpredict.model.learned import Log, learn
from runpredict.model.outcomes import outcomes_of
from runpredict.model.readings import Readings
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import check_plan

pytestmark = MANY_HOLDS

JARS = ("jar plain", "jar fluid")


def logged(*changes, count=24):
    """Pots of two jars that did not run, in six firings, each changed in turn."""
    rows = [
        {"piece": f"p{i}", "firing": f"f{i % 6}", "glaze": JARS[i % 2], "coats": 1, "cone": "6",
         "lower_edge_mm": 25.0, "method": "dip", "past_foot": "no",
         **changes[i % len(changes)]}
        for i in range(count)
    ]  # fmt: skip
    return layers(*rows)


def stacks(log):
    tables = check_plan(log, glazes(), log=log)
    made = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    return made, outcomes_of(tables.log, made)


def studio_of(log):
    made, outcomes = stacks(log)
    return learn(made, Log.of(made, outcomes)).studio


def risk(log, **cells):
    plan = layers({"piece": "new", "glaze": JARS[0], "coats": 1, "cone": "6", "method": "dip",
                   "lower_edge_mm": 12.0, **cells})  # fmt: skip
    return check(plan, glazes(), log).pieces["risk"].iloc[0]


DIP = {"dip_s": 3.0, "specific_gravity": 1.45}


def test_needles_beside_dips_teach_glaze_and_hand_how_thick_they_are():
    """One hand lays twice what its dips say: by needle on some pots, told of the others."""
    thick = {**DIP, "glazed_by": "Wren", "thickness_mm": 0.8}
    thin = {**DIP, "glazed_by": "Finch", "thickness_mm": 0.4}
    log = logged(thick, thin, {**DIP, "glazed_by": "Finch"}, {**DIP, "glazed_by": "Wren"})
    studio = studio_of(log)
    hands = [studio.mean[studio.known[("glazed by", name)]] for name in ("Wren", "Finch")]
    assert hands[0] - hands[1] > 0.05
    assert ("coat", JARS[0]) in studio.known
    assert risk(log, **DIP, glazed_by="Wren") > risk(log, **DIP, glazed_by="Finch")


def test_one_tile_a_bucket_moves_the_glaze_it_was_pricked_on():
    """A single reading moves the constant part of the way, and many the whole of it."""

    def coat(needles):
        pricked = {**DIP, "thickness_mm": 0.6}
        log = logged(*([pricked] * needles + [DIP] * (24 - needles)))
        studio = studio_of(log)
        at = [studio.known[effect] for effect in (("hand", ""), ("coat", JARS[0]))]
        return studio.mean[at].sum()

    one, many = coat(1), coat(12)
    assert 0.02 < one < many < 1.3 * np.log(1.5)


def test_without_a_dip_a_needle_is_no_reading():
    made, _ = stacks(logged({"thickness_mm": 0.6}, {}))
    assert not len(Readings.of(made, {}).read)


@pytest.mark.parametrize(("seen", "hotter"), [("7", True), ("5", False)])
def test_planned_pots_get_the_heat_that_their_kiln_and_shelf_usually_have(seen, hotter):
    """The cones of earlier firings there say so, whatever the pots beside them did."""
    log = logged({"kiln": "old", "shelf": "top", "witness_cone": seen}, {"kiln": "new"})
    plain = logged({"kiln": "old", "shelf": "top"}, {"kiln": "new"})
    here, there = ({"kiln": "old", "shelf": "top"}, {"kiln": "new"})
    apart = np.log(risk(log, **here) / risk(log, **there))
    before = np.log(risk(plain, **here) / risk(plain, **there))
    assert (apart > before + 0.05) if hotter else (apart < before - 0.05)


def test_the_cone_that_went_down_beside_a_pot_goes_before_what_its_shelf_usually_does():
    log = logged({"kiln": "old", "witness_cone": "7"})
    assert risk(log, kiln="old", witness_cone="6") < risk(log, kiln="old")


@pytest.mark.parametrize(
    "change",
    [("dip_s", (1, 3, 10, 60)), ("specific_gravity", (1.25, 1.45, 1.7)),
     ("absorption_pct", (0, 6, 12, 25))],
    ids=lambda change: change[0],
)  # fmt: skip
@pytest.mark.parametrize("with_log", [False, True])
def test_longer_thicker_and_thirstier_is_never_safer(change, with_log):
    column, values = change
    log = logged({**DIP, "thickness_mm": 0.6}, DIP) if with_log else None
    told = [risk(log, **{**DIP, column: value}) for value in values]
    assert (np.diff(told) >= -1e-9).all() and told[-1] > told[0]
