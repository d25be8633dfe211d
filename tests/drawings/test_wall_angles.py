"""The picture of the wall's angle: it says what the tables' contract says."""

import io
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from PIL import Image

from runpredict.drawings.wall_angles import WALLS, draw_wall_angles, wall_angles_png

README_PICTURE = Path(__file__).parents[2] / "sample_data" / "pictures" / "wall_angles.png"


def test_each_wall_is_drawn_at_its_angle_from_the_level():
    for axes, wall in zip(draw_wall_angles().axes, WALLS, strict=True):
        clay = axes.patches[0].get_xy()
        rise = clay[1] - clay[0]
        assert np.degrees(np.arctan2(rise[1], rise[0])) == pytest.approx(wall.deg, abs=1e-9)
        assert any(f"{wall.deg:g} {wall.word}" == text.get_text() for text in axes.texts)


def test_the_words_are_those_of_the_contract():
    # "0 flat, 90 vertical, over 90 overhanging (as under a bowl's belly)"
    words = {wall.deg: wall for wall in WALLS}
    assert words[0.0].word == "flat"
    assert words[90.0].word == "upright"
    assert all(wall.word == "overhangs" for wall in WALLS if wall.deg > 90)


@pytest.mark.skipif(
    matplotlib.__version_info__ < (3, 10), reason="an older matplotlib draws letters otherwise"
)
def test_the_picture_of_readme_is_the_one_drawn():
    drawn = Image.open(io.BytesIO(wall_angles_png())).convert("L")
    shown = Image.open(README_PICTURE).convert("L")
    assert drawn.size == shown.size
    apart = np.abs(np.asarray(drawn, dtype=float) - np.asarray(shown, dtype=float))
    assert apart.mean() < 0.9  # of 255; a wall drawn 3° steeper makes 0.92


def test_the_picture_reads_in_grey_and_nothing_is_cut():
    grey = np.asarray(Image.open(io.BytesIO(wall_angles_png())).convert("L"))
    edges = np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])
    assert (edges == 255).all()
    assert (grey < 60).mean() > 0.005
