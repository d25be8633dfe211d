"""Independent solutions of the film equation, to hold the closed one against.

`method_of_lines` solves one melt. `solve_layers` solves k melts that lie on one wall: thin films,
driven by weight alone (no surface tension, no pull of one layer on its own slope), each moved
downhill by the mean speed that the stacked viscosities give it,

    h_i,t + (h_i w_i f(H))_x = 0,   w_i from `layer_speeds`, f from `held`, H = Σ h_i,

by finite volumes of second order (upwind with minmod slopes, Heun in time): all waves run
downhill, so upwind is the right side for every layer. Order is kept: where a lower layer has
not come, the one above lies on the bare wall, and a lower one that comes later runs under it.

Accuracy, seen by halving the cells and beside closed forms (tests/physics/test_film_reference.py):
with the default 400 cells on twice the way to the foot, runs are within 1 % or half a cell. Glaze
is kept to rounding. The edge of a layer between two others, or of one like what it lies on, moves
with the glaze and does not sharpen itself: there 2 % or a cell. Left out: what time two melts have
lain on each other (mixing goes by the time of the firing), and that a mixed layer is uneven
within itself.
"""

import numpy as np
from scipy.integrate import solve_ivp


def method_of_lines(thickness_m, mobility, wall_m, cells):
    """Film on a wall at the end of its firing, by the general road.

    Upwind finite volumes of h_t + (mobility h³ / 3)_x = 0 from t = 0 to 1, x down the wall,
    integrated in time by a stiff-safe explicit solver of scipy.

    Parameters
    ----------
    thickness_m : callable, start thickness at x [m]
    mobility : float [1/m]
    wall_m : float, length of wall [m]
    cells : int

    Returns
    -------
    x, h : ndarray, shape (cells,). [m]
    """
    step = wall_m / cells
    x = (np.arange(cells) + 0.5) * step
    h0 = thickness_m(x)
    scale = h0.max()

    def rate(_, h):
        flux = mobility * scale**2 * h**3 / 3.0
        return -np.diff(flux, prepend=0.0) / step

    solved = solve_ivp(rate, (0.0, 1.0), h0 / scale, method="RK23", rtol=1e-4, atol=1e-7)
    return x, solved.y[:, -1] * scale


