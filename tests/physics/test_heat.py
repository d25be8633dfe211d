"""Cones, schedules and the fluidity integral."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from runpredict.physics import heat
from runpredict.physics.chemistry import OXIDES
from runpredict.physics.melt import melt_curve

with (Path(__file__).parents[1] / "published" / "cone_end_points.csv").open(
    encoding="utf-8"
) as file:
    CONES = list(csv.DictReader(file))

# Mole ranges of glazes that are fired (common practice, no source), a unity of fluxes at the end.
FLUXES = ("Li2O", "Na2O", "K2O", "MgO", "CaO", "SrO", "BaO", "ZnO")


def random_moles(rng, melts):
    moles = np.zeros((melts, len(OXIDES)))
    fluxes = rng.dirichlet(np.full(len(FLUXES), 0.7), melts)
    for column, oxide in enumerate(FLUXES):
        moles[:, OXIDES.index(oxide)] = fluxes[:, column]
    moles[:, OXIDES.index("SiO2")] = rng.uniform(1.5, 5.0, melts)
    moles[:, OXIDES.index("Al2O3")] = rng.uniform(0.1, 0.6, melts)
    moles[:, OXIDES.index("B2O3")] = rng.uniform(0.0, 0.7, melts)
    return moles / moles.sum(axis=1, keepdims=True)


CURVES = melt_curve(random_moles(np.random.default_rng(5), 400))


def fluidity(peak_c, ramp_c_per_h=60.0, hold_min=10.0):
    every = np.ones(len(CURVES.t3_k))
    firings = heat.firings_from_peak(peak_c * every, ramp_c_per_h * every, hold_min * every)
    return heat.fluidity_per_pa(CURVES, firings)


def test_there_are_cones_to_check():
    assert len(CONES) >= 8


@pytest.mark.parametrize("row", CONES, ids=[f"{r['cone']} at {r['rate_c_per_h']}" for r in CONES])
def test_published_cone_end_points(row):
    end_c = heat.cone_peak_c([row["cone"]], [float(row["rate_c_per_h"])])[0]
    assert end_c == pytest.approx(float(row["value_c"]), abs=float(row["tolerance_c"])), row[
        "source"
    ]


@pytest.mark.parametrize("ramp_c_per_h", [15.0, 60.0, 108.0, 150.0, 300.0])
def test_a_hotter_cone_peaks_hotter(ramp_c_per_h):
    cones = list(heat.cone_table())
    peaks = heat.cone_peak_c(cones, np.full(len(cones), ramp_c_per_h))
    assert {"022", "06", "04", "6", "10", "13"} <= set(cones)
    assert (np.diff(peaks) > 0).all()


def test_a_hotter_cone_never_lowers_fluidity():
    cones = list(heat.cone_table())
    peaks = heat.cone_peak_c(cones, np.full(len(cones), 60.0))
    every = np.array([fluidity(peak) for peak in peaks[peaks > 850]])
    assert (np.diff(every, axis=0) > 0).all()


@given(
    st.floats(950, 1340),
    st.floats(0, 40),
    st.floats(5, 500),
    st.floats(0, 500),
    st.floats(0, 120),
    st.floats(0, 120),
)
def test_hotter_slower_or_longer_never_lowers_fluidity(peak, hotter, ramp, faster, hold, longer):
    before = fluidity(peak, ramp + faster, hold)
    assert (fluidity(peak + hotter, ramp + faster, hold) >= before).all()
    assert (fluidity(peak, ramp, hold) >= before * (1 - 1e-12)).all()
    assert (fluidity(peak, ramp + faster, hold + longer) >= before).all()


def test_a_schedule_that_does_what_a_cone_does_gives_the_same():
    peak = float(heat.cone_peak_c(["6"], [60.0])[0])
    typed = heat.firing_from_schedule([150.0, 60.0], [peak - 450.0, peak], [0.0, 20.0])
    as_cone = fluidity(peak, 60.0, 20.0)
    assert heat.fluidity_per_pa(CURVES, typed) == pytest.approx(as_cone, rel=1e-4)
    assert typed.hold_min == pytest.approx([20.0])


def test_order_and_halves_of_segments():
    """A climb typed in two halves is one climb; a hold on the way down counts as time."""
    one = heat.firing_from_schedule([100.0], [1200.0], [10.0])
    two = heat.firing_from_schedule([100.0, 100.0], [1100.0, 1200.0], [0.0, 10.0])
    slow = heat.firing_from_schedule([100.0, 60.0], [1200.0, 1000.0], [10.0, 30.0])
    phi = [heat.fluidity_per_pa(CURVES, firing) for firing in (one, two, slow)]
    assert phi[1] == pytest.approx(phi[0], rel=1e-3)
    assert (phi[2] > phi[0]).all()
    joined = heat.join([one, two, slow])
    again = heat.fluidity_per_pa(melt_curve(np.repeat(_one_melt(), 3, axis=0)), joined)
    alone = [heat.fluidity_per_pa(melt_curve(_one_melt()), f)[0] for f in (one, two, slow)]
    assert again == pytest.approx(alone, rel=1e-6)  # the nets of the melt are single precision


def _one_melt():
    return random_moles(np.random.default_rng(6), 1)


def test_integral_agrees_with_fine_steps():
    """Trapezoids of one second each, the plain way."""
    peak, ramp, hold = 1220.0, 60.0, 15.0
    up = np.arange(peak - heat.FLOW_SPAN_C, peak, ramp / 3600.0)
    down = np.arange(peak, peak - heat.FLOW_SPAN_C, -heat.COOLING_C_PER_H / 3600.0)
    path = np.concatenate([up, np.full(int(hold * 60), peak), down])
    curve = melt_curve(_one_melt())
    plain = trapezoid(10.0 ** -curve.log10_pa_s(path)[0])
    every = heat.fluidity_per_pa(curve, heat.firings_from_peak([peak], [ramp], [hold]))
    assert every[0] == pytest.approx(plain, rel=1e-3)


def test_colder_than_the_span_adds_less_than_one_percent():
    peaks = np.array([1000.0, 1150.0, 1222.0, 1300.0])
    for peak in peaks:
        whole = np.zeros(len(CURVES.t3_k))
        for rate in (60.0, heat.COOLING_C_PER_H):
            colder_c = np.linspace(peak - heat.FLOW_SPAN_C - 300.0, peak - heat.FLOW_SPAN_C, 300)
            seconds = 3600.0 / rate * (colder_c[1] - colder_c[0])
            whole += (10.0 ** -CURVES.log10_pa_s(colder_c) * seconds).sum(axis=1)
        assert (whole < 0.01 * fluidity(peak, 60.0, 0.0)).all()


@pytest.mark.parametrize("cone", ["14", "6.5", "", "six"])
def test_an_unknown_cone_is_refused(cone):
    with pytest.raises(ValueError, match="is not in the table"):
        heat.cone_peak_c([cone], [60.0])


@pytest.mark.parametrize("ramp", [0.0, -5.0, 1e5, np.nan])
def test_a_rate_that_cannot_be_is_refused(ramp):
    with pytest.raises(ValueError, match="ramp_c_per_h"):
        heat.cone_peak_c(["6"], [ramp])


@pytest.mark.parametrize("target_c", [0.0, 100.0, 1500.0])
def test_a_firing_of_any_height_has_a_finite_fluidity(target_c):
    phi = heat.fluidity_per_pa(CURVES, heat.firing_from_schedule([100.0], [target_c], [30.0]))
    assert np.isfinite(phi).all()
    assert (phi >= heat.LEAST_FLUIDITY_PER_PA).all()
    if target_c < 500.0:
        assert (phi < 1e-4).all()  # a film of a millimetre runs less than a micrometre


@pytest.mark.parametrize("shift_c", [-250.0, 0.0])
def test_a_melt_that_stays_a_solid_has_a_fluidity_with_a_logarithm(shift_c):
    """Silica alone, and any glaze in a firing that never leaves the room."""
    alone = np.concatenate([np.eye(len(OXIDES))[[OXIDES.index("SiO2")]], _one_melt()])
    for target_c, hold_min in ((0.0, 0.0), (20.0, 600.0), (600.0, 30.0), (1000.0, 0.0)):
        firing = heat.join([heat.firing_from_schedule([100.0], [target_c], [hold_min])] * 2)
        phi = heat.fluidity_per_pa(melt_curve(alone), firing, shift_c)
        assert np.isfinite(np.log(phi)).all()
        assert phi[0] < 2e-4  # a film of a millimetre runs less than two micrometres
        assert target_c > 100.0 or (phi < 1e-9).all()


def test_a_schedule_that_cannot_be_is_refused():
    for rates, targets in (([], []), ([0.0], [1200.0])):
        with pytest.raises(ValueError, match="schedule"):
            heat.firing_from_schedule(rates, targets, [0.0] * len(rates))
