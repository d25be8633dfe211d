"""Curves of scores: they show what the tables hold, legible at any size."""

import numpy as np
import pandas as pd
import pytest
from helpers.pictures import drawn_texts, text_faults
from scipy.stats import binomtest

from runpredict.drawings import score_curves as curves


def seen_table(count, seed=3):
    """Runs about as predicted; those past 20 mm passed the foot."""
    rng = np.random.default_rng(seed)
    middle = rng.lognormal(1.0, 1.2, count)
    run = middle * rng.lognormal(0.0, 0.7, count)
    past = run > 20.0
    return pd.DataFrame(
        {
            "run_p05_mm": 0.3 * middle, "run_p50_mm": middle, "run_p95_mm": 3.2 * middle,
            "run_mm": np.where(past, np.nan, run), "past_foot": np.where(past, "yes", "no"),
            "lower_edge_mm": 20.0,
        }
    )  # fmt: skip


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("count", [1, 3, 40, 1000])
def test_predicted_against_seen_marks_what_ran_past_the_foot(count, units):
    table = seen_table(count)
    figure = curves.predicted_seen_figure(table, units)
    assert text_faults(figure) == []
    (axes,) = figure.axes
    assert axes.get_ylabel() == f"run as seen [{units}]"
    past = table["past_foot"].eq("yes")
    drawn = {line.get_label(): line for line in axes.lines}
    assert drawn["seen"].get_marker() == "o"
    assert len(drawn["seen"].get_xdata()) == (~past).sum()
    censored = drawn.get("past the foot: at least this")
    assert (censored is not None) == past.any()
    if censored is not None:
        assert censored.get_marker() == "^"
        assert len(censored.get_xdata()) == past.sum()
        scale = 1.0 if units == "mm" else 25.4
        assert np.allclose(scale * np.asarray(censored.get_ydata(), dtype=float), 20.0)


def test_a_layer_past_the_foot_of_unknown_run_stands_at_the_top():
    table = seen_table(40).drop(columns="lower_edge_mm")
    (axes,) = curves.predicted_seen_figure(table).axes
    unknown = next(x for x in axes.lines if x.get_label() == "past the foot: not known how far")
    assert len(unknown.get_xdata()) == table["past_foot"].eq("yes").sum() > 0
    assert np.allclose(unknown.get_ydata(), axes.get_ylim()[1])


def test_share_of_runs_within_their_range_is_counted_from_measured_ones_alone():
    table = pd.DataFrame(
        {
            "run_p05_mm": [1.0, 1.0, 1.0, 1.0], "run_p50_mm": 2.0, "run_p95_mm": 3.0,
            "run_mm": [2.0, 2.0, 9.0, 1.0], "past_foot": ["no", "", "no", "yes"],
        }
    )  # fmt: skip
    texts = [text for text, _ in drawn_texts(curves.predicted_seen_figure(table))]
    assert any("within their range: 67%" in text for text in texts)
    assert text_faults(curves.predicted_seen_figure(table.head(0))) == []


def test_reliability_is_drawn_with_what_so_few_pieces_leave_open():
    table = pd.DataFrame(
        {
            "predicted": [0.01, 0.15, 0.55, 0.9, 0.3],
            "seen": [0.0, 0.2, 0.5, 1.0, np.nan],
            "pieces": [200, 60, 20, 9, 0],
        }
    )
    figure = curves.reliability_figure(table)
    assert text_faults(figure) == []
    texts = [text for text, _ in drawn_texts(figure)]
    assert {"200", "9", "risk as predicted [%]", "pieces that ran past the foot [%]"} <= set(texts)
    (axes,) = figure.axes
    seen = next(line for line in axes.lines if line.get_label() == "seen")
    assert np.asarray(seen.get_ydata()) == pytest.approx([0, 20, 50, 100])


@pytest.mark.parametrize(("seen", "pieces"), [(0, 7), (3, 9), (20, 40), (12, 12)])
def test_interval_of_a_share_is_wilsons(seen, pieces):
    low, high = curves.share_interval(np.array([seen / pieces]), np.array([float(pieces)]))
    told = binomtest(seen, pieces).proportion_ci(0.9, method="wilson")  # scipy, as a reference
    assert (low[0], high[0]) == pytest.approx((told.low, told.high), abs=2e-4)


def effects_table(count):
    rng = np.random.default_rng(5)
    factor = rng.lognormal(0.0, 0.8, count)
    names = [
        "Eel Lantern",
        "Lamp Room over Mackerel Sleeve",
        "W" * 200,
        "$\\frac{",
        "<b>",
        "\u202ex",
    ]
    names += [f"glaze {k}" for k in range(count)]
    return pd.DataFrame(
        {
            "name": names[:count], "factor": factor, "low": factor / 1.9, "high": factor * 1.9,
            "rows": rng.permutation(count) + 1,
        }
    )  # fmt: skip


@pytest.mark.parametrize("count", [0, 1, 3, 40, 90])
def test_effects_are_legible_and_the_best_known_are_shown(count):
    table = effects_table(count)
    figure = curves.effects_figure(table)
    assert text_faults(figure) == []
    (axes,) = figure.axes
    shown = [text.get_text() for text in axes.get_yticklabels()]
    assert len(shown) == min(count, curves.MOST_EFFECTS)
    if count > curves.MOST_EFFECTS:
        rows = [int(text.rpartition("(")[2].rstrip(")")) for text in shown]
        assert min(rows) == count - curves.MOST_EFFECTS + 1
    points = np.asarray(axes.lines[-1].get_xdata(), dtype=float)
    assert (np.diff(points) >= 0).all()


@pytest.mark.parametrize("sizes", [[30], [20, 50, 100, 200, 400]])
def test_skill_over_the_log_is_legible(sizes):
    skill = np.linspace(-0.02, 0.25, len(sizes))
    table = pd.DataFrame({"rows": sizes, "skill": skill})
    assert text_faults(curves.skill_figure(table)) == []
    banded = table.assign(low=skill - 0.05, high=skill + 0.05)
    figure = curves.skill_figure(banded.iloc[::-1])
    assert text_faults(figure) == []
    line = next(line for line in figure.axes[0].lines if line.get_label() == "skill")
    assert np.asarray(line.get_xdata()).tolist() == sizes
    assert np.asarray(line.get_ydata()) == pytest.approx(100 * skill)


@pytest.mark.parametrize(
    ("draw", "column"),
    [
        (curves.predicted_seen_figure, "run_p05_mm"),
        (curves.reliability_figure, "predicted"),
        (curves.effects_figure, "name"),
        (curves.skill_figure, "rows"),
    ],
)
def test_a_table_that_lacks_a_column_is_refused(draw, column):
    with pytest.raises(ValueError, match=rf"^table lacks {column}"):
        draw(pd.DataFrame())
