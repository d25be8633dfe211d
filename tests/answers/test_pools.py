"""What pools in the well of a pot: no more than left its wall, never thinner with more glaze."""

import numpy as np
import pandas as pd
import pytest
from helpers.tables import layers

from runpredict import check
from runpredict.answers.pools import pools_of
from runpredict.model.features import FIRED_SHARE
from runpredict.words.answers import answer_text
from runpredict.words.pots import firings_in_words

GLAZES = pd.DataFrame(
    [
        {"glaze": g, "source": "jar", "behaviour": w}
        for g, w in (("sea", "stable"), ("ash", "runny"))
    ]
)
OUTSIDE = {"foot_mm": 70.0, "upper_edge_mm": 95.0}
INSIDE = {"side": "inside", "glaze": "ash", "lower_edge_mm": None, "upper_edge_mm": None}


def pool(inside=(), outside=(), more=()):
    """The row of `pools_of` for a mug with a liner."""
    rows = [{**OUTSIDE, **dict(outside)}, {**INSIDE, "foot_mm": 70.0, **dict(inside)}, *more]
    (found,) = pools_of(check(layers(*rows), GLAZES)).itertuples()
    return found


@pytest.mark.parametrize(
    "ways",
    [
        [{"inside": {"coats": n}} for n in (1, 2, 3, 5)],
        [{"inside": {"thickness_mm": t}} for t in (0.2, 0.5, 0.51, 1.0, 2.0)],
        [{"outside": {"cone": c}, "inside": {"cone": c}} for c in ("4", "6", "7", "9")],
        [{"outside": {"hold_min": m}, "inside": {"hold_min": m}} for m in (0, 10, 30, 120)],
        [{}, {"more": [{**INSIDE, "foot_mm": 70.0, "glaze": "sea", "layer": 2}]}],
        [{"outside": {"foot_mm": f}, "inside": {"foot_mm": f}} for f in (110.0, 70.0, 40.0)],
    ],
    ids=["coats", "thickness", "cone", "hold", "a layer more", "narrower"],
)
def test_more_glaze_or_heat_never_pools_thinner(ways):
    found = [pool(**way) for way in ways]
    for name in ("pool_mm", "pool_most_mm"):
        deep = [getattr(row, name) for row in found]
        assert deep == sorted(deep)
        assert deep[-1] > deep[0]


def test_a_taller_wall_pools_no_thinner():
    """To 1 %: the film looks at so many heights of a wall and no more (`film.VOLUME_STEPS`)."""
    found = [pool({"upper_edge_mm": high_mm}) for high_mm in (20.0, 35.0, 60.0, 95.0, 140.0)]
    for name in ("pool_mm", "pool_most_mm"):
        deep = np.array([getattr(row, name) for row in found])
        assert (deep[1:] >= 0.99 * deep[:-1]).all()
        assert deep[-1] > deep[0]


def test_it_is_the_floors_coat_and_no_more_than_all_of_the_walls():
    """A cylinder's wall of height h over a floor of width d: 4 h / d times its coat."""
    coat_mm = 1.5 * FIRED_SHARE
    found = pool({"thickness_mm": 1.5, "cone": "10"}, {"cone": "10"})
    assert coat_mm < found.pool_mm < found.pool_most_mm
    assert found.pool_most_mm < coat_mm * (1.0 + 4.0 * 95.0 / 70.0)
    cold = pool({"thickness_mm": 1.5, "cone": "019"}, {"cone": "019"})
    assert cold.pool_most_mm == pytest.approx(coat_mm, rel=0.02)


def test_a_well_that_is_left_bare_has_no_coat_of_its_own():
    high = pool({"lower_edge_mm": 40.0, "cone": "019"}, {"cone": "019"})
    assert high.pool_mm == high.pool_most_mm == 0.0


def test_blanks_are_what_the_pot_says_outside():
    told = {"lower_edge_mm": 0.0, "upper_edge_mm": 95.0, "cone": "6", "wall_deg": 90.0}
    blank = pool({"cone": None, "foot_mm": None, "wall_deg": None})
    assert blank[1:] == pytest.approx(pool(told)[1:])
    assert blank.floor_mm == 70.0


def test_it_is_said_in_a_line_wherever_a_pot_is_told():
    plan = layers(OUTSIDE, {**INSIDE, "foot_mm": 70.0, "coats": 3}, {"piece": "plain"})
    answer = check(plan, GLAZES)
    (firing,) = firings_in_words(answer)
    said = {pot.piece: pot.pool for pot in firing.pots}
    assert said["plain"] == ""
    assert said["mug"].endswith(" if its floor is as wide as the foot, 70 mm.")
    assert "of glaze in the well" in said["mug"]
    assert "mug, inside: " in answer_text(answer)
    assert "mug, inside: " in answer_text(answer, need_only=True)
    assert said["mug"] in answer._repr_html_()
    inches = {pot.piece: pot.pool for pot in firings_in_words(answer, "in")[0].pots}
    assert inches["mug"].endswith("2 3/4 in.")


def test_of_a_wall_without_a_height_nothing_is_told():
    bowl = {**INSIDE, "piece": "bowl"}
    with pytest.warns(UserWarning, match="inside only"):
        answer = check(layers({}, bowl), GLAZES)
    assert pools_of(answer).empty
    assert np.isnan(answer.tables.inside["upper_edge_mm"]).all()
