"""The closed film against published forms and against a film solved in full."""

import numpy as np
import pytest
from helpers.films import method_of_lines, solve_layers

from runpredict.physics import film, sheets, speeds

PUBLISHED = 0.002  # agreement asked for with a closed form
APART = speeds.Bends(mixing=0.0)


def moving(lower, upper, thickness, melt_log, bends=APART, choice_log=0.0, glaze=None):
    """The fastest glaze on n pieces, arrays (n, k)."""
    wall = film.Wall(lower, upper, thickness, glaze)
    count = len(speeds.choices(lower.shape[1])[0])
    added = np.zeros((len(lower), count)) + choice_log
    return film.flow_of(wall, melt_log, added[:, None], bends)


def needed(flow, reach):
    """What each edge needs to run so far, (n, k)."""
    return film.log_factor_to_reach(flow, reach)[0].T


def one(layers, mobility, **options):
    """One piece; each layer as (lower edge, upper edge, thickness) [m], a mobility each [1/m]."""
    lower, upper, thickness = np.array(layers, dtype=float).T
    melt_log = np.log(np.broadcast_to(np.asarray(mobility, dtype=float), lower.shape))
    return moving(lower[None], upper[None], thickness[None], melt_log[None], **options)


@pytest.mark.parametrize(
    ("h1", "h2", "m1", "m2"),
    [(3e-4, 3e-4, 1e5, 1e5), (2e-4, 5e-4, 1e4, 1e6), (5e-4, 2e-4, 1e6, 1e4), (1e-5, 9e-4, 1, 1e6)],
)
def test_the_front_of_two_films_that_do_not_mix_is_their_shear_added_up(h1, h2, m1, m2):
    """Speed summed from the wall outward, numerically, over all the glaze there is."""
    y = np.concatenate([np.linspace(0, h1, 4001), np.linspace(h1, h1 + h2, 4001)[1:]])
    middle = 0.5 * (y[1:] + y[:-1])
    rate = np.where(middle < h1, m1, m2) * (h1 + h2 - middle)
    speed = np.concatenate([[0.0], np.cumsum(rate * np.diff(y))])
    flux = (0.5 * (speed[1:] + speed[:-1]) * np.diff(y)).sum()
    melts = speeds._Melts(np.log([[m1], [m2]]), np.full((2, 1), True), mixing=0.0)
    front_log = melts.front_log(melts.pile(np.array([[[h1]], [[h2]]])))
    assert np.exp(front_log) == pytest.approx(3.0 * flux / (h1 + h2), rel=1e-6)  # m H² for one film


def run_of(layers, mobility, bends=APART):
    """Run of each edge of one piece. [m]"""
    lower, upper, thickness = np.array(layers, dtype=float).T[:, None]
    mobility = np.broadcast_to(np.asarray(mobility, dtype=float), lower.shape)
    return film.run_m(lower, upper, thickness, mobility, bends)[0]


@pytest.mark.parametrize("wall_deg", [30.0, 60.0, 90.0])
@pytest.mark.parametrize("viscosity_pa_s", [100.0, 400.0])
def test_front_of_a_finite_volume(wall_deg, viscosity_pa_s):
    """Huppert (1982), Nature 300:427, eq. 7: x_N = (9 A² ρ g sinθ t / (4 η))^(1/3)."""
    thickness_m, length_m, seconds, density_kg_m3 = 4e-4, 0.02, 7200.0, 2450.0
    mobility = sheets.mobility_per_m(seconds / viscosity_pa_s, density_kg_m3, wall_deg)
    volume_m2 = thickness_m * length_m
    slope = 9.80665 * np.sin(np.radians(wall_deg))
    front = (9 * volume_m2**2 * density_kg_m3 * slope * seconds / (4 * viscosity_pa_s)) ** (1 / 3)
    assert front > 1.5 * length_m  # thinned behind its front, as the formula asks
    run = run_of([(0.0, length_m, thickness_m)], mobility)[0]
    assert run + length_m == pytest.approx(front, rel=PUBLISHED)


