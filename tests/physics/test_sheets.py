"""Textbook films against quadrature, closed limits and what cannot be."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runpredict.physics import sheets


def sheared_flux_m2(h1, h2, m1, m2):
    """Flux of each film by integrating the shear from the wall outward, numerically."""
    y = np.concatenate([np.linspace(0, h1, 4001), np.linspace(h1, h1 + h2, 4001)[1:]])
    middle = 0.5 * (y[1:] + y[:-1])
    rate = np.where(middle < h1, m1, m2) * (h1 + h2 - middle)
    speed = np.concatenate([[0.0], np.cumsum(rate * np.diff(y))])
    flux = 0.5 * (speed[1:] + speed[:-1]) * np.diff(y)
    return flux[middle < h1].sum(), flux[middle > h1].sum()


@pytest.mark.parametrize(
    ("h1", "h2", "m1", "m2"),
    [(3e-4, 3e-4, 1e5, 1e5), (2e-4, 5e-4, 1e4, 1e6), (5e-4, 2e-4, 1e6, 1e4), (1e-5, 9e-4, 1, 1e6)],
)
def test_shear_of_two_films_that_do_not_mix(h1, h2, m1, m2):
    lower, upper = sheared_flux_m2(h1, h2, m1, m2)
    assert sheets.two_layer_flux_m2(h1, h2, m1, m2) == pytest.approx(lower + upper, rel=1e-6)
    assert sheets.upper_layer_flux_m2(h1, h2, m1, m2) == pytest.approx(upper, rel=1e-6)


def test_limits_of_two_films():
    """One melt, one film: Nusselt's m h³ / 3, whatever is called lower and upper."""
    h1, h2, m1, m2 = 2e-4, 5e-4, 3e5, 7e4
    assert sheets.two_layer_flux_m2(h1, h2, m1, m1) == pytest.approx(m1 * (h1 + h2) ** 3 / 3)
    assert sheets.two_layer_flux_m2(h1, 0.0, m1, m2) == pytest.approx(m1 * h1**3 / 3)
    assert sheets.two_layer_flux_m2(0.0, h2, m1, m2) == pytest.approx(m2 * h2**3 / 3)
    assert sheets.upper_layer_flux_m2(h1, 0.0, m1, m2) == 0.0
    assert sheets.upper_layer_flux_m2(0.0, h2, m1, m2) == pytest.approx(m2 * h2**3 / 3)
    # On a base that does not melt at all, the upper film runs as on a wall.
    assert sheets.two_layer_flux_m2(h1, h2, 0.0, m2) == pytest.approx(m2 * h2**3 / 3)
    # A fluid base carries the upper film further than a fluid top runs on a stiff base.
    slid = sheets.upper_layer_flux_m2(h1, h1, 1e6, 1e4)
    assert slid > sheets.upper_layer_flux_m2(h1, h1, 1e4, 1e6)


@given(*[st.floats(0, 1e-3)] * 2, *[st.floats(0, 1e7)] * 2)
def test_two_films_run_more_with_more_of_anything(h1, h2, m1, m2):
    for flux in (sheets.two_layer_flux_m2, sheets.upper_layer_flux_m2):
        before = flux(h1, h2, m1, m2)
        assert 0 <= before <= sheets.two_layer_flux_m2(h1, h2, m1, m2) * (1 + 1e-12)
        for k in range(4):
            more = [h1, h2, m1, m2]
            more[k] = more[k] * 1.5 + (1e-4 if k < 2 else 1e4)
            assert flux(*more) >= before * (1 - 1e-12)


@given(st.floats(0, 180), st.floats(0, 180))
def test_steeper_is_never_slower(one_deg, other_deg):
    flat, steep = sorted((one_deg, other_deg))
    assert sheets.mobility_per_m(1.0, 2400.0, flat) <= sheets.mobility_per_m(1.0, 2400.0, steep)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ((-1.0, 2400.0, 90.0), "fluidity_per_pa"),
        ((1.0, 0.0, 90.0), "density_kg_m3"),
        ((1.0, 2400.0, -1.0), "wall_deg"),
    ],
)
def test_what_cannot_be_is_refused(arguments, word):
    with pytest.raises(ValueError, match=word):
        sheets.mobility_per_m(*arguments)
    with pytest.raises(ValueError, match="mobility"):
        sheets.draining_thickness_m(0.01, 0.0)


def test_depth_of_a_puddle():
    """Water at 20 °C: capillary length 2.73 mm (handbook value, from memory); 2 l sin(30°)."""
    assert sheets.puddle_depth_m(0.0728, 998.2) == pytest.approx(2.73e-3, rel=0.01)
