"""What catches a run holds it, and is asked for where the risk says so."""

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import MANY_HOLDS, glazes, pieces
from helpers.tables import layers

from runpredict.answers import cookies
from runpredict.answers.check import check

pytestmark = MANY_HOLDS


def test_a_cookie_holds_what_may_run():
    """The puddle's volume on the ring between foot and bare rim is the glaze it must hold."""
    past_m3 = np.array([0.0, 1e-6, 8e-6, 40e-6])
    foot_m, depth_m = np.full(4, 0.07), np.full(4, 5e-3)
    diameter, height = cookies.cookie_size_m(past_m3, foot_m, depth_m)
    inner = diameter - 2 * cookies.COOKIE_RIM_M
    assert np.pi / 4 * (inner**2 - foot_m**2) * depth_m == pytest.approx(past_m3, abs=1e-12)
    assert (np.diff(diameter) > 0).all()
    assert (np.diff(height) >= 0).all()
    assert diameter[0] == pytest.approx(0.07 + 2 * cookies.COOKIE_RIM_M)


def test_a_dish_holds_twice_what_may_run_around_its_pedestal():
    past_m3, foot_m = np.array([1e-6, 30e-6]), np.full(2, 0.07)
    diameter, depth = cookies.dish_size_m(past_m3, foot_m)
    assert (np.pi / 4 * (diameter**2 - foot_m**2) * depth >= 2 * past_m3).all()


def test_words_follow_the_risk_and_what_may_run():
    risk = np.array([0.04, 0.10, 0.30, 0.10, 0.90, 0.30, 0.90])
    catch = np.array(["dish", "cookie", "wide cookie", "dish", "cookie", "stand", "cookie"], object)
    meant = np.array([False] * 6 + [True])
    words = cookies.catch_word(risk, catch, meant, 0.05)
    assert words.tolist() == ["none", "advised", "needed", "dish", "needed", "dish", "dish"]
    some = slice(0, 3)
    assert cookies.catch_word(risk[some], catch[some], meant[some], 0.2).tolist() == [
        "none", "none", "advised",
    ]  # fmt: skip


def test_what_catches_a_run_follows_its_volume_and_the_pot():
    """A few drops never want a dish; a plate and a wide foot cannot be set in one."""
    glaze = pd.DataFrame([{"glaze": "sea", "source": "jar", "behaviour": "runny"}])
    row = {"glaze": "sea", "lower_edge_mm": 3.0, "upper_edge_mm": 90.0, "foot_mm": 70.0}
    kinds = {"mug": {"form": "mug", "wall_deg": 90.0}, "plate": {"form": "plate", "wall_deg": 15.0}}
    kinds |= {"wide": {"form": "bowl", "wall_deg": 90.0, "foot_mm": 230.0}}
    for kind, cells in kinds.items():
        answer = check(layers(row | cells), glaze)
        outline = cookies.outline_of(answer.stacks)
        catch = [
            cookies.catcher(np.array([1e-6 * cm3]), answer.stacks, outline)[0]
            for cm3 in (0.3, 5.0, 20.0, 80.0, 200.0)
        ]
        more = "dish" if kind == "mug" else "stand"
        assert catch[:2] == ["cookie", "cookie"] and catch[-1] == more
        order = ["cookie", "wide cookie", more]
        assert [order.index(word) for word in catch] == sorted(order.index(word) for word in catch)


@pytest.mark.parametrize(
    ("form", "wall_deg", "opens"),
    [("bowl", 120, 1), ("bowl", 60, 1), ("bottle", 60, -1), ("mug", 90, 0), ("", 60, 1),
     ("vase", 120, 1)],
)  # fmt: skip
def test_a_wall_leads_where_its_form_says(form, wall_deg, opens):
    leads = cookies.outward(form, wall_deg)
    assert np.sign(np.round(leads, 12)) == opens
    assert abs(leads) == pytest.approx(abs(np.cos(np.radians(wall_deg))))