def test_draining_film():
    """Jeffreys (1930), Proc. Camb. Phil. Soc. 26:204: h = sqrt(η x / (ρ g t)), upright wall."""
    viscosity_pa_s, seconds, density_kg_m3 = 250.0, 3600.0, 2400.0
    x = np.array([0.005, 0.02, 0.08])
    published = np.sqrt(viscosity_pa_s * x / (density_kg_m3 * 9.80665 * seconds))
    mobility = sheets.mobility_per_m(seconds / viscosity_pa_s, density_kg_m3, 90.0)
    assert sheets.draining_thickness_m(x, mobility) == pytest.approx(published, rel=0.02)
    # A thick start is forgotten: the numerical film has drained to the same profile.
    at, thickness = method_of_lines(lambda x: np.full(x.shape, 3e-3), mobility, 0.1, 1000)
    drained = sheets.draining_thickness_m(at[100:600], mobility)
    assert thickness[100:600] == pytest.approx(drained, rel=0.02)


def test_glaze_past_a_line_is_what_a_drained_film_leaves_beyond_it():
    """Jeffreys (1930) again: a film of length L holds 2/3 sqrt(L³ / m) once drained."""
    mobility, length_m, thickness_m, reach_m = 1e7, 0.05, 4e-4, 0.01
    flow = one([(reach_m, reach_m + length_m, thickness_m)], mobility)
    reach = np.full((1, 1), reach_m)
    past = film.volume_past_m2(flow, np.zeros((1, 1)), reach)[0, 0]
    left = 2 / 3 * np.sqrt((reach_m + length_m) ** 3 / mobility)
    assert past == pytest.approx(thickness_m * length_m - left, rel=PUBLISHED)
    none = film.volume_past_m2(flow, np.full((1, 1), -9.0), reach)
    assert none[0, 0] == 0.0


def test_long_thick_film_runs_by_its_own_thickness():
    """Nusselt (1916): mean speed of a falling film ρ g h² / (3 η)."""
    mobility, thickness_m = 6e4, 3e-4
    run = run_of([(0.0, 0.5, thickness_m)], mobility)[0]
    assert run == pytest.approx(mobility * thickness_m**2 / 3, rel=PUBLISHED)


@pytest.mark.parametrize("thin_share", [0.1, 0.25])
@pytest.mark.parametrize("mixing", [0.0, 1.0])
def test_step_of_a_thick_film_on_a_thin_one(thin_share, mixing):
    """Rankine-Hugoniot, Whitham (1974) ch. 2.3, where the glaze itself keeps up with the step."""
    mobility, thin_m = 1e5, thin_share * 5e-4
    layers = [(0.0, 0.6, thin_m), (0.1, 0.6, 5e-4 - thin_m)]
    run = run_of(layers, mobility, bends=speeds.Bends(mixing=mixing))[1]
    assert run == pytest.approx(sheets.step_run_m(5e-4, thin_m, mobility), rel=PUBLISHED)


def test_a_step_that_leaves_its_base_behind_goes_as_on_clay():
    """``over`` 0: the base is a rigid wall, and the edge goes at m h² / 3 (Nusselt 1916)."""
    layers = [(0.0, 0.6, 2e-4), (0.1, 0.6, 3e-4)]
    run = run_of(layers, 1e5, bends=speeds.Bends(mixing=0.0, over=0.0))[1]
    assert run == pytest.approx(1e5 * 9e-8 / 3, rel=PUBLISHED)


def test_an_edge_is_never_farther_down_than_what_it_rides_on():
    layers = [(0.05, 0.15, 3e-4), (0.051, 0.15, 3e-4)]
    base, over = run_of(layers, 1e5)
    assert over == pytest.approx(base + 0.001, abs=1e-6)
    equal = run_of([(0.05, 0.15, 3e-4), (0.05, 0.15, 3e-4)], 1e5)
    assert equal == pytest.approx(run_of([(0.05, 0.15, 6e-4)], 1e5)[0], rel=1e-6)


