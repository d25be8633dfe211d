"""The closed film solution against published forms and an independent numerical one."""

import numpy as np
import pytest
from helpers.films import front_m, method_of_lines
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.linalg import eigh_tridiagonal
from scipy.special import erfc

from runpredict.physics import film

PUBLISHED = 0.02  # agreement asked for
KEPT = 0.001  # glaze that may be lost or made


def wall_of(*layers_m):
    """One piece; each layer as (lower edge, upper edge, thickness)."""
    lower, upper, thickness = np.array(layers_m, dtype=float).T
    return film.Wall(lower[None], upper[None], thickness[None])


def logs(wall, mobility):
    """One mobility for all edges, as the log that is asked for."""
    return np.full((*wall.start_m.shape[:2], 1), np.log(mobility))


def run_of(wall, mobility):
    """Run of each edge of one piece."""
    return film.run_m(wall, logs(wall, mobility))[0, :, 0]


def past_of(wall, mobility, *reach_m):
    """What has passed a line below each edge of one piece."""
    return film.volume_past_m2(wall, logs(wall, mobility), np.array([reach_m]))[0, :, 0]


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
    run = run_of(wall_of((0.0, length_m, thickness_m)), mobility)[0]
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
    run = run_of(wall_of((0.0, 0.5, thickness_m)), mobility)[0]
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


def wall_of_stack(stack):
    lower, upper, base, top_lower, top, _ = np.array(stack) * 1e-3
    return wall_of((lower, upper, base), (top_lower, upper, top))


def solved(stack, run):
    """The numerical film of a stack: x down from the upper edge, and thickness."""
    _, upper, base, top_lower, top, _ = np.array(stack) * 1e-3

    def start_m(x):
        above = upper - x
        glazed = np.where(above > 0, base, 0.0)
        return glazed + np.where(above > top_lower, top, 0.0)

    return method_of_lines(start_m, stack[-1], upper + 1.5 * run, 2500)


@pytest.mark.parametrize("stack", STACKS)
def test_front_of_a_stack_is_that_of_the_numerical_film(stack):
    """Thin base and thick overlap of one melt, against an independent method of lines."""
    wall, upper, mobility = wall_of_stack(stack), 1e-3 * stack[1], stack[-1]
    run = run_of(wall, mobility)[0]
    at, thickness = solved(stack, run)
    assert front_m(at, thickness) - upper == pytest.approx(run, rel=PUBLISHED)
    # What has passed a line half way is what the numerical film holds beyond it.
    past = past_of(wall, mobility, 0.5 * run, 1.0)[0]
    step = at[1] - at[0]
    held_m2 = np.interp(upper + 0.5 * run, at + 0.5 * step, np.cumsum(thickness) * step)
    beyond_m2 = thickness.sum() * step - held_m2
    assert past == pytest.approx(beyond_m2, rel=PUBLISHED)


def test_front_of_a_single_film_is_that_of_the_numerical_one():
    """No layer over it: still thick, half drained, wholly drained."""
    for mobility in (5e4, 3e5, 2e6):
        wall = wall_of((0.0, 0.06, 4e-4))
        run = run_of(wall, mobility)[0]
        at, thickness = method_of_lines(
            lambda x: np.where(x < 0.06, 4e-4, 0.0), mobility, 0.06 + 1.5 * run, 2500
        )
        assert front_m(at, thickness) - 0.06 == pytest.approx(run, rel=PUBLISHED)


@pytest.mark.parametrize("mobility", [2e4, 1e5, 1e6])
def test_glaze_is_kept(mobility):
    """What the solution says has passed lines all along the wall adds up to what was there."""
    wall = wall_of((0.0, 0.07, 3e-4), (0.05, 0.07, 5e-4))
    put_m2 = 0.07 * 3e-4 + 0.02 * 5e-4

    def past(reach_m):
        return past_of(wall, mobility, reach_m, 1.0)[0]

    # Beyond a line h is -d(past)/dx; where the film drained it is sqrt(x / mobility), and what
    # stands above the foot is what has not passed it.
    run = run_of(wall, mobility)[0]
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
    wall = wall_of((0.0, 0.2, thick))
    run = run_of(wall, mobility)[0]
    for line in (0.0, 0.3 * run, 0.9 * run):
        past = past_of(wall, mobility, line)[0]
        assert past == pytest.approx(thick * (run - line), rel=KEPT)


