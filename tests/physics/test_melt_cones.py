"""A pyrometric cone bends at one viscosity, whatever its formula: the melt against glazes' kin.

Formulas of Seger (1886); the cones of today's makers end within a few degrees of his, of formulas
they do not print. Nobody printed the viscosity either: it has to be the same, and that of a mass
that sags under its own weight within minutes.
"""

from pathlib import Path

import numpy as np
import pandas as pd

from runpredict.physics import chemistry, heat
from runpredict.physics.melt import viscosity_log10_pa_s

CONES = pd.read_csv(Path(__file__).parents[1] / "published" / "seger_1886.csv", dtype={"cone": str})


def test_cones_of_400_degrees_bend_at_one_viscosity():
    """Potash and lime with iron, boron and ever more silica and alumina, of 898 to 1282 °C."""
    moles = CONES.reindex(columns=chemistry.OXIDES, fill_value=0.0).to_numpy(dtype=float)
    wt = moles * chemistry.MOLAR_MASS_G_PER_MOL
    end_c = heat.cone_peak_c(CONES["cone"].tolist(), 60.0)
    found = viscosity_log10_pa_s(100.0 * wt / wt.sum(axis=1, keepdims=True), end_c)
    assert np.abs(found - 4.4).max() < 1.0
    assert found.std() < 0.5
    # 1 to 10, nearer to a glaze: one formula for all would get thinner by 1 in 100 °C.
    assert found[10:].std() < 0.4
    assert abs(np.polyfit(end_c[10:] / 100.0, found[10:], 1)[0]) < 0.6
