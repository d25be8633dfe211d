"""Textbook films against quadrature, closed limits and what cannot be."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runpredict.physics import sheets


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