def random_stacks(seed, pieces, layers, draws):
    """Edges, thickness and mobility of stacks in which some layers are not there."""
    rng = np.random.default_rng(seed)
    upper = rng.uniform(0.03, 0.2, (pieces, 1)) * rng.uniform(0.8, 1.0, (pieces, layers))
    lower = upper * rng.uniform(0.0, 0.9, (pieces, layers))
    there = rng.random((pieces, layers)) < 0.8
    there[:, 0] = True
    lower = np.where(there, lower, upper)
    thickness = rng.lognormal(np.log(3e-4), 0.5, (pieces, layers)) * there
    mobility_log = rng.normal(np.log(1e5), 2.0, (pieces, layers, draws))
    return lower, upper, thickness, mobility_log


def test_run_and_mobility_are_inverses():
    lower, upper, thickness, _ = random_stacks(1, 500, 3, 1)
    wall = film.Wall(lower, upper, thickness)
    reach = np.random.default_rng(2).uniform(1e-4, 0.15, (500, 3))
    need = film.log_mobility_to_reach(wall, reach)
    glazed = np.isfinite(need)
    assert glazed[upper > lower].all()
    run = film.run_m(wall, np.where(glazed, need, 0.0)[..., None])[..., 0]
    assert run[glazed] == pytest.approx(reach[glazed], rel=1e-9)


def test_mobility_and_run_are_inverses():
    lower, upper, thickness, mobility_log = random_stacks(6, 500, 3, 1)
    wall = film.Wall(lower, upper, thickness)
    run = film.run_m(wall, mobility_log)[..., 0]
    ran = run > 1e-9
    assert ran[upper > lower].mean() > 0.95
    need = film.log_mobility_to_reach(wall, np.where(ran, run, 1.0))
    assert need[ran] == pytest.approx(mobility_log[..., 0][ran], abs=1e-9)


def test_glaze_passes_a_line_just_where_the_run_is_longer():
    lower, upper, thickness, mobility_log = random_stacks(7, 2000, 3, 4)
    wall = film.Wall(lower, upper, thickness)
    reach = np.random.default_rng(8).uniform(1e-4, 0.1, lower.shape)
    run = film.run_m(wall, mobility_log)
    past = film.volume_past_m2(wall, mobility_log, reach)
    longer = run > reach[..., None] * (1 + 1e-9)
    shorter = run < reach[..., None] * (1 - 1e-9)
    assert 0.1 < longer.mean() < 0.9
    assert (past[longer] > 0).all()
    assert (past[shorter] <= 1e-15).all()
    held = (thickness * (upper - lower)).sum(axis=1)
    assert (past <= held[:, None, None] * (1 + 1e-9)).all()


def test_no_glaze_or_no_piece_runs_nowhere():
    for pieces in (0, 2):
        edges = np.full((pieces, 3), 0.05)
        wall, mobility_log = film.Wall(edges, edges, edges), np.zeros((pieces, 3, 4))
        assert film.run_m(wall, mobility_log).shape == (pieces, 3, 4)
        assert (film.run_m(wall, mobility_log) == 0).all()
        assert np.isinf(film.log_mobility_to_reach(wall, edges)).all()
        assert (film.volume_past_m2(wall, mobility_log, edges) == 0).all()
    assert (film.mixing_shares(np.zeros((2, 3), dtype=bool)) == 0).all()


def test_shares_of_the_melts():
    """One layer is itself; the first counts double at its own edge; absent ones count nothing."""
    shares = film.mixing_shares(
        np.array([[True, False, False], [True, True, False], [True, True, True]])
    )
    assert (shares[0, 0] == [1.0, 0.0, 0.0]).all()
    assert shares[1, 0] == pytest.approx([2 / 3, 1 / 3, 0.0])
    assert shares[1, 1] == pytest.approx([1 / 2, 1 / 2, 0.0])
    assert shares[2, 0] == pytest.approx([1 / 2, 1 / 4, 1 / 4])
    assert shares[2, 1:] == pytest.approx(1 / 3)
    many = film.mixing_shares(np.random.default_rng(4).random((500, 5)) < 0.6)
    total = many.sum(axis=2)
    assert (many >= 0).all()
    assert ((np.abs(total - 1.0) < 1e-12) | (total == 0)).all()


