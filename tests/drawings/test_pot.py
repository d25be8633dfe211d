"""The pot drawn from its own figures: sound shapes, legible letters, signs beyond colour."""

from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from helpers.pictures import (
    HOSTILE,
    drawn_texts,
    one_piece,
    renamed,
    sample_answer,
    text_faults,
)
from helpers.pieces import MANY_HOLDS, glazes, pieces
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text

from runpredict.answers.check import answer as check_answer
from runpredict.answers.willing import Willing
from runpredict.drawings.piece import find_piece, profile_mm
from runpredict.drawings.pot import (
    key_figure,
    named_figure,
    pot_figure,
    side_figure,
    small_figure,
    wall_figure,
)
from runpredict.drawings.pot_view import SMALL_PT, WAX
from runpredict.drawings.style import (
    INK,
    MM_PER_INCH,
    SIGNS,
    WATER,
    drawable,
    fitted,
    sign,
    svg,
    tint,
    width_in,
    wrapped,
)
from runpredict.errors import BadInput
from runpredict.tables.plan import check_plan

pytestmark = MANY_HOLDS

SHAPES = ("mug 3", "bowl 2", "plate 1", "tile 2", "vase 2", "mug 1")


@pytest.mark.parametrize("wall_deg", [0.0, 15.0, 62.0, 90.0, 118.0, 180.0])
def test_the_wall_is_as_long_and_as_steep_as_the_table_says(wall_deg):
    piece = find_piece(one_piece([("Wet Hawser", 8.0, 80.0)], wall_deg=wall_deg), "pot")
    radius, height = profile_mm(piece, np.linspace(0.0, 80.0, 9))
    assert radius[0] == 30.0
    assert height[0] == 0.0
    assert np.hypot(np.diff(radius), np.diff(height)) == pytest.approx(np.full(8, 10.0))
    rise = np.degrees(np.arctan2(np.diff(height), np.diff(radius)))
    assert rise == pytest.approx(np.full(8, min(wall_deg, 180.0 - wall_deg)))


@pytest.mark.parametrize(
    ("form", "wall_deg", "leads"),
    [("bottle", 75.0, -1), ("vase", 105.0, 1), ("mug", 80.0, -1), ("bowl", 60.0, 1),
     ("plate", 20.0, 1), ("tile", 60.0, 0)],
)  # fmt: skip
def test_a_wall_closes_in_or_opens_out_as_its_form_says(form, wall_deg, leads):
    answer = one_piece([("Wet Hawser", 8.0, 80.0)], wall_deg=wall_deg, form=form)
    radius, height = profile_mm(find_piece(answer, "pot"), [0.0, 10.0])
    assert np.sign(np.round(radius[1] - radius[0], 9)) == leads
    assert height[1] > 0
    far, _ = profile_mm(find_piece(answer, "pot"), [500.0])
    assert far[0] > 0
    for make in (pot_figure(answer, "pot"), small_figure(find_piece(answer, "pot"))):
        assert svg(make).startswith("<svg")


def test_each_form_is_drawn_by_a_shape_of_its_own():
    drawn = set()
    for form in ("mug", "bowl", "vase", "bottle", "tile"):
        answer = one_piece([("Wet Hawser", 8.0, 80.0)], wall_deg=100.0, form=form)
        drawn.add(svg(small_figure(find_piece(answer, "pot"))))
    assert len(drawn) == 5


def test_a_wall_changes_its_angle_at_the_lower_edges():
    piece = find_piece(one_piece([("Wet Hawser", 10.0, 80.0), ("Eel Lantern", 50.0, 80.0)]), "pot")
    low, high = piece.layers
    piece = replace(piece, layers=(replace(low, wall_deg=120.0), replace(high, wall_deg=90.0)))
    radius, height = profile_mm(piece, [0.0, 10.0, 50.0, 80.0])
    # The steepest angle below each edge: 120° up to the first, 90° from there on.
    assert np.diff(radius) == pytest.approx([5.0, 0.0, 0.0], abs=1e-9)
    assert np.diff(height) == pytest.approx([10.0 * np.sin(np.radians(60.0)), 40.0, 30.0])


def test_below_the_foot_a_run_goes_straight_down():
    piece = find_piece(sample_answer(), "bowl 2")
    radius, height = profile_mm(piece, [-12.0])
    assert (radius[0], height[0]) == (0.5 * piece.foot_mm, -12.0)


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("name", SHAPES)
def test_letters_neither_meet_nor_leave_the_paper(name, units):
    figure = pot_figure(sample_answer(), name, units=units)
    assert text_faults(figure) == []
    piece = find_piece(sample_answer(), name, units=units)
    for alone in (side_figure(piece, units), wall_figure(piece, units)):
        assert text_faults(alone) == []


