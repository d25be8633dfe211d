"""The film solved in full, held against closed forms before the closed film is held against it."""

import numpy as np
import pytest
from helpers import films
from scipy.integrate import quad
from scipy.optimize import brentq

MOBILITY = 2e5  # 1/m: a film of 0.5 mm runs 17 mm
TOP = 0.1  # m above the foot


def solve(*layers, **options):
    """Layers as (lower edge, upper edge, thickness, mobility)."""
    return films.solve_layers(*np.array(layers, dtype=float).T, **options)


def profile(*layers, **options):
    return films.solve_profile(*np.array(layers, dtype=float).T, **options)


@pytest.mark.parametrize("mobility", [1e6, 4e6])
def test_finite_volume_spreads_as_huppert_says(mobility):
    """Huppert (1982), Nature 300:427, eq. 7: x_N = (9 V² mobility / 4)^(1/3)."""
    thickness, length = 4e-4, 0.02
    run, _ = solve((TOP - length, TOP, thickness, mobility))
    front = (2.25 * (thickness * length) ** 2 * mobility) ** (1 / 3)
    assert front > 1.5 * length  # thinned behind its front, as the formula asks
    assert run[0] + length == pytest.approx(front, rel=0.01)


def test_film_drains_as_jeffreys_says():
    """Jeffreys (1930), Proc. Camb. Phil. Soc. 26:204: h = sqrt(x / mobility)."""
    x, h, _ = profile((0.0, TOP, 1e-3, MOBILITY))
    inside = (x > 0.015) & (x < 0.08)
    assert h[0, inside] == pytest.approx(np.sqrt(x[inside] / MOBILITY), rel=0.01)


def test_front_still_thick_runs_by_its_own_thickness():
    """Speed of a uniform film, Nusselt (1916): mobility h² / 3."""
    run, past = solve((0.03, TOP, 5e-4, MOBILITY))
    assert run[0] == pytest.approx(MOBILITY * 25e-8 / 3, rel=0.002)
    assert past[0] == 0.0


def test_what_passes_the_foot_is_what_has_not_drained():
    """Jeffreys (1930): what stays on a length of wall is (2/3) length^1.5 / sqrt(mobility)."""
    mobility = 1e6
    run, past = solve((0.0, TOP, 1e-3, mobility), wall_m=1.5 * TOP)
    assert past[0] == pytest.approx(1e-3 * TOP - TOP**1.5 / (1.5 * mobility**0.5), rel=0.01)
    assert run[0] == np.inf  # further than the half length of wall there is


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_step_between_films_of_one_melt_is_a_shock(share):
    """Whitham (1974), ch. 2.3: run = mobility (H² + H h + h²) / 3, in one melt told as two."""
    thick, thin = 6e-4, 6e-4 * share
    layers = (0.0, TOP, thin, 1e5), (0.06, TOP, thick - thin, 1e5)
    x, h, _ = profile(*layers, cells=1200)
    # Below the draining top and above the front of the thin film.
    after = np.argmax((x > 0.04) & (h.sum(axis=0) < 0.5 * (thick + thin)))
    run = x[after] - 0.5 * (x[1] - x[0]) - 0.04
    assert run == pytest.approx(1e5 * (thick**2 + thick * thin + thin**2) / 3, abs=2e-4)


def test_one_melt_told_as_three_layers_is_one_film():
    one = profile((0.03, TOP, 6e-4, MOBILITY))[1][0]
    three = profile(*((0.03, TOP, part, MOBILITY) for part in (1e-4, 3e-4, 2e-4)))[1].sum(axis=0)
    # Each layer's slopes are limited for itself: the front may differ by a cell, no more.
    assert np.abs(three - one).sum() < 4e-3 * one.sum()


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.75])
def test_edge_of_a_layer_of_one_melt_goes_with_its_surface_or_with_the_step(share):
    """The glaze at the surface, mobility H² / 2 (Nusselt 1916), until the step leaves it behind."""
    thick, thin, mobility = 6e-4, 6e-4 * share, 1e5
    layers = (-0.03, TOP, thin, mobility), (0.05, TOP, thick - thin, mobility)
    runs, _ = solve(*layers, wall_m=0.14, cells=800)
    step = mobility * (thick**2 + thick * thin + thin**2) / 3
    assert runs[1] == pytest.approx(min(step, mobility * thick**2 / 2), rel=0.02)


def test_fluid_edge_over_a_stiff_base_is_a_shock_of_both_layers():
    """Rankine-Hugoniot for each layer, with the states seen on either side of the edge.

    Fluxes by quadrature of the speed across both films, not by the solver's formula.
    """
    stiff, fluid = 2e3, 5e4
    x, h, _ = profile((-0.04, TOP, 5e-4, stiff), (0.05, TOP, 4e-4, fluid), wall_m=0.15, cells=1200)
    edge = films.lower_edge_m(x, h[1], 4e-4)
    behind, ahead = (np.argmin(np.abs(x - edge - way)) for way in (-12e-4, 12e-4))
    inner, outer = h[:, behind]
    below = h[0, ahead]
    assert inner > 1.05 * below  # the base is pushed up behind the edge
    assert h[1, ahead] < 1e-7
    under, over = sheared_flux_m2(inner, outer, stiff, fluid)
    run = edge - (TOP - 0.05)
    assert run == pytest.approx(over / outer, rel=0.01)
    assert run * (inner - below) == pytest.approx(under - stiff * below**3 / 3, rel=0.1)