def changed_stacks(change, rng, lower, upper, thickness, mobility_log):
    """The same stacks with some of one thing more."""
    some = rng.random(lower.shape) < 0.5
    there = upper > lower
    if change == "thicker":
        thickness = thickness * np.where(some, rng.uniform(1, 2, lower.shape), 1.0)
    elif change == "nearer the foot":
        lower = np.where(some & there, lower * rng.uniform(0, 1, lower.shape), lower)
    elif change == "higher up":
        upper = np.where(there, upper + 0.03 * some, upper)
    else:
        mobility_log = mobility_log + np.where(some, rng.uniform(0, 2, lower.shape), 0)[..., None]
    return lower, upper, thickness, mobility_log


@pytest.mark.parametrize("change", ["thicker", "nearer the foot", "higher up", "more fluid"])
def test_every_edge_comes_lower_with_more_of_anything(change):
    """First edge and edges over glaze alike, in thousands of random stacks."""
    before = random_stacks(3, 2000, 4, 4)
    after = changed_stacks(change, np.random.default_rng(5), *before)
    ends, past = [], []
    for lower, upper, thickness, mobility_log in (before, after):
        wall = film.Wall(lower, upper, thickness)
        ends.append(film.run_m(wall, mobility_log) - lower[..., None])
        past.append(film.volume_past_m2(wall, mobility_log, lower))
    for k in range(4):
        assert (ends[1][:, k] >= ends[0][:, k] - 1e-12).all()
        assert (ends[1][:, k] > ends[0][:, k] + 1e-6).any()
    assert (past[1] >= past[0] - 1e-15).all()
    # Glaze that is thicker, higher or more fluid is never a shorter run, either.
    if change != "nearer the foot":
        run = [end + side[0][..., None] for end, side in zip(ends, (before, after), strict=True)]
        assert (run[1] >= run[0] - 1e-12).all()


def test_a_further_layer_of_the_same_melt_never_shortens_a_run():
    """Of the same melt. One of another, stiffer, glaze makes the melt stiffer, and so may."""
    lower, upper, thickness, mobility_log = random_stacks(9, 2000, 3, 4)
    bare = lower.copy()
    bare[:, 2] = upper[:, 2]
    runs = [film.run_m(film.Wall(a, upper, thickness), mobility_log)[:, :2] for a in (bare, lower)]
    assert (runs[1] >= runs[0] - 1e-12).all()
    assert (runs[1] > runs[0] + 1e-3).any()


@pytest.mark.parametrize(("base", "top"), [(2e-4, 3e-4), (5e-4, 1e-4)])
def test_an_edge_over_glaze_moves_as_a_step_while_the_film_is_thick(base, top):
    """STEP_SPEED times the mean speed of the whole film, mobility h² / 3 (Nusselt 1916)."""
    mobility = 1e5
    wall = wall_of((0.0, 0.5, base), (0.3, 0.5, top))
    thick = base + top
    expected = film.STEP_SPEED * mobility * thick**2 / 3
    assert run_of(wall, mobility)[1] == pytest.approx(expected, rel=1e-9)
    # The speed of the shock between a film and one half as thick.
    assert expected == pytest.approx(film.step_run_m(thick, thick / 2, mobility), rel=1e-12)


def test_an_edge_over_glaze_is_fed_by_all_the_glazed_wall():
    """Once drained: Huppert's front of a film as thick and as long as all that is glazed."""
    mobility, thick, glazed_m = 2e7, 5e-4, 0.08
    wall = wall_of((0.01, 0.09, 2e-4), (0.05, 0.09, 3e-4))
    volume_m2 = thick * glazed_m
    front = (9 / 4 * volume_m2**2 * film.STEP_SPEED * mobility) ** (1 / 3)
    assert run_of(wall, mobility)[1] == pytest.approx(front - glazed_m, rel=1e-9)


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
    assert film.two_layer_flux_m2(h1, h2, m1, m2) == pytest.approx(lower + upper, rel=1e-6)
    assert film.upper_layer_flux_m2(h1, h2, m1, m2) == pytest.approx(upper, rel=1e-6)


