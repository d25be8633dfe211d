"""The closed film solution against published forms and an independent numerical one."""

import numpy as np
import pytest
from filmhelp import front_m, method_of_lines
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from runpredict import film

PUBLISHED = 0.02  # agreement asked for
KEPT = 0.001  # glaze that may be lost or made


def wall_of(*edges_m):
    """One piece; each layer as (lower, upper)."""
    lower, upper = np.array(edges_m, dtype=float).T
    return film.Wall(lower[None], upper[None])


def layer_m(*thickness_m, mobility):
    return (np.array(thickness_m) * np.sqrt(mobility))[None, :, None]


def run_of(wall, layer):
    return film.run_m(wall, layer)[0, :, 0]


@pytest.mark.parametrize("wall_deg", [30.0, 60.0, 90.0])
@pytest.mark.parametrize("viscosity_pa_s", [100.0, 400.0])
def test_front_of_a_finite_volume(wall_deg, viscosity_pa_s):
    """Huppert (1982), Nature 300:427, eq. 7: x_N = (9 A² ρ g sinθ t / (4 η))^(1/3)."""
    thickness_m, length_m, seconds, density_kg_m3 = 4e-4, 0.02, 7200.0, 2450.0
    mobility = film.mobility_per_m(seconds / viscosity_pa_s, density_kg_m3, wall_deg)
    volume_m2 = thickness_m * length_m
    slope = 9.80665 * np.sin(np.radians(wall_deg))
    front = (9 * volume_m2**2 * density_kg_m3 * slope * seconds / (4 * viscosity_pa_s)) ** (1 / 3)
    assert front > 1.5 * length_m  # thinned behind its front, as the formula asks
    run = run_of(wall_of((0.0, length_m)), layer_m(thickness_m, mobility=mobility))[0]
    assert run + length_m == pytest.approx(front, rel=PUBLISHED)


def test_draining_film():
    """Jeffreys (1930), Proc. Camb. Phil. Soc. 26:204: h = sqrt(η x / (ρ g t)), upright wall."""
    viscosity_pa_s, seconds, density_kg_m3 = 250.0, 3600.0, 2400.0
    x = np.array([0.005, 0.02, 0.08])
    published = np.sqrt(viscosity_pa_s * x / (density_kg_m3 * 9.80665 * seconds))
    mobility = film.mobility_per_m(seconds / viscosity_pa_s, density_kg_m3, 90.0)
    assert film.draining_thickness_m(x, mobility) == pytest.approx(published, rel=PUBLISHED)
    # A thick start is forgotten: the numerical film has drained to the same profile.
    at, thickness = method_of_lines(lambda x: np.full(x.shape, 3e-3), mobility, 0.1, 1000)
    drained = film.draining_thickness_m(at[100:600], mobility)
    assert thickness[100:600] == pytest.approx(drained, rel=PUBLISHED)


def test_long_thick_film_runs_by_its_own_thickness():
    """Nusselt (1916): mean speed of a falling film ρ g h² / (3 η)."""
    mobility, thickness_m = 6e4, 3e-4
    run = run_of(wall_of((0.0, 0.5)), layer_m(thickness_m, mobility=mobility))[0]
    assert run == pytest.approx(mobility * thickness_m**2 / 3, rel=PUBLISHED)


@pytest.mark.parametrize("thin_share", [0.1, 0.4, 0.8])
def test_step_of_a_thick_film_on_a_thin_one(thin_share):
    """Rankine-Hugoniot, Whitham (1974) ch. 2.3, against the numerical step."""
    mobility, thick_m = 1e5, 5e-4
    thin_m = thin_share * thick_m
    at, thickness = method_of_lines(
        lambda x: np.where(x < 0.06, thick_m, thin_m), mobility, 0.12, 4000
    )
    beyond = np.flatnonzero(thickness > 0.5 * (thick_m + thin_m))[-1]
    run = film.step_run_m(thick_m, thin_m, mobility)
    assert at[beyond] - 0.06 == pytest.approx(run, rel=PUBLISHED)
    flux = mobility * np.array([thick_m, thin_m]) ** 3 / 3
    assert run == pytest.approx((flux[0] - flux[1]) / (thick_m - thin_m), rel=1e-12)


STACKS = [
    # base: lower and upper edge, thickness; top: lower edge, thickness; mobility. [mm], [1/m]
    (0.0, 60.0, 0.25, 40.0, 0.30, 1.0e6),  # wholly drained
    (0.0, 60.0, 0.25, 20.0, 0.60, 2.0e5),  # the overlap has caught up with the thin base
    (0.0, 80.0, 0.30, 10.0, 0.20, 1.5e5),
    (0.0, 80.0, 0.40, 60.0, 0.90, 1.5e5),  # the overlap is still on its way
]


@pytest.mark.parametrize("stack", STACKS)
def test_front_of_a_stack_is_that_of_the_numerical_film(stack):
    """Thin base and thick overlap, against an independent method of lines."""
    lower, upper, base, top_lower, top, mobility = stack
    wall = wall_of((lower * 1e-3, upper * 1e-3), (top_lower * 1e-3, upper * 1e-3))
    run = run_of(wall, layer_m(base * 1e-3, top * 1e-3, mobility=mobility))[0]

    def start_m(x):
        above = upper * 1e-3 - x
        glazed = np.where(above > 0, base * 1e-3, 0.0)
        return glazed + np.where(above > top_lower * 1e-3, top * 1e-3, 0.0)

    at, thickness = method_of_lines(start_m, mobility, upper * 1e-3 + 1.5 * run, 2500)
    assert front_m(at, thickness) - upper * 1e-3 == pytest.approx(run, rel=PUBLISHED)
    # What has passed a line half way is what the numerical film holds beyond it.
    line = np.array([[0.5 * run, 1.0]])
    thick = np.array([[[base], [top]]]) * 1e-3
    past = film.volume_past_m2(
        wall, layer_m(base * 1e-3, top * 1e-3, mobility=mobility), thick, line
    )
    step = at[1] - at[0]
    held_m2 = np.interp(upper * 1e-3 + 0.5 * run, at + 0.5 * step, np.cumsum(thickness) * step)
    beyond_m2 = thickness.sum() * step - held_m2
    assert past[0, 0, 0] == pytest.approx(beyond_m2, rel=PUBLISHED)


