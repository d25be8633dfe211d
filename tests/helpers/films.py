"""An independent solution of the film equation, to hold the closed one against."""

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