def test_letters_of_a_page_are_read_on_a_telephone():
    """No letter below 11 pixels at 96 to the inch, no picture wider than 390 less its margins."""
    piece = find_piece(sample_answer(), "vase 1")
    wall = wall_figure(piece, "mm")
    for figure in (side_figure(piece, "mm"), wall, key_figure()):
        assert figure.get_size_inches()[0] * 96 <= 358
        for text in figure.findobj(Text):
            assert not text.get_text().strip() or text.get_fontsize() * 96 / 72 >= 11
    assert SMALL_PT * 96 / 72 >= 11
    words = " ".join(text for text, _ in drawn_texts(wall))
    assert "Lamp Room" in words
    assert "Eel Lantern" in words
    assert "layer 1" not in words
    assert text_faults(key_figure()) == []


@pytest.mark.parametrize("layers", [1, 2, 3, 7])
def test_letters_keep_apart_whatever_the_layers_and_names(layers):
    stack = [("Lamp Room", 3.0 + 9.0 * k, 110.0) for k in range(layers)]
    piece = find_piece(one_piece(stack, wall_deg=140.0, coats=4), "pot")
    piece = replace(
        piece,
        name="W" * 200,
        layers=tuple(replace(layer, glaze="long name " * 20) for layer in piece.layers),
    )
    for units in ("mm", "in"):
        assert text_faults(named_figure(piece, units)) == []


@pytest.mark.parametrize("units", ["mm", "in"])
def test_edges_are_drawn_where_they_are_predicted(units):
    found = find_piece(sample_answer(), "vase 1")
    _, wall = pot_figure(sample_answer(), "vase 1", units=units).axes
    scale = 1.0 if units == "mm" else MM_PER_INCH
    levels = {round(scale * float(line.get_ydata()[0]), 3) for line in wall.lines}
    boxes = {
        (round(scale * box.get_y(), 3), round(scale * (box.get_y() + box.get_height()), 3))
        for box in wall.patches
    }
    assert 0.0 in levels  # the foot's edge
    for layer in found.layers:
        likely = 0.0 if layer.likely_past else layer.lower_mm - layer.run_p50_mm
        far = 0.0 if layer.may_pass else layer.lower_mm - layer.run_p95_mm
        assert (layer.lower_mm, layer.upper_mm) in boxes
        assert (round(likely, 3), layer.lower_mm) in boxes
        assert (round(max(far, 0.0), 3), round(likely, 3)) in boxes
        assert (round(likely, 3) in levels) or layer.likely_past


def test_wax_and_edges_stand_where_they_are_advised():
    plan = check_plan(pieces(31, 200), glazes())
    answer = check_answer(plan, willing=Willing(frozenset({"wax", "edge"})))
    changes = answer.changes()
    both = changes.groupby("piece")["change"].agg(set)
    name = both.index[both.map(lambda kinds: {"wax", "edge"} <= kinds)][0]
    mine = changes.loc[changes["piece"] == name].set_index("change")["changed"]
    _, wall = pot_figure(answer, name).axes
    levels = [line.get_ydata()[0] for line in wall.lines]
    assert mine["wax"] in levels
    assert mine["edge"] in levels
    assert find_piece(answer, name).band_mm == mine["wax"]
    safe = find_piece(sample_answer(), "mug 1")
    assert safe.band_mm == safe.layers[0].lower_mm
    words = " ".join(text for text, _ in drawn_texts(wall_figure(safe, "mm")))
    assert "wax line" not in words


def test_a_picture_shows_the_one_thing_that_is_advised():
    """A dish where one is, or else the change; the cookie in its place is told in words."""
    answer = sample_answer()
    for _, row in answer.pieces.iterrows():
        found = find_piece(answer, row["piece"], row["firing"])
        pot, _ = pot_figure(answer, row["piece"], row["firing"]).axes
        hatched = [p for p in pot.patches if p.get_hatch() == "|||"]
        waxed = [line for line in pot.lines if line.get_color() == WAX["color"]]
        place = answer.find(row["piece"], row["firing"])
        not_on = answer.advice().word[place] == "dish"
        assert bool(hatched) == (not_on and row["cookie"] == "dish")
        assert bool(waxed) == (not np.isnan(found.wax_mm))
        if hatched:
            across = hatched[0].get_xy()[:, 0]
            assert np.isclose(across, 0.5 * row["cookie_diameter_mm"]).any()
            assert not waxed


def test_lengths_are_told_in_the_readers_units():
    for units, other in (("mm", " in"), ("in", " mm")):
        texts = [text for text, _ in drawn_texts(pot_figure(sample_answer(), "mug 2", units=units))]
        assert f"up the wall [{units}]" in texts
        assert not [text for text in texts if text.endswith(other)]