def test_glaze_from_a_wide_wall_counts_by_its_girth():
    """The same glaze on a bowl four times as wide as its foot makes a larger puddle."""
    glaze = pd.DataFrame([{"glaze": "sea", "source": "jar", "behaviour": "runny"}])
    row = {"glaze": "sea", "coats": 3, "lower_edge_mm": 5.0, "upper_edge_mm": 90.0}
    bowl = check(layers(row | {"form": "bowl", "wall_deg": 120.0, "foot_mm": 60.0}), glaze)
    bottle = check(layers(row | {"form": "bottle", "wall_deg": 60.0, "foot_mm": 60.0}), glaze)
    girth = 1.0 + 2.0 * 47.5 * 0.5 / 60.0
    assert cookies.outline_of(bowl.stacks).girth[0] == pytest.approx(girth)
    assert cookies.outline_of(bottle.stacks).girth[0] == 1.0
    past = [found.outlook["past_foot_cm3"].iloc[0] for found in (bowl, bottle)]
    # 120° and 60° are equally steep, so that the same glaze runs down each metre of rim.
    assert past[0] > 1.2 * past[1] > 0


def test_every_pot_over_the_tolerance_is_told_what_catches_it_as_planned():
    """Whatever change is advised: a few millimetres of wax too."""
    answer = check(pieces(31, 400), glazes())
    found = answer.pieces
    over, word = found["risk"] > 0.05, found["cookie"]
    assert ((word == "none") == ~over).all()
    sizes = found[["cookie_diameter_mm", "cookie_height_mm"]]
    assert (sizes.notna().all(axis=1) == over).all()
    much = answer.outlook["catch"].isin(["dish", "stand"])
    assert ((word == "dish") == (over & much)).all()
    assert ((word == "needed") == ~much & (found["risk"] >= 0.25)).all()
    changed = answer.advice().word == "change"
    assert changed.sum() > 20 and (word[changed] != "none").all()


def test_no_cookie_is_thicker_than_one_that_stays_flat_or_thinner_than_one_that_does_not_crack():
    volume_m3 = np.array([0.0, 2e-6, 1e-3])
    _, height_m = cookies.cookie_size_m(volume_m3, np.full(3, 0.07), np.full(3, 4e-3))
    assert height_m == pytest.approx([6e-3, 8e-3, 15e-3])  # common practice, no source


def test_a_pot_at_the_tolerance_itself_needs_nothing():
    catch, runs = np.array(["cookie", "cookie"], dtype=object), np.array([False, False])
    words = cookies.catch_word(np.array([0.05, np.nextafter(0.05, 1.0)]), catch, runs, 0.05)
    assert words.tolist() == ["none", "advised"]


def test_the_flattest_wall_that_leads_outward_counts():
    """Over a dish the belly that leads out most comes lowest."""
    glaze = pd.DataFrame([{"glaze": "sea", "source": "jar"}])
    row = {"form": "bowl", "glaze": "sea", "lower_edge_mm": 5.0, "upper_edge_mm": 90.0}
    both = [row | {"layer": k, "wall_deg": wall} for k, wall in ((1, 150.0), (2, 100.0))]
    outline = cookies.outline_of(check(layers(*both), glaze).stacks)
    assert outline.rise[0] == pytest.approx(np.tan(np.radians(30.0)))


def test_a_wall_that_goes_out_over_the_dish_has_to_clear_it():
    """Where it crosses the dish's wall it is as high as that, or the pot cannot be set in it."""
    row = {"glaze": "sea", "lower_edge_mm": 5.0, "upper_edge_mm": 90.0, "foot_mm": 70.0}
    stacks = check(layers(row), pd.DataFrame([{"glaze": "sea", "source": "jar"}])).stacks
    much_m3 = np.array([80e-6])
    gap_m = 0.5 * (cookies.dish_size_m(much_m3, stacks.foot_m)[0] - stacks.foot_m)
    for over, out, word in ((0.99, 2.0, "stand"), (1.01, 2.0, "dish"), (0.99, 0.9, "dish")):
        outline = cookies.Outline(np.ones(1), over * cookies.DISH_DEEP_M / gap_m, out * gap_m)
        assert cookies.catcher(much_m3, stacks, outline).tolist() == [word]
