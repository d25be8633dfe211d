"""Photos of invented pots, drawn line of sight by line of sight, with what stands where on them."""

import io
import math
from dataclasses import dataclass

import numpy as np
from PIL import Image

WIDTH_PX, HEIGHT_PX = 800, 600
TABLE, CLAY, FOOT, RUN, GLAZE = (
    (214, 208, 198),
    (176, 132, 98),
    (40, 30, 24),
    (20, 90, 160),
    (120, 190, 90),
)
STEPS = 90


@dataclass
class Shot:
    """A pot and how it is taken: its foot, wall and glaze, and the camera before it."""

    foot_mm: float = 65.0
    wall_deg: float = 88.0
    was_mm: float = 30.0
    run_mm: float = 12.0
    away_mm: float = 350.0
    tilt_deg: float = 0.0
    film_mm: float = 26.0
    aside: float = 0.0
    flat: bool = False

    def taken(self):
        """The picture as an array, as a pinhole camera sees it."""
        focal_px = self.film_mm / math.hypot(36, 24) * math.hypot(WIDTH_PX, HEIGHT_PX)
        x, y = np.meshgrid(np.arange(WIDTH_PX) + 0.5, np.arange(HEIGHT_PX) + 0.5)
        right, down = (x - WIDTH_PX / 2) / focal_px, (y - HEIGHT_PX / 2) / focal_px
        tilt = math.radians(self.tilt_deg)
        # Sideways, into the picture, up; the camera aims at the wall somewhat above the foot.
        ray = np.stack(
            [right, math.cos(tilt) - down * math.sin(tilt), -math.sin(tilt) - down * math.cos(tilt)]
        )
        ray = ray / np.linalg.norm(ray, axis=0)
        aim_mm = np.array([0.0, 0.0, 25.0])
        eye = aim_mm - self.away_mm * np.array([0.0, math.cos(tilt), -math.sin(tilt)])
        way, hit = self._marched(eye, ray)
        at = eye[:, None, None] + way * ray
        along_mm = at[2] / math.sin(math.radians(self.wall_deg))
        picture = np.full((HEIGHT_PX, WIDTH_PX, 3), TABLE, dtype=np.uint8)
        for colour, low, high in (
            (FOOT, 0.0, 1.5),
            (CLAY, 1.5, self.was_mm - self.run_mm),
            (RUN, self.was_mm - self.run_mm, self.was_mm),
            (GLAZE, self.was_mm, 80.0),
        ):
            picture[hit & (along_mm >= low) & (along_mm < high)] = colour
        return picture

    def _marched(self, eye, ray):
        """How far each line of sight goes until it meets the pot, in steps that never jump it."""
        slope = 1.0 / math.tan(math.radians(self.wall_deg))
        bound = 1.0 / math.hypot(1.0, slope)
        way = np.full(ray[0].size, self.away_mm / 3)
        rays, under_way = ray.reshape(3, -1), np.arange(way.size)
        for _ in range(STEPS):
            at = eye[:, None] + way[under_way] * rays[:, under_way]
            free = self._outside(at, slope)
            way[under_way] += free * bound
            near = np.abs(at[0]) + np.abs(at[1]) < 3 * self.foot_mm
            under_way = under_way[(np.abs(free) > 0.001) & (near | (way[under_way] < self.away_mm))]
        way = way.reshape(ray.shape[1:])
        at = eye[:, None, None] + way * ray
        top_mm = 80.0 * math.sin(math.radians(self.wall_deg))
        hit = (np.abs(self._outside(at, slope)) < 0.2) & (at[2] >= 0) & (at[2] < top_mm)
        if self.flat:
            hit &= np.abs(at[0]) <= self.foot_mm / 2
        return way, hit

    def _outside(self, at, slope):
        """Some way that is still free to the wall."""
        if self.flat:
            return -(at[1] - slope * at[2])
        return np.hypot(at[0], at[1]) - (self.foot_mm / 2 - slope * at[2])

    def taps(self, picture):
        """Where one would tap: the foot's ends and its front, the edge as it was and is."""
        foot = _of(picture, FOOT)
        rows, columns = np.nonzero(foot)
        left, right = columns.argmin(), columns.argmax()
        middle = int((columns.min() + columns.max()) / 2)
        column = round(middle + self.aside * (columns.max() - columns.min()) / 2)
        run = np.nonzero(_of(picture, RUN)[:, column])[0]
        return {
            "foot_left": (columns[left] + 0.0, rows[left] + 0.5),
            "foot_right": (columns[right] + 1.0, rows[right] + 0.5),
            "foot_front": (middle + 0.5, np.nonzero(foot[:, middle])[0].max() + 1.0),
            "edge_was": (column + 0.5, run.min() + 0.0),
            "edge_now": (column + 0.5, run.max() + 1.0),
        }


def _of(picture, colour):
    return (picture == np.array(colour, dtype=np.uint8)).all(axis=2)


def encoded(picture, kind="JPEG", film_mm=None, located=False, **options):
    """A picture as a phone sends it, with its focal length and, where asked, where it was taken."""
    image = Image.fromarray(picture)
    exif = Image.Exif()
    if film_mm is not None:
        exif.get_ifd(0x8769)[0xA405] = round(film_mm)
    if located:
        exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 8.0, 14.0), 3: "E", 4: (11.0, 34.0, 31.0)})
        exif[0x010F], exif[0x9C9C] = "Invented Maker", b"note\0"
    out = io.BytesIO()
    image.save(out, kind, exif=exif, **options)
    return out.getvalue()
