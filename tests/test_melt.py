"""The melt: viscosity against measurements no fit has seen and published glasses."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from runpredict import chemistry, melt

PUBLISHED = Path(__file__).parent / "published"
WINDOW_WT = {"SiO2": 72.5, "Al2O3": 1.5, "Na2O": 13.5, "K2O": 0.5, "MgO": 3.5, "CaO": 8.5}

mole_fractions = (
    hnp.arrays(
        np.float64, len(chemistry.OXIDES), elements=st.floats(0.0, 1.0, allow_subnormal=False)
    )
    .filter(lambda x: x[: len(melt.FITTED)].sum() > 0.01)
    .map(lambda x: x / x.sum())
)


def published_glasses() -> list[Any]:
    table = pd.read_csv(PUBLISHED / "fluegel_2007.csv")
    return [pytest.param(r, id=f"{r['glass']} {r['temperature_c']}") for _, r in table.iterrows()]


@pytest.mark.parametrize("row", published_glasses())
def test_standard_glasses_lie_in_the_stated_interval(row: Any) -> None:
    """Fluegel (2007), Glass Technol. 48:13, tables 1 and 12; mol %."""
    x = np.array([[row.get(oxide, 0.0) for oxide in chemistry.OXIDES]], dtype=float)
    wt = x * chemistry.MOLAR_MASS_G_PER_MOL
    low, high = melt.viscosity_interval_log10(100 * wt / wt.sum(), row["temperature_c"], 0.9)
    assert low[0] <= row["value"] <= high[0]


@given(mole_fractions)
@settings(max_examples=300, deadline=None)
def test_viscosity_falls_with_temperature_by_any_error(x: Any) -> None:
    curve = melt.melt_curve(x)
    t_c = np.linspace(600.0, 1500.0, 181)
    value, sd = curve.log10_pa_s(t_c), curve.sd_at(t_c)
    assert np.isfinite(value).all() and (sd > 0).all()
    for errors in (-3.0, -1.0, 0.0, 1.0, 3.0):
        assert (np.diff(value + errors * sd) < 0).all()


@given(mole_fractions)
@settings(max_examples=100, deadline=None)
def test_error_never_shrinks_outside_the_measured_temperatures(x: Any) -> None:
    sd = melt.melt_curve(x).sd_at([600.0, 700.0, 850.0, 1100.0, 1350.0, 1500.0])[0]
    assert sd[0] > sd[1] > sd[2] == sd[3] == sd[4] < sd[5]