def test_stiff_edge_over_a_fluid_base_goes_with_the_base_it_has_swollen():
    """A base swollen ahead of the edge: its surface carries the edge, its own step runs ahead."""
    fluid, stiff, thin = 5e4, 1e4, 5e-4
    x, h, _ = profile((-0.04, TOP, thin, fluid), (0.05, TOP, 4e-4, stiff), wall_m=0.15, cells=1200)
    edge = films.lower_edge_m(x, h[1], 4e-4)
    swollen = h[0, np.argmin(np.abs(x - edge - 2e-3))]
    assert swollen > 1.5 * thin
    assert edge - (TOP - 0.05) == pytest.approx(fluid * swollen**2 / 2, rel=0.01)
    after = x[np.argmax((x > edge) & (h[0] < 0.5 * (swollen + thin)))] - (TOP - 0.05)
    assert after == pytest.approx(fluid * (swollen**2 + swollen * thin + thin**2) / 3, rel=0.01)


def sheared_flux_m2(h1, h2, m1, m2):
    """Flux of each of two films: the speed at y is the mobility times the weight outside it."""

    def speed(y):
        return quad(lambda s: (m1 if s < h1 else m2) * (h1 + h2 - s), 0, y, points=[h1])[0]

    return quad(speed, 0, h1)[0], quad(speed, h1, h1 + h2)[0]


@pytest.mark.parametrize("mobilities", [(1e5, 2e5, 3e5), (3e5, 1e4, 2e5), (1.0, 5e5, 1e3)])
def test_speeds_of_stacked_films_are_those_of_a_sheared_stack(mobilities):
    """Trapezoids of the shear through three films, the plain way."""
    h, m = np.array([2e-4, 5e-4, 3e-4]), np.array(mobilities)
    tops = np.cumsum(h)
    y = np.linspace(0, tops[-1], 100_001)
    layer = np.minimum(np.searchsorted(tops, y), 2)
    shear = m[layer] * (tops[-1] - y)
    speed = np.concatenate([[0], np.cumsum(0.5 * (shear[1:] + shear[:-1]) * np.diff(y))])
    mean = [speed[layer == i].mean() for i in range(3)]
    assert films.layer_speeds(h[:, None], m[:, None])[:, 0] == pytest.approx(mean, rel=1e-3)


def test_fluid_glaze_on_one_that_stands_runs_as_on_the_wall():
    """Under it nothing moves: Nusselt's film (1916) again."""
    runs, _ = solve((0.0, TOP, 5e-4, 1e-3), (0.05, TOP, 5e-4, MOBILITY))
    assert runs[0] == pytest.approx(0.0, abs=1e-6)
    assert runs[1] == pytest.approx(MOBILITY * 25e-8 / 3, rel=0.01)


def test_stiff_glaze_rides_on_a_fluid_one():
    """A lid without shear goes at the speed of the interface, mobility (h1²/2 + h1 h2)."""
    h1, h2, mobility = 3e-4, 3e-4, 1e5
    x, h, _ = profile((0.02, TOP, h1, mobility), (0.02, TOP, h2, 1e-3))
    together = np.argmin(np.abs(x - 0.06))  # neither the drained top nor the front has come here
    speed = films.layer_speeds(h[:, [together]], np.array([[mobility], [1e-3]]))[:, 0]
    assert speed[1] == pytest.approx(mobility * (h1**2 / 2 + h1 * h2), rel=1e-3)
    assert speed[0] == pytest.approx(mobility * (h1**2 / 3 + h1 * h2 / 2), rel=1e-3)


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"mixing_m": 3e-4},
        {"hold_thickness_m": 2e-4},
        {"mixing_m": 1e-4, "hold_thickness_m": 1e-4, "pace": lambda t: [2 * t, 2 - 2 * t, 1.0]},
    ],
)
def test_glaze_is_kept(options):
    layers = (0.01, TOP, 5e-4, 1e5), (0.04, 0.09, 4e-4, 6e5), (0.06, TOP, 3e-4, 3e4)
    x, h, left = profile(*layers, wall_m=0.11, **options)
    had = [(high - low) * thick for low, high, thick, _ in layers]
    assert h.sum(axis=1) * (x[1] - x[0]) + left == pytest.approx(had, rel=1e-9)
    assert left.sum() > 0
    assert h.min() > -1e-12


