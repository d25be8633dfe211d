"""Crystals and grains: against phase diagrams, Roscoe's law, and what must never break."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from runpredict.physics import chemistry, heat, melt, solids

LIQUIDUS = pd.read_csv(Path(__file__).parents[1] / "published" / "liquidus.csv")
TEMPERATURE_C = np.linspace(450.0, 1700.0, 500)

any_melt = (
    hnp.arrays(
        np.float64, len(chemistry.OXIDES), elements=st.floats(0.0, 1.0, allow_subnormal=False)
    )
    .filter(lambda x: x[:-1].sum() > 0.01)
    .map(lambda x: x / x.sum())
)
GLOSSY = {"SiO2": 65, "Al2O3": 11, "K2O": 6, "Na2O": 3, "CaO": 15}
MAGNESIA_MATT = {"SiO2": 58, "Al2O3": 14, "K2O": 4.5, "Na2O": 1.5, "MgO": 10, "CaO": 9}
LIME_MATT = {"SiO2": 48, "Al2O3": 17, "K2O": 5, "Na2O": 2, "CaO": 24}
ALUMINA_MATT = {"SiO2": 45, "Al2O3": 24, "K2O": 6, "CaO": 25}
RUTILE = {"SiO2": 58, "Al2O3": 11, "K2O": 4, "Na2O": 2, "CaO": 14, "MgO": 2, "TiO2": 8}


def of(wt: dict[str, float]) -> solids.Solids:
    return solids.solids_of(chemistry.mole_fractions(wt))


def saturation_c(row: Any) -> float:
    """Temperature below which some of the mineral is there, if nothing errs, to 0.2 °C."""
    wt = {oxide: float(row[oxide]) for oxide in chemistry.OXIDES if oxide in row}
    x = chemistry.mole_fractions(wt) * solids._CATION_TABLE
    return float(solids.MINERALS[row["mineral"]].saturation_c(x / x.sum())[0])


@pytest.mark.parametrize(
    "row", [pytest.param(r, id=f"{r['mineral']} in {r['melt']}") for _, r in LIQUIDUS.iterrows()]
)
def test_minerals_saturate_where_phase_diagrams_say(row: Any) -> None:
    """Sources in the table."""
    assert saturation_c(row) == pytest.approx(row["value"], abs=row["tolerance"])


def test_stated_error_of_saturation_is_that_of_the_phase_diagrams() -> None:
    miss = [saturation_c(row) - row["value"] for _, row in LIQUIDUS.iterrows()]
    assert 0.7 < np.sqrt(np.mean(np.square(miss))) / solids.SATURATION_SD_C < 1.1
    assert abs(np.mean(miss)) < 20.0


@given(any_melt)
@settings(deadline=None, max_examples=60)
def test_solids_stiffen_within_bounds_and_less_the_hotter(x: Any) -> None:
    found = solids.solids_of(x)
    shift, sd = found.shift_at(TEMPERATURE_C), found.sd_at(TEMPERATURE_C)
    assert (solids._between(found.fraction, TEMPERATURE_C) <= solids.SOLID_MAX).all()
    assert (shift >= 0.0).all() and (shift <= 1.41).all()
    assert (np.diff(shift) <= 1e-9).all()
    assert np.isfinite(sd).all() and (sd <= 1.0).all()


@given(any_melt, st.floats(900.0, 1300.0), st.floats(0.0, 60.0), st.floats(0.0, 60.0))
@settings(deadline=None, max_examples=60)
def test_hotter_or_longer_is_never_less_flow(
    x: Any, peak_c: float, hold_min: float, more: float
) -> None:
    curve, found = melt.melt_curve(x), solids.solids_of(x)
    plain = heat.firings_from_peak([peak_c], [60.0], [hold_min])
    longer = heat.firings_from_peak([peak_c], [60.0], [hold_min + more])
    hotter = heat.firings_from_peak([peak_c + more], [60.0], [hold_min])
    flow = heat.fluidity_per_pa(curve, plain, solids=found)
    assert heat.fluidity_per_pa(curve, longer, solids=found) >= flow
    assert heat.fluidity_per_pa(curve, hotter, solids=found) >= 0.999 * flow
    assert flow <= heat.fluidity_per_pa(curve, plain)


@given(any_melt, any_melt)
@settings(deadline=None, max_examples=10)
def test_solids_are_smooth_in_composition(one: Any, other: Any) -> None:
    """Between two melts in steps of 1/300, no jump: a step moves the shift little."""
    share = np.linspace(0.0, 1.0, 301)[:, None]
    shift = solids.solids_of(share * one + (1.0 - share) * other).shift_at([1200.0])[:, 0]
    assert np.abs(np.diff(shift)).max() < 0.2


def test_grains_stiffen_as_roscoe_says() -> None:
    """Roscoe (1952): a tenth of solids makes the melt 1.437 times as stiff."""
    assert of(GLOSSY).shift_at([1280.0])[0, 0] < 0.01
    x = chemistry.mole_fractions({"SiO2": 48, "Na2O": 16, "B2O3": 4, "PbO": 12, "SnO2": 28})
    tin = solids.solids_of(x)
    assert solids._between(tin.fraction, [1250.0])[0, 0] == pytest.approx(0.10, abs=0.01)
    assert 10 ** tin.shift_at([1250.0])[0, 0] == pytest.approx(1.437, abs=0.04)


def test_matt_glazes_hold_crystals_and_glossy_ones_none() -> None:
    """What makes a glaze matt is crystals: common practice, no source."""
    at_cone_6 = [1220.0]
    for matt in (MAGNESIA_MATT, LIME_MATT, ALUMINA_MATT):
        found = of(matt)
        assert found.shift_at(at_cone_6)[0, 0] > 0.15
        assert found.sd_at(at_cone_6)[0, 0] > 0.4 * found.shift_at(at_cone_6)[0, 0]
    assert of(GLOSSY).shift_at(at_cone_6)[0, 0] < 0.03
    assert of(MAGNESIA_MATT).shift_at([1280.0])[0, 0] < 0.15  # at cone 10 it runs


def test_rutile_is_melted_at_the_top_and_comes_out_in_cooling() -> None:
    """Ryerson & Watson (1987), EPSL 86:225: ln D = -3.16 + 9373/T - 0.152 FM.

    At FM = 4 and 1200 °C their equation has 9.4 % TiO2 dissolve (by hand: D = 10.6).
    """
    found = of(RUTILE)
    assert found.shift_at([1280.0])[0, 0] < 0.03
    assert solids._between(found.fraction, [1050.0])[0, 0] > 0.1
    x = chemistry.mole_fractions(RUTILE) * solids._CATION_TABLE
    x /= x.sum()
    si, al, na, k, ca, mg = (
        float(x[0, chemistry.OXIDES.index(o)])
        for o in ("SiO2", "Al2O3", "Na2O", "K2O", "CaO", "MgO")
    )
    fm = min((na + k + 2.0 * (ca + mg)) / (si * al), 6.0)  # where their melts end
    t_k = solids._rutile_c(x)[0] + 273.15
    assert np.exp(-3.16 + 9373.0 / t_k - 0.152 * fm) == pytest.approx(100.0 / (8 / 0.99), rel=0.01)


def test_many_glazes_give_what_few_give() -> None:
    x = chemistry.mole_fractions(pd.DataFrame([GLOSSY, MAGNESIA_MATT, RUTILE]).fillna(0.0))
    many, last = solids.solids_of(x), solids.solids_of(x[2])
    np.testing.assert_allclose(many.take(np.array([2])).shift_log10, last.shift_log10, atol=1e-5)
    assert many.shift_at(np.full((3, 4), 1100.0)).shape == (3, 4)
