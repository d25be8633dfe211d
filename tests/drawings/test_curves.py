"""Curves of what can be changed and of melts: true to the answer, legible at any size."""

import numpy as np
import pytest
from helpers.pictures import (
    HOSTILE,
    drawn_texts,
    renamed,
    sample_answer,
    sample_tables,
    text_faults,
)
from matplotlib.text import Text

from runpredict.answers.what_if import what_if
from runpredict.drawings import curves
from runpredict.errors import BadInput
from runpredict.physics.melt import viscosity_interval_log10, viscosity_log10_pa_s

PIECES = ("mug 1", "mug 3", "vase 2", "bowl 2", "plate 1", "mug 6")


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("piece", PIECES)
def test_the_three_decisions_are_legible(piece, units):
    figure = curves.decisions_figure(sample_answer(), piece, units=units)
    assert text_faults(figure) == []
    texts = [text for text, _ in drawn_texts(figure)]
    below = what_if(sample_answer(), piece).cooler_cone
    cone = f", dashed: cone {below}" if below else ""
    assert f"stops up the wall [{units}]" in texts
    assert "tolerated:\n5 %" in texts
    assert [" ".join(axes.get_xlabel().split()) for axes in figure.axes][1:] == [
        "coats of one layer",
        f"hold at the top [min]{cone}",
    ]
    for axes in figure.axes:
        levels = [line.get_ydata() for line in axes.lines]
        assert any(np.allclose(level, 100 * sample_answer().tolerance) for level in levels)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_small_curves_are_legible_on_a_telephone(units):
    for row in range(len(sample_answer().pieces)):
        figure = curves.curves_figure(sample_answer(), row, units)
        assert text_faults(figure) == []
        assert figure.get_size_inches()[0] * 96 <= 358
        for text in figure.findobj(Text):
            assert not text.get_text().strip() or text.get_fontsize() * 96 / 72 >= 11


def test_decisions_bear_any_name_and_any_tolerance():
    answer = renamed(HOSTILE)
    for piece in answer.pieces["piece"]:
        assert text_faults(curves.decisions_figure(answer, piece)) == []
    for tolerance in (0.001, 0.5, 0.99):
        figure = curves.decisions_figure(sample_answer(tolerance), "mug 2")
        assert text_faults(figure) == []


def test_a_piece_that_is_not_there_is_refused():
    with pytest.raises(BadInput, match='no piece "jug"'):
        curves.decisions_figure(sample_answer(), "jug")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_viscosity_is_drawn_as_the_melt_says(units):
    glazes = sample_tables().glazes
    figure = curves.viscosity_figure(glazes, units)
    assert text_faults(figure) == []
    (axes,) = figure.axes
    scale = "°C" if units == "mm" else "°F"
    assert axes.get_xlabel() == f"temperature [{scale}]"
    assert axes.get_ylabel().startswith("viscosity of the melt [Pa s]")
    known = glazes.loc[glazes["SiO2"].notna()]
    assert len(axes.lines) == len(axes.collections) == len(known) == 6
    for line, band, (_, glaze) in zip(axes.lines, axes.collections, known.iterrows(), strict=True):
        oxides = glaze.loc["SiO2":"F"].astype(float).fillna(0.0)
        shown = np.asarray(line.get_xdata())
        at_c = shown if units == "mm" else (shown - 32.0) / 1.8
        middle = 10 ** viscosity_log10_pa_s(oxides, at_c)
        assert np.asarray(line.get_ydata()) == pytest.approx(middle)
        low, high = viscosity_interval_log10(oxides, at_c[:1])
        edge = band.get_paths()[0].vertices[:, 1]
        assert edge.min() < 10 ** low[0] * 1.001
        assert edge.max() == pytest.approx(10 ** high[0])


def test_viscosity_of_jars_alone_is_refused():
    glazes = sample_tables().glazes
    with pytest.raises(BadInput, match="no glaze of known chemistry; give a recipe"):
        curves.viscosity_figure(glazes.loc[glazes["source"] == "jar"])