@pytest.mark.parametrize("thickness", [1.9e-4, 2.5e-4, 5e-4])
def test_film_that_holds_back_leaves_what_stands(thickness):
    """Flux mobility (h³ - h0³) / 3 above h0 = 0.2 mm: the front is where max(h0, sqrt(x /
    mobility)) has taken up the glaze, or runs at q/h while still thick (Whitham 1974)."""
    hold, mobility, length = 2e-4, 2e6, 0.03
    run, _ = solve((TOP - length, TOP, thickness, mobility), hold_thickness_m=hold)

    def left(front):
        stands = min(front, mobility * hold**2)
        return stands * hold + (front**1.5 - stands**1.5) / (1.5 * mobility**0.5)

    thin = brentq(lambda front: left(front) - thickness * length, 1e-3, 1.0) - length
    thick = mobility * max(thickness**3 - hold**3, 0.0) / 3 / thickness
    assert run[0] == pytest.approx(min(thin, thick) if thickness > hold else 0.0, abs=5e-4)


def test_melts_that_mix_at_once_are_one_melt():
    """Arrhenius (1887): the logarithm of the mixture's viscosity is the mean by amount."""
    one, other = 2e4, 3e5
    runs, _ = solve((0.03, TOP, 4e-4, one), (0.03, TOP, 2e-4, other), mixing_m=0.1)
    mean = np.exp((2 * np.log(one) + np.log(other)) / 3)
    apart, _ = solve((0.03, TOP, 4e-4, mean), (0.03, TOP, 2e-4, mean))
    assert runs == pytest.approx(apart, rel=0.02)
    assert runs.max() == pytest.approx(solve((0.03, TOP, 6e-4, mean))[0][0], rel=0.02)


def test_mixing_lies_between_apart_and_one():
    layers = (0.03, TOP, 4e-4, 1e3), (0.03, TOP, 4e-4, 4e5)
    runs = [solve(*layers, mixing_m=depth)[0].max() for depth in (0.0, 1e-4, 3e-4, 1e-2)]
    assert (np.diff(runs) < 0).all()  # a fluid glaze on a stiff one is held as it mixes


def test_share_mixed_of_a_short_time():
    """Crank (1975), ch. 2: depth / (thickness sqrt(pi)) while the films are deep."""
    assert np.interp(0.3, films.RATIO, films.SHARE) == pytest.approx(0.3 / np.sqrt(np.pi), rel=1e-3)
    assert np.interp(5.0, films.RATIO, films.SHARE) == pytest.approx(1.0, abs=1e-3)


def test_only_the_sum_of_heat_counts_for_one_melt():
    """Φ is all that heat does to a film of one melt, whenever it comes."""
    layer = (0.02, TOP, 5e-4, 4e5)
    even, _ = solve(layer)
    for pace in (lambda t: [2 * t], lambda t: [3 * (1 - t) ** 2]):
        assert solve(layer, pace=pace)[0] == pytest.approx(even, rel=0.01)


def test_each_layer_has_its_own_heat():
    """Layers that never meet run as each would alone, though one melts early and one late."""
    upper, lower = (0.07, TOP, 5e-4, 1e5), (0.0, 0.03, 4e-4, 1e5)
    early, late = (lambda t: 3 * (1 - t) ** 2), (lambda t: 3 * t**2)
    runs, _ = solve(upper, lower, pace=lambda t: [early(t), late(t)])
    assert runs == pytest.approx([MOBILITY * 25e-8 / 6, MOBILITY * 16e-8 / 6], rel=0.01)


def test_top_that_melts_first_runs_on_a_base_that_stands():
    """Nusselt's film (1916) on the standing base; then the base carries a lid a little further."""
    layers = (0.0, TOP, 5e-4, 1e4), (0.05, TOP, 5e-4, MOBILITY)
    runs, _ = solve(*layers, pace=lambda t: [0.0, 2.0] if t < 0.5 else [2.0, 0.0])
    alone = MOBILITY * 25e-8 / 3
    assert runs[1] == pytest.approx(alone + 1e4 * (5e-4**2 / 2 + 5e-4 * 5e-4), rel=0.01)


@pytest.mark.parametrize(
    "layers",
    [
        ((0.02, TOP, 5e-4, 2e4), (0.06, TOP, 4e-4, 2e5)),
        ((0.02, TOP, 5e-4, 2e5), (0.06, TOP, 4e-4, 2e4), (0.07, TOP, 3e-4, 2e5)),
        ((0.02, 0.08, 3e-4, 2e5), (0.05, TOP, 6e-4, 4e5)),
    ],
)
def test_finer_cells_change_runs_by_less_than_a_percent_or_half_a_cell(layers):
    coarse, _ = solve(*layers, cells=400)
    fine, _ = solve(*layers, cells=1200)
    half_cell = TOP / 400
    assert (np.abs(coarse - fine) < np.maximum(0.01 * fine, half_cell)).all()


def test_no_layer_runs_nowhere():
    runs, past = solve((0.02, TOP, 5e-4, MOBILITY), (0.05, 0.05, 3e-4, MOBILITY))
    assert runs[1] == past[1] == 0.0
    assert runs[0] > 0