def test_melts_that_became_one_are_their_mean():
    """Arrhenius (1887): the logarithm of the mixture's viscosity is the mean by amount."""
    layers = [(0.03, 0.5, 4e-4), (0.03, 0.5, 2e-4)]
    mean = np.exp((2 * np.log(2e4) + np.log(6e4)) / 3)
    run = run_of(layers, [2e4, 6e4], bends=speeds.Bends(mixing=1.0))[0]
    assert run == pytest.approx(mean * 36e-8 / 3, rel=PUBLISHED)


STACKS = [
    # base: lower, upper edge, thickness; top: lower edge, thickness [mm]; mobilities [1/m]
    (20.0, 90.0, 0.25, 60.0, 0.30, 1.0e5, 1.0e5),
    (20.0, 90.0, 0.25, 40.0, 0.25, 3.0e4, 2.0e5),
    (20.0, 90.0, 0.30, 30.0, 0.20, 2.0e5, 5.0e4),
    (20.0, 90.0, 0.40, 50.0, 0.15, 1.0e5, 3.0e5),
    (20.0, 90.0, 0.20, 20.0, 0.20, 2.0e5, 2.0e5),
]


@pytest.mark.parametrize("stack", STACKS)
def test_two_layers_run_as_the_film_solved_in_full(stack):
    """Within a tenth at the foot, and within a third for the edge over glaze.

    The closed step takes the base as it lay; in full the base drains or swells meanwhile.
    """
    base_low, top, base, over_low, over = np.array(stack[:5]) * 1e-3
    layers = np.array([(base_low, top, base), (over_low, top, over)])
    runs = run_of(layers, stack[5:])
    lower, upper, thickness = layers.T
    full, _ = solve_layers(lower, upper, thickness, np.array(stack[5:]), wall_m=0.25, cells=500)
    # Where one lies under another to its very edge, what is told is the front of both.
    front = full[0] if base_low < over_low else full.max()
    assert runs[0] == pytest.approx(front, rel=0.15, abs=0.5e-3)
    assert runs[1] == pytest.approx(full[1], rel=0.35, abs=0.5e-3)


BENDS = [
    speeds.Bends(mixing=0.5, height=0.2, over=0.5, held_m=1e-3),
    speeds.Bends(mixing=0.0, height=0.0, over=1.0, held_m=1e-4, way=1.0),
    speeds.Bends(mixing=1.0, height=0.5, over=0.2, thickness=-0.2, held_m=3e-3, way=0.2),
]


def random_walls(seed, pieces=1500, layers=3):
    """Layers anywhere over each other, some not there, their melts, and what choices lose."""
    rng = np.random.default_rng(seed)
    lower = rng.uniform(0.002, 0.1, (pieces, layers))
    upper = lower + rng.uniform(0.005, 0.12, lower.shape)
    some = rng.random(lower.shape) < 0.15
    some[:, 0] = False
    upper[some] = lower[some]  # a layer that is not there
    thickness = rng.lognormal(np.log(2e-4), 0.6, lower.shape)
    melt_log = rng.normal(np.log(5e4), 1.5, lower.shape)
    choice_log = rng.normal(0.0, 0.6, (pieces, len(speeds.choices(layers)[0])))
    return [lower, upper, thickness, melt_log, choice_log]


def need(lower, upper, thickness, melt_log, choice_log, bends=BENDS[0], stray_m=0.0):
    """What each edge needs to reach the foot, and the least of a piece."""
    flow = moving(lower, upper, thickness, melt_log, bends, choice_log)
    found = film.log_factor_to_reach(flow, lower, stray_m)[0].T
    found = np.where(upper > lower, found, np.inf)
    return found, found.min(axis=1)


def one_thicker(rng, walls):
    walls[2] = walls[2] * np.where(rng.random(walls[2].shape) < 0.4, rng.uniform(1, 3), 1)


def one_more_fluid(rng, walls):
    walls[3] = walls[3] + np.where(rng.random(walls[3].shape) < 0.4, rng.uniform(0, 1), 0)


def one_lower_edge_lower(rng, walls):
    walls[0] = walls[0] * np.where(rng.random(walls[0].shape) < 0.4, rng.uniform(0, 1), 1)


