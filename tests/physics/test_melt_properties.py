"""What else of the melt moves a film: density and surface tension."""

from typing import Any

import numpy as np
import pytest

from runpredict.physics import chemistry, melt_properties

WINDOW_WT = {"SiO2": 72.5, "Al2O3": 1.5, "Na2O": 13.5, "K2O": 0.5, "MgO": 3.5, "CaO": 8.5}


def one_oxide(oxide: str) -> Any:
    return (np.array(chemistry.OXIDES) == oxide).astype(float)[None]


def test_density_of_known_melts() -> None:
    """Diopside at 1500 °C 2.62, anorthite at 1600 °C 2.56 g/cm3: Lange & Carmichael (1987),
    Geochim. Cosmochim. Acta 51:2931; window glass at 1300 °C 2.33: from memory."""
    for wt, t_c, known in (
        ({"SiO2": 55.5, "MgO": 18.6, "CaO": 25.9}, 1500.0, 2620.0),
        ({"SiO2": 43.2, "Al2O3": 36.6, "CaO": 20.2}, 1600.0, 2560.0),
        (WINDOW_WT, 1300.0, 2330.0),
    ):
        x = chemistry.mole_fractions(wt)
        assert melt_properties.density_kg_m3(x, t_c)[0] == pytest.approx(known, rel=0.02)
        assert (
            melt_properties.density_kg_m3(x, t_c - 200.0)[0]
            > melt_properties.density_kg_m3(x, t_c)[0]
        )


def test_surface_tension_of_known_melts() -> None:
    """Soda-lime glass 0.30 to 0.32 N/m near 1300 °C, from memory; boron lowers it."""
    x = chemistry.mole_fractions(WINDOW_WT)
    assert 0.29 < melt_properties.surface_tension_n_m(x, 1300.0)[0] < 0.33
    boron = 0.9 * x + 0.1 * one_oxide("B2O3")
    assert (
        melt_properties.surface_tension_n_m(boron, 1300.0)[0]
        < melt_properties.surface_tension_n_m(x, 1300.0)[0]
    )