def test_a_picture_is_the_same_whatever_the_callers_own_style():
    figure = pot_figure(sample_answer(), "mug 2")
    plain = svg(figure)
    assert svg(figure) == plain
    with matplotlib.rc_context({"font.size": 20.0, "svg.hashsalt": "mine", "axes.grid": True}):
        assert svg(pot_figure(sample_answer(), "mug 2")) == plain
    assert matplotlib.rcParams["svg.hashsalt"] != "runpredict"


def test_hostile_names_are_drawn_as_they_are_spelled():
    answer = renamed(HOSTILE)
    for piece in answer.pieces["piece"]:
        text = svg(pot_figure(answer, piece))
        tags = {element.tag.rpartition("}")[2] for element in ElementTree.fromstring(text).iter()}
        assert tags <= {"svg", "defs", "style", "g", "path", "clipPath", "rect", "use", "pattern"}
        assert "alert" not in text


def test_text_that_cannot_be_drawn_is_marked_and_cut():
    assert drawable("a\u202eb\u0000c\n d \u5b99") == "a?b?c d ?"
    assert fitted("short", 5.0, 8.0) == "short"
    cut = fitted("W" * 10_000, 2.0, 8.0)
    assert cut.endswith("…")
    assert 1.8 < width_in(cut, 8.0) <= 2.0
    for most_in in np.arange(0.6, 2.0, 0.02):
        lines = wrapped("Stop it 2 15/16 in or 75 mm above the foot", most_in, 8.0)
        assert [line for line in lines if "2 15/16 in" in line]
        assert [line for line in lines if "75 mm" in line]
    lines = wrapped("two words and " + "W" * 200, 1.5, 8.0)
    assert "".join(lines).replace(" ", "") == "twowordsand" + "W" * 200
    assert max(width_in(line, 8.0) for line in lines) <= 1.5


def test_a_piece_that_is_not_there_is_refused_in_a_sentence():
    with pytest.raises(BadInput, match='no piece "mug 99" in this answer; its pieces are "mug 1"'):
        pot_figure(sample_answer(), "mug 99")
    answer = sample_answer()
    twice = replace(answer, pieces=answer.pieces.replace({"piece": {"mug 4": "mug 1"}}))
    with pytest.raises(
        BadInput, match='"mug 1" is in several firings; name one of "Dabchick", "Old Nan"'
    ):
        find_piece(twice, "mug 1")


# What follows checks the signs against published rules.

# Linear RGB as the three kinds of dichromats see it: Machado, Oliveira & Fernandes (2009),
# IEEE Trans. Vis. Comput. Graph. 15:1283, severity 1.0; numbers from memory.
SEEN_BY = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
               [0.004733, 0.691367, 0.303900]],
    "grey": [[0.2126, 0.7152, 0.0722]] * 3,  # relative luminance, IEC 61966-2-1
}  # fmt: skip


def linear(color):
    """sRGB to linear, IEC 61966-2-1."""
    rgb = np.array(to_rgb(color))
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIE 1976 L*a*b* under D65 of linear sRGB."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = np.cbrt(np.clip(xyz @ rgb, 1e-3, None) / [0.9505, 1.0, 1.089])
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize("eyes", SEEN_BY)
def test_the_first_layers_differ_to_any_eyes_and_in_grey(eyes):
    seen = [lab(np.array(SEEN_BY[eyes]) @ linear(look.fill)) for look in SIGNS[:3]]
    for one, other in combinations(seen, 2):
        assert np.linalg.norm(one - other) > 12  # about five times what the eye just tells apart


def test_no_two_signs_share_hatch_dash_or_marker():
    for part in ("fill", "hatch", "dash", "marker"):
        assert len({str(getattr(look, part)) for look in SIGNS}) == len(SIGNS)
    assert sign(len(SIGNS)) == SIGNS[0]


@pytest.mark.parametrize("color", [INK, WATER])
def test_letters_stand_out_from_the_paper(color):
    luminance = float(linear(color) @ [0.2126, 0.7152, 0.0722])
    assert 1.05 / (luminance + 0.05) > 7.0  # WCAG 2.2, success criterion 1.4.6


def test_where_a_glaze_may_run_is_lighter_than_where_it_was_put_on():
    for look in SIGNS:
        assert lab(linear(tint(look.fill)))[0] > lab(linear(look.fill))[0] + 5


def test_the_detector_of_meeting_letters_finds_some():
    figure = Figure()
    figure.text(0.5, 0.5, "one")
    figure.text(0.51, 0.5, "other")
    figure.text(0.98, 0.9, "beyond the edge")
    assert len(text_faults(figure)) == 2