def one_upper_edge_higher(rng, walls):
    there = walls[1] > walls[0]
    walls[1] = walls[1] + np.where(rng.random(walls[1].shape) < 0.4, 0.01, 0) * there


def all_lower(rng, walls):
    down = walls[0].min(axis=1, keepdims=True) * rng.uniform(0, 1, (len(walls[0]), 1))
    walls[0], walls[1] = walls[0] - down, walls[1] - down


def a_thread_at_the_rim(rng, walls):
    top = walls[1].max(axis=1, keepdims=True)
    walls[0], walls[1] = (
        np.concatenate([edges, at], axis=1)
        for edges, at in ((walls[0], top - 1e-3), (walls[1], top))
    )
    walls[2] = np.concatenate([walls[2], np.full_like(top, 1e-6)], axis=1)
    walls[3] = np.concatenate([walls[3], np.full_like(top, np.log(1e6))], axis=1)
    more = np.zeros((len(top), len(speeds.choices(walls[0].shape[1])[0]) - walls[4].shape[1]))
    walls[4] = np.concatenate([walls[4], more], axis=1)


@pytest.mark.parametrize("bends", BENDS)
@pytest.mark.parametrize("layers", [1, 2, 3, 4])
@pytest.mark.parametrize(
    "change",
    [one_thicker, one_more_fluid, one_lower_edge_lower, one_upper_edge_higher, all_lower],
)
def test_more_of_anything_never_needs_more_to_pass(change, layers, bends):
    before = random_walls(1, 1500 if layers < 4 else 300, layers)
    after = list(before)
    change(np.random.default_rng(2), after)
    for stray_m in (-2e-3, 0.0, 2e-3):
        (_, old), (_, new) = (need(*walls, bends, stray_m) for walls in (before, after))
        assert (new <= old + 1e-9).all()
        assert (new < old - 1e-3).any()


def test_an_edge_that_strays_ends_higher_or_lower_and_never_past_another():
    height = np.linspace(0.0, 0.1, 1001)
    for stray_m in (-2e-3, 2e-3):
        at = film.strayed(height, stray_m)
        assert at[0] == 0.0
        assert (np.diff(at) > 0).all()
        assert at[-1] - height[-1] == pytest.approx(stray_m, rel=0.03)


def test_a_longer_way_takes_more_by_its_power():
    wall = ([[0.01]], [[0.3]], [[3e-4]])
    plain, more = (
        moving(*(np.array(each) for each in wall), np.log([[1e5]]), speeds.Bends(way=power))
        for power in (0.0, 0.5)
    )
    ways = np.array([0.002, 0.004, 0.008])
    gain = [needed(more, [[way]])[0, 0] - needed(plain, [[way]])[0, 0] for way in ways]
    assert gain == pytest.approx(0.5 * np.log(ways / film.USUAL_WAY_M), abs=1e-9)


@pytest.mark.parametrize("layers", [1, 2, 3])
def test_a_thread_of_glaze_changes_next_to_nothing(layers):
    before = random_walls(3, layers=layers)
    after = list(before)
    a_thread_at_the_rim(None, after)
    _, old = need(*before)
    _, new = need(*after)
    assert (new <= old + 1e-9).all()
    assert (new >= old - 0.05).all()


@pytest.mark.parametrize("layers", [1, 2, 3])
@pytest.mark.parametrize("which", [0, 1])
def test_a_tenth_of_a_millimetre_of_any_edge_changes_little(layers, which):
    """By no more than a film near its foot does for itself, 3 / reach."""
    before = random_walls(4, layers=layers)
    after = list(before)
    there = before[1] - before[0] > 1e-3
    after[which] = before[which] + np.where(there, 1e-4, 0.0)
    _, old = need(*before)
    _, new = need(*after)
    assert np.abs(new - old).max() < 0.15


