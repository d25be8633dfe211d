"""Titania: our melt and a published equation of natural melts against measurements.

The equation (Giordano, Russell & Dingwell 2008, Earth Planet. Sci. Lett. 271:123) counts TiO2 as
it does SiO2 and Al2O3. Dingwell (1992), Am. Mineral. 77:270, measured that TiO2 makes CaSiO3 and
Na2SiO3 melts thinner; so do the open data.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from refit import melt_fit, melt_measurements

from runpredict.arrays import Floats
from runpredict.physics import chemistry, melt, melt_nets

NATURAL = ("SiO2", "TiO2", "Al2O3", "Fe2O3", "MnO", "MgO", "CaO", "Na2O", "K2O", "P2O5")


def giordano_2008(mol_pct: pd.DataFrame, t_k: Floats) -> Floats:
    """log10 viscosity (Pa s); mol % of FeO and the rest, H2O too. Table 1, second-hand."""
    m = mol_pct.reindex(columns=[*NATURAL, "FeO", "H2O"], fill_value=0.0)
    si, ti, al, mg, ca = (m[o].to_numpy() for o in ("SiO2", "TiO2", "Al2O3", "MgO", "CaO"))
    na, k, p, w = (m[o].to_numpy() for o in ("Na2O", "K2O", "P2O5", "H2O"))
    fe_mn = (m["FeO"] + m["MnO"]).to_numpy()
    fm, nk, ta = fe_mn + mg, na + k, ti + al
    b = 159.6 * (si + ti) - 173.3 * al + 72.1 * (fe_mn + p) + 75.7 * mg - 39.0 * ca
    b += -84.1 * (na + w) + 141.5 * (w + np.log1p(w)) - 2.43 * (si + ti) * fm
    b += -0.91 * (si + ta + p) * (nk + w) + 17.6 * al * nk
    c = 2.75 * si + 15.7 * ta + 8.3 * fm + 10.2 * ca - 12.3 * nk - 99.5 * np.log1p(w)
    c += 0.30 * (al + fm + ca - p) * (nk + w)
    return np.asarray(-4.55 + b / (t_k - c), dtype=float)


def test_equation_gives_its_own_worked_figure() -> None:
    """Table 2: an andesite with 2 % water has log10 viscosity 3.67 at 1273 K."""
    wt = {"SiO2": 62.40, "TiO2": 0.55, "Al2O3": 20.01, "FeO": 0.03, "MnO": 0.02, "MgO": 3.22}
    wt |= {"CaO": 9.08, "Na2O": 3.52, "K2O": 0.93, "P2O5": 0.12, "H2O": 2.00}
    molar = dict(zip(chemistry.OXIDES, chemistry.MOLAR_MASS_G_PER_MOL, strict=True))
    molar |= {"FeO": 71.844, "H2O": 18.015}
    mol = pd.DataFrame([{oxide: amount / molar[oxide] for oxide, amount in wt.items()}])
    value = giordano_2008(100.0 * mol / mol.to_numpy().sum(), np.array([1273.0]))
    assert value[0] == pytest.approx(3.67, abs=0.03)


@pytest.fixture(scope="module")
def left_out() -> melt_fit.HeldOut:
    data = melt_measurements.read_measurements()
    return melt_fit.cross_validate(data, "family", members=3, epochs=30)


def test_measured_titania_melts_are_as_we_say_and_not_as_the_equation(
    left_out: melt_fit.HeldOut,
) -> None:
    """Melts of at least 1 mol% TiO2 and of natural oxides but for 5 mol%, families left out."""
    rows = left_out.rows
    mol = rows[list(NATURAL)].assign(FeO=2.0 * rows["Fe2O3"])
    natural = mol[list(NATURAL)].sum(axis=1) > 0.95
    keep = (natural & (rows["TiO2"] >= 0.01)).to_numpy()
    mol = mol.drop(columns="Fe2O3")[keep]
    t_k = rows["temperature_c"].to_numpy()[keep] + melt.CELSIUS_ZERO_K
    theirs = giordano_2008(100.0 * mol.div(mol.sum(axis=1), axis=0), t_k)
    theirs = theirs - rows["log10_viscosity"].to_numpy()[keep]
    ours = left_out.miss[keep]
    assert keep.sum() > 300
    assert abs(np.mean(ours)) < 0.1
    assert np.median(np.abs(ours)) < 0.15
    assert np.median(theirs) > 0.6  # four times too stiff, and more


def test_error_of_titania_melts_holds(left_out: melt_fit.HeldOut) -> None:
    """As for all melts: nine in ten papers' rows within 1.645 of the standard error."""
    c = melt_nets.coefficients()
    sd = left_out.sd(np.append(c.error, c.error_share**2))
    for least, most in ((0.01, 0.03), (0.03, 0.2)):
        keep = left_out.rows["TiO2"].between(least, most).to_numpy()
        assert np.mean(np.abs(left_out.miss[keep]) < 1.645 * sd[keep]) > 0.85


def test_titania_for_silica_makes_a_glaze_thinner() -> None:
    """Dingwell (1992): so it is along the joins CaSiO3-TiO2 and Na2SiO3-TiO2."""
    glaze = {"SiO2": 62.0, "Al2O3": 12.0, "K2O": 4.0, "Na2O": 3.0, "CaO": 14.0, "MgO": 2.0}
    rutile = {**glaze, "SiO2": 56.0, "TiO2": 6.0}
    thinner = melt.viscosity_log10_pa_s(glaze, 1240.0) - melt.viscosity_log10_pa_s(rutile, 1240.0)
    assert 0.2 < thinner[0] < 1.0
