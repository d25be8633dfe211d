"""Runs measured on photos: twenty drawn line of sight by line of sight, and what is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest
from helpers.photos import HEIGHT_PX, WIDTH_PX, Shot

from runpredict.physics.photo_length import Camera, Taps, run_on_photo

SHOTS = [
    Shot(),
    Shot(tilt_deg=5.0),
    Shot(tilt_deg=10.0),
    Shot(tilt_deg=15.0),
    Shot(tilt_deg=15.0, away_mm=220.0),
    Shot(tilt_deg=8.0, away_mm=600.0, film_mm=50.0),
    Shot(run_mm=6.0, tilt_deg=12.0, away_mm=200.0),
    Shot(run_mm=25.0, tilt_deg=3.0),
    Shot(wall_deg=90.0, tilt_deg=15.0, aside=0.6),
    Shot(wall_deg=90.0, tilt_deg=6.0, aside=-0.8),
    Shot(wall_deg=70.0, tilt_deg=10.0),
    Shot(wall_deg=70.0, tilt_deg=15.0, aside=0.5),
    Shot(wall_deg=60.0, foot_mm=110.0, tilt_deg=4.0, away_mm=400.0),
    Shot(wall_deg=110.0, tilt_deg=10.0),
    Shot(wall_deg=115.0, foot_mm=55.0, tilt_deg=15.0, was_mm=28.0),
    Shot(wall_deg=120.0, foot_mm=70.0, tilt_deg=12.0, run_mm=15.0, away_mm=300.0),
    Shot(wall_deg=105.0, tilt_deg=9.0, aside=0.4, film_mm=24.0),
    Shot(foot_mm=120.0, wall_deg=85.0, away_mm=450.0, tilt_deg=15.0, film_mm=28.0),
    Shot(foot_mm=100.0, wall_deg=90.0, flat=True, tilt_deg=5.0),
    Shot(foot_mm=50.0, wall_deg=95.0, tilt_deg=14.0, away_mm=260.0, run_mm=8.0),
]
TAP_PX = 1.0


def measured(shot):
    taps, camera = Taps(**shot.taps(shot.taken())), Camera(WIDTH_PX, HEIGHT_PX, shot.film_mm)
    return run_on_photo(taps, camera, shot.foot_mm, shot.wall_deg, TAP_PX, flat=shot.flat)


@pytest.mark.parametrize("number", range(len(SHOTS)))
def test_twenty_pictures_are_measured_within_eight_percent(number):
    shot = SHOTS[number]
    run_mm, error_mm = measured(shot)
    assert run_mm == pytest.approx(shot.run_mm, rel=0.08)
    assert 0.0 < error_mm < 0.15 * shot.run_mm + 0.5


def test_the_error_told_covers_uncertain_taps():
    """Of taps that are off by as much as was told, 19 of 20 lengths are within twice the error."""
    shot, chance = SHOTS[3], np.random.default_rng(7)
    taps, camera = shot.taps(shot.taken()), Camera(WIDTH_PX, HEIGHT_PX, shot.film_mm)
    off = []
    for _ in range(200):
        moved = {name: tuple(at + chance.normal(0, TAP_PX, 2)) for name, at in taps.items()}
        run_mm, error_mm = run_on_photo(Taps(**moved), camera, 65.0, 88.0, TAP_PX)
        off.append(abs(run_mm - shot.run_mm) / error_mm)
    assert np.quantile(off, 0.9) < 2.0 < 2.5 * np.quantile(off, 0.9)


@pytest.fixture(scope="module")
def plain():
    shot = Shot(tilt_deg=6.0)
    return shot, Taps(**shot.taps(shot.taken())), Camera(WIDTH_PX, HEIGHT_PX, shot.film_mm)


def test_what_is_not_known_makes_it_less_certain(plain):
    _, taps, camera = plain
    _, known_mm = run_on_photo(taps, camera, 65.0, 88.0, 0.2)
    _, no_focal_mm = run_on_photo(taps, replace(camera, film_mm=None), 65.0, 88.0, 0.2)
    steep = [
        run_on_photo(t, camera, 65.0, 115.0, 0.2)[1] for t in (taps, replace(taps, foot_front=None))
    ]
    assert known_mm < no_focal_mm
    assert steep[0] < steep[1]


def test_the_foot_is_the_scale(plain):
    _, taps, camera = plain
    one, other = (run_on_photo(taps, camera, foot_mm, 88.0, TAP_PX) for foot_mm in (65.0, 130.0))
    assert other == pytest.approx([2 * one[0], 2 * one[1]], rel=1e-9)


def test_ends_of_the_foot_may_be_tapped_in_any_order(plain):
    _, taps, camera = plain
    other = replace(taps, foot_left=taps.foot_right, foot_right=taps.foot_left)
    assert run_on_photo(other, camera, 65.0, 88.0, TAP_PX) == pytest.approx(
        run_on_photo(taps, camera, 65.0, 88.0, TAP_PX)
    )


def test_a_level_photo_from_afar_is_a_ruler():
    """With a long lens there is no perspective: lengths are to each other as on the photo."""
    camera = Camera(4000, 3000, film_mm=5000.0, tilt_deg=0.0)
    taps = Taps((1000, 2500), (3000, 2500), (2000, 2000), (2000, 2200))
    run_mm, _ = run_on_photo(taps, camera, 80.0, 90.0, 2.0, flat=True)
    assert run_mm == pytest.approx(80.0 * 200 / 2000, rel=1e-3)
    leaning, _ = run_on_photo(taps, camera, 80.0, 60.0, 2.0, flat=True)
    assert leaning == pytest.approx(run_mm / math.sin(math.radians(60.0)), rel=1e-3)


@pytest.mark.parametrize(
    ("changed", "wall_deg", "tap_px", "told"),
    [
        ({}, 20.0, 1.0, "not seen well enough"),
        ({}, 170.0, 1.0, "not seen well enough"),
        ({"foot_right": (300.0, 340.0), "foot_left": (300.0, 340.0)}, 88.0, 1.0, "too small"),
        ({}, 88.0, 30.0, "too small"),
        ({"edge_now": (400.0, 200.0)}, 88.0, 1.0, "higher now"),
    ],
)
def test_what_cannot_be_measured_is_refused(plain, changed, wall_deg, tap_px, told):
    _, taps, camera = plain
    with pytest.raises(ValueError, match=told):
        run_on_photo(replace(taps, **changed), camera, 65.0, wall_deg, tap_px)


def test_taps_anywhere_give_a_length_or_a_sentence(plain):
    """Whatever is tapped, no length is senseless and nothing breaks."""
    chance = np.random.default_rng(3)
    _, _, camera = plain
    for _ in range(300):
        names = ("foot_left", "foot_right", "edge_was", "edge_now", "foot_front")
        taps = Taps(**{name: tuple(chance.uniform(0, 600, 2)) for name in names})
        wall_deg = chance.uniform(30.0, 150.0)
        try:
            found = run_on_photo(taps, camera, 65.0, wall_deg, TAP_PX, flat=chance.random() < 0.2)
        except ValueError:
            continue
        assert np.isfinite(found).all()
        assert found[0] >= 0.0
