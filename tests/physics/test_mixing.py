"""How far melts mix, against diffusion solved in full."""

import numpy as np
import pytest
from scipy.linalg import eigh_tridiagonal
from scipy.special import erfc

from runpredict.physics import mixing


def test_depth_of_mixing():
    """Crank (1975), eq. 2.14: c = erfc(x / (2 sqrt(D t))) / 2, so erfc(1) / 2 at the depth."""
    assert mixing.mixed_depth_m(1e-13, 3600.0) == pytest.approx(3.795e-5, rel=1e-3)
    assert mixing.mixed_depth_m(0.0, 3600.0) == 0.0
    depth = mixing.mixed_depth_m(1e-13, [900.0, 3600.0])
    assert depth[1] == pytest.approx(2 * depth[0])
    cells, width, diffusivity, time_s = 800, 4e-4, 1e-13, 3600.0
    share = diffused(cells, width, diffusivity, time_s)
    x = (np.arange(cells) + 0.5) * width / cells - width / 2
    at_depth = np.interp(mixing.mixed_depth_m(diffusivity, time_s), x, share)
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
    depth_m = mixing.mixed_depth_m(diffusivity, time_s)
    assert mixing.mixed_share(thick_m, depth_m) == pytest.approx(2 * crossed, rel=1e-3)


def test_limits_of_the_share_mixed():
    assert mixing.mixed_share(3e-4, 0.0) == 0.0
    assert mixing.mixed_share(3e-4, 1.0) == 1.0
    shares = mixing.mixed_share(3e-4, np.linspace(0, 3e-3, 4000))
    assert (np.diff(shares) >= 0).all()
    assert ((shares >= 0) & (shares <= 1)).all()
    # A thicker film takes longer to mix.
    assert (np.diff(mixing.mixed_share(np.linspace(1e-5, 2e-3, 500), 2e-4)) <= 0).all()