@pytest.mark.parametrize("mobility", [2e4, 1e5, 1e6])
def test_glaze_is_kept(mobility):
    """What the solution says has passed lines all along the wall adds up to what was there."""
    wall = wall_of((0.0, 0.07), (0.05, 0.07))
    thick = np.array([[[3e-4], [5e-4]]])
    layer = layer_m(3e-4, 5e-4, mobility=mobility)
    put_m2 = 0.07 * 3e-4 + 0.02 * 5e-4

    def past(reach_m):
        return film.volume_past_m2(wall, layer, thick, np.array([[reach_m, 1.0]]))[0, 0, 0]

    # Beyond a line h is -d(past)/dx; where the film drained it is sqrt(x / mobility), and what
    # stands above the foot is what has not passed it.
    run = run_of(wall, layer)[0]
    assert past(run) == pytest.approx(0.0, abs=KEPT * put_m2)
    lines = np.linspace(0.0, run, 400)
    passed = np.array([past(line) for line in lines])
    assert (np.diff(passed) <= 1e-15).all()
    thickness = -np.gradient(passed, lines)
    assert thickness.max() <= 8e-4 * (1 + 1e-6)  # never thicker than it was put on
    if mobility == 1e6:  # wholly drained: the draining profile holds all the glaze
        drained, _ = quad(lambda x: float(film.draining_thickness_m(x, mobility)), 0, 0.07 + run)
        assert drained == pytest.approx(put_m2, rel=KEPT)
        above, _ = quad(lambda x: float(film.draining_thickness_m(x, mobility)), 0, 0.07)
        assert above + past(0.0) == pytest.approx(put_m2, rel=KEPT)


def test_a_film_still_thick_keeps_its_glaze():
    """Before the draining has reached the front, h (run - line) has passed a line."""
    mobility, thick = 5e4, 4e-4
    wall = wall_of((0.0, 0.2))
    layer = layer_m(thick, mobility=mobility)
    run = run_of(wall, layer)[0]
    for line in (0.0, 0.3 * run, 0.9 * run):
        past = film.volume_past_m2(wall, layer, np.full((1, 1, 1), thick), np.array([[line]]))
        assert past[0, 0, 0] == pytest.approx(thick * (run - line), rel=KEPT)


def random_stacks(seed, pieces, layers, draws):
    rng = np.random.default_rng(seed)
    upper = np.repeat(rng.uniform(0.03, 0.2, (pieces, 1)), layers, axis=1)
    lower = upper * rng.uniform(0.0, 0.9, (pieces, layers))
    there = rng.random((pieces, layers)) < 0.8
    there[:, 0] = True
    lower = np.where(there, lower, upper)
    layer = rng.lognormal(np.log(0.06), 0.8, (pieces, layers, draws)) * there[..., None]
    gain = rng.lognormal(0.1, 0.3, (pieces, layers, draws))
    return film.Wall(lower, upper), layer, gain


def test_run_and_scale_are_inverses():
    wall, layer, gain = random_stacks(1, 500, 3, 8)
    reach = np.random.default_rng(2).uniform(1e-4, 0.15, (500, 3))
    scale = film.log_scale_to_reach(wall, layer, reach, gain)
    glazed = np.isfinite(scale)
    assert glazed.mean() > 0.7
    run = film.run_m(wall, layer, gain, np.where(glazed, scale, 0.0))
    wanted = np.broadcast_to(reach[..., None], run.shape)
    assert run[glazed] == pytest.approx(wanted[glazed], rel=1e-9)


def test_no_glaze_or_no_piece_runs_nowhere():
    for pieces in (0, 2):
        edges = np.full((pieces, 3), 0.05)
        wall, layer = film.Wall(edges, edges), np.zeros((pieces, 3, 4))
        assert film.run_m(wall, layer).shape == (pieces, 3, 4)
        assert (film.run_m(wall, layer) == 0).all()
        assert np.isinf(film.log_scale_to_reach(wall, layer, edges)).all()
        assert (film.volume_past_m2(wall, layer, layer, edges) == 0).all()


def test_run_rises_with_every_layer_of_many_random_stacks():
    wall, layer, gain = random_stacks(3, 2000, 4, 4)
    before = film.run_m(wall, layer, gain)
    for k in range(4):
        more = layer.copy()
        more[:, k] *= 1.3
        assert (film.run_m(wall, more, gain) >= before - 1e-12).all()


@given(st.floats(0, 180), st.floats(0, 180))
def test_steeper_is_never_slower(one_deg, other_deg):
    flat, steep = sorted((one_deg, other_deg))
    assert film.mobility_per_m(1.0, 2400.0, flat) <= film.mobility_per_m(1.0, 2400.0, steep)


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
        film.mobility_per_m(*arguments)
    with pytest.raises(ValueError, match="mobility"):
        film.draining_thickness_m(0.01, 0.0)


def test_depth_of_a_puddle():
    """Water at 20 °C: capillary length 2.73 mm (handbook value, from memory); 2 l sin(30°)."""
    assert film.puddle_depth_m(0.0728, 998.2) == pytest.approx(2.73e-3, rel=0.01)
