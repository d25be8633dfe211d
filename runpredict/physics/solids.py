"""Crystals and grains in the melt: how much there is below saturation, how much it stiffens.

A melt colder than the temperature at which a mineral saturates holds that mineral until what
is left of the melt is no richer in it than it can be: published thermometers say when.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Floats, Indices
from runpredict.datafiles import OXIDES
from runpredict.physics import chemistry
from runpredict.physics.melt import CELSIUS_ZERO_K, melt_curve
from runpredict.physics.melt_properties import molar_volume_cm3

# Cations in a formula unit of the oxide, all iron as Fe.
_CATIONS = {o: 2.0 for o in ("Al2O3", "B2O3", "Li2O", "Na2O", "K2O", "Fe2O3", "P2O5", "Cr2O3")}
_CATIONS |= {"Bi2O3": 2.0, "F": 0.0}
_CATION_TABLE = np.array([_CATIONS.get(o, 1.0) for o in OXIDES])
_AT = {oxide: i for i, oxide in enumerate(OXIDES)}
_MELT_VOLUME_CM3 = molar_volume_cm3(np.eye(len(OXIDES)))
_LEAST = 1e-9  # stands for none in a logarithm
# Temperatures at which the solids are worked out, straight between them. [°C]
_GRID_C = np.arange(500.0, 1601.0, 10.0)

# Solids beyond which Roscoe's law runs away (it ends at 1 / 1.35 = 0.74); our choice.
SOLID_MAX = 0.35
# Share of a melt's cations taken out as a mineral, as far as it is followed.
_TAKEN = np.linspace(0.0, 0.40, 17)
# Where what is left of a melt is compared with the whole [°C], and the most it may stiffen
# (log10 Pa s): the middle of what potters fire to, and no more than solids may; our choice.
_COMPARED_C = 1200.0
_REST_MAX = 0.7
# Standard error of a saturation temperature: 43 °C for plagioclase and 45 °C for pyroxene in
# natural melts (Putirka 2008), 60 °C on the phase diagrams of tests/published/liquidus.csv. [°C]
SATURATION_SD_C = 60.0
# Nodes and weights that stand for a normal error (Gauss and Hermite, five nodes).
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
# A glaze holds from none to all of what would be there at rest: standard error as a share of
# the mean stiffening. Our guess.
_KINETIC_SHARE = 0.5
# An alkali-free melt rich in lime saturates with anorthite later than the thermometer of natural
# melts says: so much for each cation fraction of Ca above the first figure. Our fit to the phase
# diagrams of tests/published/liquidus.csv. [°C]
_LIME_FROM, _LIME_C = 0.14, 1200.0


def _sum_of(x: Floats, *oxides: str) -> Floats:
    total: Floats = x[..., [_AT[oxide] for oxide in oxides]].sum(axis=-1)
    return total


def _anorthite_c(x: Floats) -> Floats:
    """Putirka (2008), eq. 23, for pure anorthite in a dry melt at 1 bar, less our lime term."""
    si, al, ca = x[..., _AT["SiO2"]], x[..., _AT["Al2O3"]], x[..., _AT["CaO"]]
    product = np.maximum(si**2 * al**2 * ca, _LEAST**2)
    inverse = 6.12 - 0.257 * np.log(product) - 3.166 * ca
    inverse = inverse - 3.137 * al / np.maximum(al + si, _LEAST)
    natural: Floats = 1e4 / np.maximum(inverse, 4.0) - CELSIUS_ZERO_K
    return natural - _LIME_C * np.maximum(ca - _LIME_FROM, 0.0)


def _diopside_c(x: Floats) -> Floats:
    """Putirka (2008), eq. 34: clinopyroxene in a dry melt at 1 bar."""
    si, mg, ca = x[..., _AT["SiO2"]], x[..., _AT["MgO"]], x[..., _AT["CaO"]]
    inverse = 6.39 - 5.55 * ca * si - 0.386 * np.log(np.maximum(mg, _LEAST))
    return 1e4 / np.maximum(inverse, 4.0) - CELSIUS_ZERO_K


def _forsterite_c(x: Floats) -> Floats:
    """Beattie (1993) as eq. 19 of Putirka (2008): pure forsterite, 1 bar; from memory."""
    si, al, ti = x[..., _AT["SiO2"]], x[..., _AT["Al2O3"]], x[..., _AT["TiO2"]]
    mg = np.maximum(x[..., _AT["MgO"]], _LEAST)
    modifiers = _sum_of(x, "MgO", "CaO", "Fe2O3", "MnO", "CoO", "NiO")
    formers = 3.5 * np.log1p(-np.minimum(al, 0.9)) + 7.0 * np.log1p(-np.minimum(ti, 0.9))
    inverse = 6.26 + 2.0 * np.log(0.6667 / mg) + 2.0 * np.log(1.5 * np.maximum(modifiers, 0.05))
    inverse = inverse + 2.0 * np.log(3.0 * np.maximum(si, _LEAST)) - formers
    return 13603.0 / np.maximum(inverse, 5.4) - CELSIUS_ZERO_K


def _rutile_c(x: Floats) -> Floats:
    """Ryerson & Watson (1987) at 1 bar; their melts, basalt to rhyodacite, end near FM = 6."""
    modifiers = _sum_of(x, "Na2O", "K2O") + 2.0 * _sum_of(x, "CaO", "MgO", "Fe2O3")
    network = np.maximum(x[..., _AT["SiO2"]] * x[..., _AT["Al2O3"]], _LEAST)
    fm = np.minimum(modifiers / network, 6.0)
    weight = x * (chemistry.MOLAR_MASS_G_PER_MOL / np.maximum(_CATION_TABLE, 1.0))
    share = weight[..., _AT["TiO2"]] / weight.sum(axis=-1)
    inverse = 3.16 - np.log(np.maximum(share, _LEAST)) + 0.152 * fm
    return np.asarray(9373.0 / inverse - CELSIUS_ZERO_K)


def _willemite_c(x: Floats) -> Floats:
    """Ideal mixing of cations: melts at 1512 °C; heat of fusion 100 kJ/mol, from memory."""
    zn, si = x[..., _AT["ZnO"]], x[..., _AT["SiO2"]]
    activity = 2.0 * np.log(np.maximum(1.5 * zn, _LEAST)) + np.log(np.maximum(3.0 * si, _LEAST))
    return np.asarray(1.0 / (1.0 / 1785.0 - 8.314 * activity / 100e3) - CELSIUS_ZERO_K)


@dataclass(frozen=True)
class _Mineral:
    """A mineral: cations of a formula unit, its volume (cm3/mol), its saturation (°C)."""

    cations: dict[str, float]
    volume_cm3: float
    saturation_c: Callable[[Floats], Floats]


# Molar volumes of the crystals: handbook densities.
MINERALS = {
    "anorthite": _Mineral({"CaO": 1, "Al2O3": 2, "SiO2": 2}, 100.8, _anorthite_c),
    "diopside": _Mineral({"CaO": 1, "MgO": 1, "SiO2": 2}, 66.1, _diopside_c),
    "forsterite": _Mineral({"MgO": 2, "SiO2": 1}, 43.8, _forsterite_c),
    "rutile": _Mineral({"TiO2": 1}, 18.8, _rutile_c),
    "willemite": _Mineral({"ZnO": 2, "SiO2": 1}, 52.7, _willemite_c),
}


# Mole fraction of an opacifier that a glaze dissolves, and molar volume of its grains
# (cm3/mol, handbook densities): common practice, no source, for the first.
_OPACIFIERS = {"SnO2": (0.010, 21.5), "ZrO2": (0.015, 39.3)}


@dataclass(frozen=True)
class Solids:
    """What grains and crystals add to the viscosity of n glazes over temperature.

    Attributes
    ----------
    fraction : ndarray, shape (n, g)
        Likeliest share of the volume at each of `_GRID_C`, from 0 to `SOLID_MAX`.
    shift_log10, sd_log10 : ndarray, shape (n, g)
        Expected addition to log10 viscosity (Pa s), and its standard error.
    """

    fraction: Floats
    shift_log10: Floats
    sd_log10: Floats

    def take(self, index: Indices) -> Solids:
        """The glazes at some indices, in that order."""
        return Solids(self.fraction[index], self.shift_log10[index], self.sd_log10[index])

    def shift_at(self, temperature_c: ArrayLike) -> Floats:
        """Expected addition to log10 viscosity.

        Parameters
        ----------
        temperature_c : array_like, shape (m,), (n, 1) or (n, m)
            [°C]

        Returns
        -------
        ndarray, shape (n, m)
            In log10 of Pa s; never rises with temperature.
        """
        return _between(self.shift_log10, temperature_c)

    def sd_at(self, temperature_c: ArrayLike) -> Floats:
        """Standard error of `shift_at`, shaped as that."""
        return _between(self.sd_log10, temperature_c)


def _between(table: Floats, temperature_c: ArrayLike) -> Floats:
    t_c = np.broadcast_to(
        np.asarray(temperature_c, dtype=np.float64),
        np.broadcast_shapes(np.shape(temperature_c), (len(table), 1)),
    )
    place = np.clip((t_c - _GRID_C[0]) / (_GRID_C[1] - _GRID_C[0]), 0.0, len(_GRID_C) - 1.000001)
    left = place.astype(np.intp)
    low = np.take_along_axis(table, left, axis=1)
    high = np.take_along_axis(table, left + 1, axis=1)
    return np.asarray(low + (place - left) * (high - low))


def solids_of(mole_fractions: ArrayLike) -> Solids:
    """Grains and crystals of each glaze, and what they add to its viscosity.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)
        In the order of `datafiles.OXIDES`.

    Returns
    -------
    Solids of n glazes

    Notes
    -----
    log10(η/η0) = -2.5 log10(1 - 1.35 φ), φ the volume of solids: SnO2 and ZrO2 (as zircon)
    beyond what dissolves, and of each of `MINERALS` what has to leave the melt until the rest
    saturates with it at the temperature in question; and what is left, poorer in fluxes, is as
    much stiffer as its own composition says. Saturation temperatures err by `SATURATION_SD_C`:
    the shift is the mean over that error, its standard error the spread, and half the shift for
    what has not come to rest. The shift never rises with temperature and does not hang on time,
    so that a longer hold never brings less flow. Undissolved silica, cristobalite, wollastonite
    and gas are left to learning.

    References
    ----------
    Roscoe (1952), Br. J. Appl. Phys. 3:267. Putirka (2008), Rev. Mineral. Geochem. 69:61
    (eqs 19, 23, 34). Beattie (1993), Contrib. Mineral. Petrol. 115:103. Ryerson & Watson (1987),
    Earth Planet. Sci. Lett. 86:225.
    """
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    grains = np.zeros(len(x))
    for oxide, (soluble, grain_cm3) in _OPACIFIERS.items():
        melt_cm3 = molar_volume_cm3(x)
        grains += np.maximum(x[:, _AT[oxide]] - soluble, 0.0) * grain_cm3 / melt_cm3
    cations = x * _CATION_TABLE
    cations /= np.maximum(cations.sum(axis=1, keepdims=True), _LEAST)
    paths = [_path(cations, mineral) for mineral in MINERALS.values()]

    def solids_if(error_c: float) -> tuple[Floats, Floats]:
        at_c = _GRID_C - error_c
        crystals = sum(_at(path.saturation_c, path.share, at_c) for path in paths)
        rest = sum(_at(path.saturation_c, path.rest_log10, at_c) for path in paths)
        fraction = np.minimum(grains[:, None] + crystals, SOLID_MAX)
        shift = -2.5 * np.log10(1.0 - 1.35 * fraction) + np.minimum(rest, _REST_MAX)
        return fraction, shift

    shifts = np.stack([solids_if(SATURATION_SD_C * node)[1] for node in _NODES])
    mean = np.tensordot(_WEIGHTS, shifts, axes=1)
    spread = np.tensordot(_WEIGHTS, (shifts - mean) ** 2, axes=1)
    return Solids(solids_if(0.0)[0], mean, np.sqrt(spread + (_KINETIC_SHARE * mean) ** 2))


@dataclass(frozen=True)
class _Path:
    """n melts as a mineral leaves them, step by step, each array (n, k).

    `saturation_c` falls; `share` of the mineral in the volume and `rest_log10`, by how much what
    is left is stiffer than the whole, grow.
    """

    saturation_c: Floats
    share: Floats
    rest_log10: Floats


def _path(cations: Floats, mineral: _Mineral) -> _Path:
    formula = np.zeros(len(_AT))
    for oxide, count in mineral.cations.items():
        formula[_AT[oxide]] = count
    count = formula.sum()
    rest = cations[:, None, :] - _TAKEN[:, None] * (formula / count)
    possible = (rest >= 0.0).all(axis=2)
    rest = np.maximum(rest, 0.0)
    rest_cm3 = rest @ (_MELT_VOLUME_CM3 / np.maximum(_CATION_TABLE, 1.0))
    rest /= np.maximum(rest.sum(axis=2, keepdims=True), _LEAST)
    saturation = np.where(possible, mineral.saturation_c(rest), -CELSIUS_ZERO_K)
    taken_cm3 = _TAKEN * mineral.volume_cm3 / count
    moles = (rest / np.maximum(_CATION_TABLE, 1.0)).reshape(-1, len(_AT))
    log10 = melt_curve(moles / moles.sum(axis=1, keepdims=True)).log10_pa_s(_COMPARED_C)
    log10 = np.where(possible, log10.reshape(possible.shape), -np.inf)
    return _Path(
        np.minimum.accumulate(saturation, axis=1),
        np.maximum.accumulate(taken_cm3 / (taken_cm3 + rest_cm3), axis=1),
        np.maximum.accumulate(log10, axis=1) - log10[:, :1],
    )


def _at(saturation_c: Floats, step: Floats, temperature_c: Floats) -> Floats:
    """What a path has come to at each temperature, (n, m), straight between its steps."""
    top, width = saturation_c[:, :-1], np.maximum(-np.diff(saturation_c, axis=1), 5.0)
    total = np.zeros((len(top), len(temperature_c)))
    for k in range(top.shape[1]):
        part = np.clip((top[:, k, None] - temperature_c) / width[:, k, None], 0.0, 1.0)
        total += part * (step[:, k + 1] - step[:, k])[:, None]
    return total
