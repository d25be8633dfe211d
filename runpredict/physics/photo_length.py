"""How far an edge ran, measured on a photo of the pot from the side.

The foot's two ends give the scale, since the diameter of the foot is known: two lines of sight
that touch a circle tell how far away it stands. From there each tap is a line of sight that meets
the pot's wall. A round pot is taken for a cone with the angle of its wall, a tile for a plane.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from runpredict.arrays import Floats

WIDE_MM, WIDE_ERROR_MM = 26.0, 3.0
"""Focal length of a phone's usual camera as on film of 36 mm × 24 mm, where the photo does not tell
its own (from memory: 24 to 28 mm)."""
FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
TILT_DEG, TILT_ERROR_DEG = 7.5, 7.5
"""How far a phone looks down on a pot on a table, where nothing tells it (common practice, no
source: level to 15°)."""
FOCAL_ERROR = 0.02
FLATTEST_DEG, STEEPEST_DEG = 30.0, 150.0
"""Beyond these a wall is not seen well enough from the side."""
LEAST_FOOT_TAPS = 20.0
"""The foot has to be so many times as wide on the photo as a tap is uncertain."""


Point = tuple[float, float]


@dataclass(frozen=True)
class Taps:
    """Points on a photo, right and down from its upper left corner. [px]

    Attributes
    ----------
    foot_left, foot_right : pair of float
        The two ends of the foot.
    edge_was, edge_now : pair of float
        Where the edge of the glaze was, and where it is now.
    foot_front : pair of float, optional
        The point of the foot nearest to the camera; tells how far the camera looks down.
    """

    foot_left: Point
    foot_right: Point
    edge_was: Point
    edge_now: Point
    foot_front: Point | None = None


@dataclass(frozen=True)
class Camera:
    """What a photo is measured with.

    Attributes
    ----------
    width_px, height_px : float
        Of the whole photo.
    film_mm : float or None
        Focal length as on film of 36 mm × 24 mm; None for `WIDE_MM`. [mm]
    tilt_deg : float
        How far it looks down, where `Taps.foot_front` does not tell. [°]
    """

    width_px: float
    height_px: float
    film_mm: float | None = None
    tilt_deg: float = TILT_DEG

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        film_mm = self.film_mm or WIDE_MM
        return film_mm / FILM_DIAGONAL_MM * math.hypot(self.width_px, self.height_px)

    def ray(self, point: Point) -> Floats:
        """The line of sight of a point, of length 1: right, down, ahead."""
        right, down = point[0] - self.width_px / 2, point[1] - self.height_px / 2
        ray = np.array([right, down, self.focal_px])
        return ray / np.linalg.norm(ray)


def run_on_photo(
    taps: Taps, camera: Camera, foot_mm: float, wall_deg: float, tap_px: float, flat: bool = False
) -> tuple[float, float]:
    """How far an edge moved down the wall, and the error of that.

    Parameters
    ----------
    foot_mm : float
        Diameter of the foot, or the width of a tile's lower edge. [mm]
    wall_deg : float
        Angle of the wall from the level, `FLATTEST_DEG` to `STEEPEST_DEG`. [°]
    tap_px : float
        How uncertain a tap is, as a standard deviation. [px]
    flat : bool
        A tile, whose lower edge is tapped and whose wall is a plane.

    Returns
    -------
    run_mm, error_mm : float
        Its standard error is of the taps, the tilt and the focal length; that the wall is no cone
        is not in it. [mm]

    Raises
    ------
    ValueError : A wall too flat, a foot too small on the photo, or an edge that went up.
    """
    if not FLATTEST_DEG <= wall_deg <= STEEPEST_DEG:
        raise ValueError(
            f"a wall of {wall_deg:g}° is not seen well enough from the side; measure it by hand."
        )
    if math.dist(taps.foot_left, taps.foot_right) < LEAST_FOOT_TAPS * tap_px:
        raise ValueError(
            "the foot is too small on the photo for a length; go nearer, show it larger, or tap "
            "its two ends again."
        )
    if taps.foot_left[0] > taps.foot_right[0]:
        taps = replace(taps, foot_left=taps.foot_right, foot_right=taps.foot_left)

    def measured(taps: Taps, camera: Camera) -> float:
        was_mm, now_mm = _heights_mm(taps, camera, foot_mm, wall_deg, flat)
        return was_mm - now_mm

    run_mm = measured(taps, camera)
    others = [measured(moved, camera) for moved in _moved(taps, tap_px)]
    film_mm = camera.film_mm or WIDE_MM
    film_error_mm = FOCAL_ERROR * film_mm if camera.film_mm else WIDE_ERROR_MM
    others.append(measured(taps, replace(camera, film_mm=film_mm + film_error_mm)))
    if flat or taps.foot_front is None:
        # The range of the tilt is taken for a uniform one: its deviation is 1/√3 of the half.
        tilted = replace(camera, tilt_deg=camera.tilt_deg + TILT_ERROR_DEG / math.sqrt(3.0))
        others.append(measured(taps, tilted))
    error_mm = math.hypot(*(other - run_mm for other in others))
    if run_mm < -2.0 * error_mm:
        raise ValueError("the edge is tapped higher now than it was; tap both again.")
    return max(run_mm, 0.0), error_mm


def _moved(taps: Taps, tap_px: float) -> list[Taps]:
    """The same taps with one of them off, to the side or down."""
    points = {name: point for name, point in vars(taps).items() if point is not None}
    return [
        replace(taps, **{name: (x + right, y + down)})
        for name, (x, y) in points.items()
        for right, down in ((tap_px, 0.0), (0.0, tap_px))
    ]


def _heights_mm(
    taps: Taps, camera: Camera, foot_mm: float, wall_deg: float, flat: bool
) -> tuple[float, float]:
    """How far up the wall the edge was and is, measured along it from the foot. [mm]"""
    left, right = camera.ray(taps.foot_left), camera.ray(taps.foot_right)
    ahead = (left + right) / np.linalg.norm(left + right)
    across = (right - left) / np.linalg.norm(right - left)
    upward = np.cross(across, ahead)
    half = math.atan2(float(right @ across), float(right @ ahead))
    radius_mm = foot_mm / 2
    # Lines of sight touch a circle in front of its centre, and a tile at its corners.
    nearer = 0.0 if flat else math.sin(half)
    distance_mm = radius_mm * (1.0 if flat else math.cos(half)) / math.tan(half)
    tilt = math.radians(camera.tilt_deg)
    if taps.foot_front is not None and not flat:
        front = camera.ray(taps.foot_front)
        below = math.atan2(-float(front @ upward), float(front @ ahead))
        reach = distance_mm * math.sin(below) / (radius_mm * (1.0 - nearer))
        tilt = math.asin(min(max(reach, -1.0), 1.0)) - below
    up = math.cos(tilt) * upward - math.sin(tilt) * ahead
    toward = -math.cos(tilt) * ahead - math.sin(tilt) * upward
    middle_mm = distance_mm * ahead - nearer * radius_mm * toward
    axes = np.array([across, toward, up])  # of the pot: sideways, toward the camera, up

    def height_mm(point: Point) -> float:
        ray, eye = axes @ camera.ray(point), axes @ -middle_mm
        angle = math.radians(wall_deg)
        if flat:
            wall = np.array([0.0, math.sin(angle), math.cos(angle)])  # across it, out of the tile
            met = eye - ray * (eye @ wall) / (ray @ wall)
            return float(met[2]) / math.sin(angle)
        return _on_cone(eye, ray, radius_mm, 1.0 / math.tan(angle)) / math.sin(angle)

    return height_mm(taps.edge_was), height_mm(taps.edge_now)


def _on_cone(eye: Floats, ray: Floats, radius_mm: float, narrowing: float) -> float:
    """How high a line of sight meets a cone first, or comes nearest to it where it passes by.

    x² + y² = (radius - narrowing z)², solved for the way along the line.
    """
    inner = radius_mm - narrowing * eye[2]
    a = ray[0] ** 2 + ray[1] ** 2 - (narrowing * ray[2]) ** 2
    b = eye[0] * ray[0] + eye[1] * ray[1] + inner * narrowing * ray[2]
    c = eye[0] ** 2 + eye[1] ** 2 - inner**2
    way = (-b - math.sqrt(max(b * b - a * c, 0.0))) / a
    return float(eye[2] + way * ray[2])