def test_limits_of_two_films():
    """One melt, one film: Nusselt's m h³ / 3, whatever is called lower and upper."""
    h1, h2, m1, m2 = 2e-4, 5e-4, 3e5, 7e4
    assert film.two_layer_flux_m2(h1, h2, m1, m1) == pytest.approx(m1 * (h1 + h2) ** 3 / 3)
    assert film.two_layer_flux_m2(h1, 0.0, m1, m2) == pytest.approx(m1 * h1**3 / 3)
    assert film.two_layer_flux_m2(0.0, h2, m1, m2) == pytest.approx(m2 * h2**3 / 3)
    assert film.upper_layer_flux_m2(h1, 0.0, m1, m2) == 0.0
    assert film.upper_layer_flux_m2(0.0, h2, m1, m2) == pytest.approx(m2 * h2**3 / 3)
    # On a base that does not melt at all, the upper film runs as on a wall.
    assert film.two_layer_flux_m2(h1, h2, 0.0, m2) == pytest.approx(m2 * h2**3 / 3)
    # A fluid base carries the upper film further than a fluid top runs on a stiff base.
    slid = film.upper_layer_flux_m2(h1, h1, 1e6, 1e4)
    assert slid > film.upper_layer_flux_m2(h1, h1, 1e4, 1e6)


@given(*[st.floats(0, 1e-3)] * 2, *[st.floats(0, 1e7)] * 2)
def test_two_films_run_more_with_more_of_anything(h1, h2, m1, m2):
    for flux in (film.two_layer_flux_m2, film.upper_layer_flux_m2):
        before = flux(h1, h2, m1, m2)
        assert 0 <= before <= film.two_layer_flux_m2(h1, h2, m1, m2) * (1 + 1e-12)
        for k in range(4):
            more = [h1, h2, m1, m2]
            more[k] = more[k] * 1.5 + (1e-4 if k < 2 else 1e4)
            assert flux(*more) >= before * (1 - 1e-12)


def test_depth_of_mixing():
    """Crank (1975), eq. 2.14: c = erfc(x / (2 sqrt(D t))) / 2, so erfc(1) / 2 at the depth."""
    assert film.mixed_depth_m(1e-13, 3600.0) == pytest.approx(3.795e-5, rel=1e-3)
    assert film.mixed_depth_m(0.0, 3600.0) == 0.0
    depth = film.mixed_depth_m(1e-13, [900.0, 3600.0])
    assert depth[1] == pytest.approx(2 * depth[0])
    cells, width, diffusivity, time_s = 800, 4e-4, 1e-13, 3600.0
    share = diffused(cells, width, diffusivity, time_s)
    x = (np.arange(cells) + 0.5) * width / cells - width / 2
    at_depth = np.interp(film.mixed_depth_m(diffusivity, time_s), x, share)
    assert at_depth == pytest.approx(erfc(1.0) / 2, rel=0.01)


def diffused(cells, width_m, diffusivity, time_s):
    """Share of the first film's melt across two equal films, faces closed (finite volumes)."""
    step = width_m / cells
    rate = diffusivity / step**2
    diagonals = np.full(cells, -2.0 * rate)
    diagonals[[0, -1]] = -rate
    levels, modes = eigh_tridiagonal(diagonals, np.full(cells - 1, rate))
    start = (np.arange(cells) < cells // 2).astype(float)
    return modes @ (np.exp(levels * time_s) * (modes.T @ start))


@pytest.mark.parametrize("ratio", [0.05, 0.3, 0.499, 0.501, 1.0, 2.0, 4.0])
def test_share_mixed_is_what_diffuses_across(ratio):
    """Against finite volumes, either side of where the short-time form gives way."""
    cells, thick_m, diffusivity = 2000, 3e-4, 1e-13
    time_s = (ratio * thick_m) ** 2 / (4.0 * diffusivity)
    crossed = diffused(cells, 2 * thick_m, diffusivity, time_s)[cells // 2 :].mean()
    depth_m = film.mixed_depth_m(diffusivity, time_s)
    assert film.mixed_share(thick_m, depth_m) == pytest.approx(2 * crossed, rel=1e-3)


def test_limits_of_the_share_mixed():
    assert film.mixed_share(3e-4, 0.0) == 0.0
    assert film.mixed_share(3e-4, 1.0) == 1.0
    shares = film.mixed_share(3e-4, np.linspace(0, 3e-3, 4000))
    assert (np.diff(shares) >= 0).all()
    assert ((shares >= 0) & (shares <= 1)).all()
    # A thicker film takes longer to mix.
    assert (np.diff(film.mixed_share(np.linspace(1e-5, 2e-3, 500), 2e-4)) <= 0).all()


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