def front_m(x, h):
    """Where the film ends: the cell beyond which a half of the front's own height is not met."""
    top = h[: -len(h) // 50].max()
    edge = np.flatnonzero(h > 0.05 * top)[-1]
    height = h[max(edge - 20, 0) : edge].max()
    last = np.flatnonzero(h > 0.5 * height)[-1]
    # Half height is met within the cells `last` and `last + 1`.
    part = (h[last] - 0.5 * height) / (h[last] - h[last + 1])
    return x[last] + part * (x[1] - x[0])


# Share of a cell that the fastest wave crosses in a step; stable below 1/2.
COURANT = 0.45
STEPS_MIN = 60  # for what changes with time
# Within so many cells of a layer's last trace its front has its full height.
FRONT_CELLS = 6
TRACE = 0.01  # of the thickness a layer started with


def layer_speeds(h, mobility):
    """Mean speed of each of k films stacked on a wall, per unit of time.

    Parameters
    ----------
    h : ndarray, shape (k, cells)
        Thickness, the first next to the wall. [m]
    mobility : ndarray, shape (k, 1) or (k, cells)
        ρ g sin(wall) dΦ/dt of each melt, all of one density. [1/m]

    Returns
    -------
    ndarray, shape (k, cells). [m]

    Notes
    -----
    du/dy = mobility (H - y), u = 0 at the wall and the same on both sides of an interface. With b
    what lies over a layer: it rides at the speed of the interface below it and adds
    mobility h (h/3 + b/2) in the mean, mobility h (h/2 + b) at its outer face.
    """
    over = np.cumsum(h[::-1], axis=0)[::-1] - h
    shear = mobility * h
    outer = np.cumsum(shear * (0.5 * h + over), axis=0)
    ridden = np.concatenate([np.zeros_like(h[:1]), outer[:-1]])
    return ridden + shear * (h / 3.0 + 0.5 * over)


def _share_mixed_table():
    """Share mixed of two like films by depth over thickness; Crank (1975), series of ch. 4."""
    ratio = np.linspace(0.0, 6.0, 601)
    odd = np.arange(1, 4001, 2)
    decay = np.exp(-((odd * np.pi * ratio[:, None] / 4.0) ** 2)) / odd**2
    return ratio, 1.0 - 8.0 / np.pi**2 * decay.sum(axis=1)


RATIO, SHARE = _share_mixed_table()


def unmixed_left(whole_m, depth_m, before_m):
    """Share (cells,) of a difference between melts that is left as they mix to a depth.

    From a depth before; a wall of some thickness counts as two like films of half of it.
    """
    half = 0.5 * np.maximum(whole_m, 1e-300)
    left, had = (1.0 - np.interp(d / half, RATIO, SHARE) for d in (depth_m, before_m))
    return left / np.maximum(had, 1e-300)


def held(whole, hold_thickness_m):
    """What holding back leaves of the speed: flux of one melt goes as h³ - h0³, nought below."""
    return 1.0 - np.minimum(hold_thickness_m / np.maximum(whole, 1e-300), 1.0) ** 3


def solve_profile(
    lower_m,
    upper_m,
    thickness_m,
    mobility,
    hold_thickness_m=0.0,
    mixing_m=0.0,
    wall_m=None,
    cells=400,
    pace=None,
):
    """k layers on one wall at the end of a firing, each a film of its own, solved in full.

    Parameters
    ----------
    lower_m, upper_m, thickness_m : array_like, shape (k,)
        Edges above the foot and fired thickness; the first layer lies next to the wall. [m]
    mobility : array_like, shape (k,)
        ρ g sin(wall) Φ over the whole firing, > 0. [1/m]
    hold_thickness_m : float
        Glaze thinner than this, all layers together, stands still. [m]
    mixing_m : float
        Depth sqrt(4 D t) to which melts have mixed at the end of the firing, one for all. The
        logarithm of each layer's mobility, which its glaze carries along, nears the mean by
        amount of the wall where it is. [m]
    wall_m : float, optional
        Length of wall from the top of the glaze; default twice the way to the foot. [m]
    cells : int
        Of that wall, about: the foot is put on a face.
    pace : callable, optional
        Of time from 0 to 1: factor (k,) on each mobility, of mean 1.

    Returns
    -------
    x : ndarray, shape (cells,)
        Middle of each cell, down from the top of the glaze. [m]
    h : ndarray, shape (k, cells). [m]
    left_m2 : ndarray, shape (k,)
        What has run off the end of the wall. [m²]
    """
    lower, upper, thickness, mobility = (
        np.asarray(a, dtype=float) for a in (lower_m, upper_m, thickness_m, mobility)
    )
    top = upper.max()
    length = 2.0 * top if wall_m is None else wall_m
    step = top / max(round(cells * top / length), 1)
    faces = step * np.arange(round(length / step) + 1)
    reach = np.clip(faces, (top - upper)[:, None], (top - lower)[:, None])
    h = thickness[:, None] * np.diff(reach, axis=1) / step
    film = _Film(h, np.log(mobility)[:, None] + 0.0 * h, step, hold_thickness_m)
    time, depth_squared = 0.0, 0.0

    def pace_at(moment):
        return np.ones(len(h)) if pace is None else np.asarray(pace(moment), dtype=float)

    while time < 1.0:
        dt = min(film.longest_step(pace_at(time)), 1.0 / STEPS_MIN, 1.0 - time)
        now = pace_at(time + 0.5 * dt)
        film.run(dt, now)
        if mixing_m > 0:
            deeper = depth_squared + dt * np.exp(np.log(np.maximum(now, 1e-300)).mean())
            film.mix(mixing_m * np.sqrt(deeper), mixing_m * np.sqrt(depth_squared))
            depth_squared = deeper
        time = 1.0 if time + dt >= 1.0 - 1e-12 else time + dt
    return 0.5 * (faces[1:] + faces[:-1]), film.h, film.left


class _Film:
    """Layers as they run: thickness and log mobility (k, cells), and what has left the wall."""

    def __init__(self, h, melt, step, hold_thickness_m):
        self.h, self.melt, self.step, self.hold = h, melt, step, hold_thickness_m
        self.left = np.zeros(len(h))

    def longest_step(self, pace):
        """Speeds are of degree 2 in thickness: by Euler and Collatz no wave is thrice as fast."""
        fastest = 3.0 * layer_speeds(self.h, np.exp(self.melt) * pace[:, None]).max()
        return COURANT * self.step / max(fastest, 1e-300)

    def run(self, dt, pace):
        """Heun's step of thickness and of what melt it is."""
        held_melt = self.h * self.melt
        rate, melt_rate, out = self._rates(self.h, self.melt, pace)
        h, melt = self.h + dt * rate, self._melt(held_melt + dt * melt_rate, self.h + dt * rate)
        again, melt_again, out_again = self._rates(h, melt, pace)
        h = self.h + 0.5 * dt * (rate + again)
        self.melt = self._melt(held_melt + 0.5 * dt * (melt_rate + melt_again), h)
        self.h = h
        self.left += 0.5 * dt * (out + out_again)

    def _melt(self, held_melt, h):
        return np.where(h > 1e-15, held_melt / np.maximum(h, 1e-15), self.melt)

    def _rates(self, h, melt, pace):
        rise = np.diff(h, axis=1)
        one, other = rise[:, :-1], rise[:, 1:]
        steepest = np.minimum(0.5 * np.abs(one + other), 2.0 * np.minimum(abs(one), abs(other)))
        face = h.copy()
        face[:, 1:-1] += 0.5 * np.where(one * other > 0, np.sign(one) * steepest, 0.0)
        speed = layer_speeds(face, np.exp(melt) * pace[:, None])
        flux = face * speed * held(face.sum(axis=0), self.hold)
        rates = (-np.diff(q, axis=1, prepend=0.0) / self.step for q in (flux, flux * melt))
        return *rates, flux[:, -1]

    def mix(self, depth_m, before_m):
        """Bring melts that lie on each other towards their mean by amount, as diffusion would."""
        whole = self.h.sum(axis=0)
        mean = (self.h * self.melt).sum(axis=0) / np.maximum(whole, 1e-300)
        kept = unmixed_left(whole, depth_m, before_m)
        self.melt = np.where(self.h > 1e-15, mean + kept * (self.melt - mean), self.melt)


def lower_edge_m(x, h, thickness_m):
    """Where one layer ends: the front that holds what lies beyond its last full height. [m]"""
    trace = np.flatnonzero(h > TRACE * thickness_m)
    last = trace[-1]
    start = max(last - FRONT_CELLS, 0)
    full = start + int(np.argmax(h[start : last + 1]))
    step = x[1] - x[0]
    return x[full] + 0.5 * step + step * h[full + 1 :].sum() / h[full]


def solve_layers(
    lower_m,
    upper_m,
    thickness_m,
    mobility,
    hold_thickness_m=0.0,
    mixing_m=0.0,
    wall_m=None,
    cells=400,
    pace=None,
):
    """How far each layer runs and what passes the foot, by `solve_profile`.

    Parameters are its own; a layer of no height or thickness is not there.

    Returns
    -------
    runs_m : ndarray, shape (k,)
        Of each lower edge; inf where it has left the wall. [m]
    past_m2 : ndarray, shape (k,)
        Of each layer below the foot, per metre of rim. [m²]
    """
    x, h, left = solve_profile(
        lower_m, upper_m, thickness_m, mobility, hold_thickness_m, mixing_m, wall_m, cells, pace
    )
    top, step = np.max(upper_m), x[1] - x[0]
    runs = np.zeros(len(h))
    for layer, (low, high, thick) in enumerate(zip(lower_m, upper_m, thickness_m, strict=True)):
        if high > low and thick > 0:
            gone = left[layer] > TRACE * thick * step
            runs[layer] = np.inf if gone else lower_edge_m(x, h[layer], thick) - (top - low)
    return runs, left + step * h[:, x > top].sum(axis=1)