def test_edges_at_one_height_need_what_edges_a_hair_apart_need():
    lower, upper, thickness, melt_log, choice_log = random_walls(5, layers=2)
    upper = np.maximum(upper, lower + 0.01)
    lower[:, 1] = lower[:, 0]
    apart = lower.copy()
    apart[:, 1] += 5e-5
    _, equal = need(lower, upper, thickness, melt_log, choice_log)
    _, hair = need(apart, upper, thickness, melt_log, choice_log)
    assert hair == pytest.approx(equal, abs=0.03)


def test_the_need_grows_with_the_reach():
    lower, upper, thickness, melt_log, choice_log = random_walls(6)
    flow = moving(lower, upper, thickness, melt_log, BENDS[0], choice_log)
    share = np.linspace(0.01, 1.2, 25)
    found = [needed(flow, s * lower) for s in share]
    rise = np.diff(np.where(upper > lower, np.array(found), 0.0), axis=0)
    assert (rise[np.isfinite(rise)] >= 0).all()


def test_one_glaze_told_in_layers_is_one_glaze():
    lower, upper, thickness, melt_log, _ = random_walls(7, layers=1)
    melt_log = melt_log + 0.0
    _, whole = need(lower, upper, thickness, melt_log, 0.0)
    three = [np.repeat(table, 3, axis=1) for table in (lower, upper, thickness / 3, melt_log)]
    glaze = np.zeros((len(lower), 3), dtype=np.intp)
    flow = moving(*three, BENDS[0], 0.0, glaze)
    found = needed(flow, three[0])
    assert found.min(axis=1) == pytest.approx(whole, abs=1e-9)


def test_many_layers_are_worked_out_as_well():
    """Of more than four layers not every choice is looked at: no less than the outer ones do."""
    walls = random_walls(8, 200, 7)
    flow = moving(*walls[:4], BENDS[0], 0.0)
    whole = needed(flow, walls[0] + 1e-3).min(axis=1)
    for first in (3, 6):
        outer = [table[:, first:] for table in walls[:4]]
        flow = moving(*outer, BENDS[0], 0.0)
        some = needed(flow, outer[0] + 1e-3).min(axis=1)
        assert (whole <= some + 1e-9).mean() > 0.97
        assert (whole <= some + 0.5).all()


def test_no_glaze_or_no_piece_runs_nowhere():
    assert run_of([(0.02, 0.02, 3e-4)], 1e5)[0] == 0.0
    assert run_of([(0.02, 0.08, 0.0)], 1e5)[0] == 0.0
    flow = moving(*(np.zeros((0, 2)) for _ in range(4)))
    assert needed(flow, np.zeros((0, 2))).shape == (0, 2)


def test_a_stretched_wall_keeps_its_order_and_is_itself_without_a_power():
    heights = np.linspace(-0.02, 0.4, 200)
    assert (np.diff(film.stretched(heights, 0.4)) > 0).all()
    plain = film.stretched(heights, 0.0)
    assert np.diff(plain) == pytest.approx(np.diff(heights))


def test_glaze_that_begins_where_another_ends_hangs_together_with_it():
    """Its edge is a step on the other's, whose front is the front of both; not over bare clay."""
    thick = np.full((1, 2), 3e-4)
    for gap, front, base in ((0.0, 0.0, True), (1e-6, 0.02 + 1e-6, False)):
        lower, upper = np.array([[0.0, 0.02 + gap]]), np.array([[0.02, 0.05]])
        wall = film.Wall(lower, upper, thick)
        assert wall.front_m[1, 0] == front
        assert wall.base[1, 0, 0] == base


@pytest.mark.parametrize("way_m", [4e-3, 20e-3])
@pytest.mark.parametrize("bends", [speeds.Bends(), speeds.Bends(held_m=3e-3, way=0.7)])
def test_glaze_is_past_a_line_from_where_its_edge_gets_there(way_m, bends):
    """What holds an edge back, and what a longer way takes, holds the same for its volume."""
    flow = one([(30e-3, 80e-3, 4e-4)], 1e5, bends=bends)
    reach_m = np.full((1, 1), way_m)
    need = needed(flow, reach_m)
    assert film.volume_past_m2(flow, need - 1e-6, reach_m) == 0.0
    assert film.volume_past_m2(flow, need + 0.1, reach_m) > 0.0
