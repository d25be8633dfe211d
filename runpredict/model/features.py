"""From the potter's tables to one numeric row a layer, and to the arrays the film needs.

Everything physics says of a layer, and nothing that only experience can say, is worked out
here: how thick it is once fired, how fluid its melt is over the firing, where it overlaps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from runpredict.arrays import AnyArray, Bools, Floats, Indices
from runpredict.datafiles import OXIDES
from runpredict.physics import dipping, heat, lots, melt, melt_properties, sheets, solids
from runpredict.physics.chemistry import mole_fractions, unity_formula
from runpredict.tables.columns import COLUMNS
from runpredict.tables.plan import check_plan
from runpredict.tables.rows import with_defaults

# Dry thickness of the first coat and of each further one [mm], and what is left of it once the
# pores have closed and the burnt part is gone. Common practice, no source.
FIRST_COAT_MM = {"dip": 0.40, "pour": 0.36, "brush": 0.12, "spray": 0.09}
NEXT_COAT_MM = {"dip": 0.33, "pour": 0.29, "brush": 0.11, "spray": 0.08}
FIRED_SHARE = 0.48
DIP_COLUMNS = ("specific_gravity", "dip_s", "absorption_pct")
LEAST_MOBILITY_PER_M = 1e-30  # stands for none, so that its logarithm is a number
MORE_COATS = 3  # coats beyond the planned ones that a decision may look at

# A jar is taken to hold an ordinary mid-range glaze (moles a unity of fluxes; common practice,
# no source), bought for the cone it is fired to: outside this span of peaks its viscosity at the
# top changes by only a third as much as one melt's would.
JAR_UNITY = {
    "Na2O": 0.18, "K2O": 0.10, "MgO": 0.07, "CaO": 0.50, "SrO": 0.05, "ZnO": 0.10,
    "Al2O3": 0.35, "B2O3": 0.18, "SiO2": 3.2,
}  # fmt: skip
JAR_SPAN_C = (1150.0, 1260.0)
JAR_SHARE_OUTSIDE = 1.0 / 3.0
LABEL_RAMP_C_PER_H = 60.0
JAR_CONE_C = 1222.0  # where that glaze is mature; one for another cone is as fluid at its own
# A level film spreads under its own height, and no shelf or wall is true: it creeps as on so much
# more slope. Common practice, no source.
LEVEL_SLOPE = 0.06


def typical_thickness_mm(method: Sequence[str], coats: ArrayLike) -> Floats:
    """Dry thickness of a layer nobody measured.

    Parameters
    ----------
    method : sequence of str, length n: dip, pour, brush or spray
    coats : array_like, shape (n,)

    Returns
    -------
    ndarray, shape (n,). [mm]

    Examples
    --------
    >>> typical_thickness_mm(["dip", "brush"], [1, 3]).round(2).tolist()
    [0.4, 0.34]
    """
    first = np.array([FIRST_COAT_MM[m] for m in method])
    further = np.array([NEXT_COAT_MM[m] for m in method])
    return np.asarray(first + further * (np.asarray(coats, dtype=float) - 1.0), dtype=float)


def expected_thickness_mm(layers: pd.DataFrame) -> tuple[Floats, Bools]:
    """Dry thickness of each layer as if nobody had measured it.

    Parameters
    ----------
    layers : DataFrame, as `with_defaults` returns

    Returns
    -------
    thickness_mm : ndarray, shape (n,)
        Of the typical coats; of dips and pours as much more or less as the gravity of the slip,
        the seconds and the thirst of the body say, where they are told.
    told : ndarray of bool, shape (n,)
        Whether the slip or the seconds of a dip or pour are.
    """
    typical = typical_thickness_mm(layers["method"].tolist(), layers["coats"].to_numpy(dtype=float))
    dips = [layers[name].to_numpy(dtype=float) for name in DIP_COLUMNS]
    factor = dipping.dipped_mm(*dips) / dipping.dipped_mm(*dipping.ORDINARY)
    dipped = layers["method"].isin(["dip", "pour"]).to_numpy()
    told = dipped & ~np.isnan(dips[:2]).all(axis=0)
    return np.where(dipped, factor, 1.0) * typical, told


def _jar_shift_c(glazes: pd.DataFrame, peak_c: Floats) -> Floats:
    """How much hotter or colder each jar's melt is than the ordinary one's would be. [°C]

    A jar is as fluid at the cone on its label as the ordinary glaze at its own; one without a
    label is taken to be bought for the cone it is fired to, as far as glazes reach.
    """
    low, high = JAR_SPAN_C
    outside = np.maximum(peak_c - high, 0.0) - np.maximum(low - peak_c, 0.0)
    shift = -(1.0 - JAR_SHARE_OUTSIDE) * outside
    label = glazes.get("matures_cone")
    if label is None:
        return shift
    named = label.fillna("").ne("").to_numpy()
    mature_c = np.full(len(glazes), JAR_CONE_C)
    if named.any():
        cones = label[named].tolist()
        mature_c[named] = heat.cone_peak_c(cones, np.full(len(cones), LABEL_RAMP_C_PER_H))
    return np.where(named, JAR_CONE_C - mature_c, shift)


@dataclass(frozen=True)
class _Melts:
    """What chemistry alone says of n glazes.

    Attributes
    ----------
    curves : melt.MeltCurve
    known : ndarray of bool, shape (n,)
        The glaze is no jar.
    moles : ndarray, shape (n, 24)
    solids : solids.Solids
    unity : dict of ndarray, shape (n,)
        The unity formula in brief; NaN for a jar.
    """

    curves: melt.MeltCurve
    known: Bools
    moles: Floats
    solids: solids.Solids
    unity: dict[str, Floats]


def _melts_of(glazes: pd.DataFrame) -> _Melts:
    return _melts_of_oxides(glazes[list(OXIDES)].to_numpy(dtype=float).tobytes())


@lru_cache(maxsize=8)  # while somebody types at a pot, the glazes stay as they are
def _melts_of_oxides(oxides: bytes) -> _Melts:
    given = pd.DataFrame(np.frombuffer(oxides).reshape(-1, len(OXIDES)), columns=list(OXIDES))
    known = given.notna().any(axis=1).to_numpy()
    jar = np.array([[JAR_UNITY.get(oxide, 0.0) for oxide in OXIDES]])
    moles = np.repeat(jar / jar.sum(), len(given), axis=0)
    if known.any():
        moles[known] = mole_fractions(given.loc[known])
    unity: Any = unity_formula(given.loc[known]).reindex(given.index)
    names = {name: name for name in ("alkali_mol", "alkaline_earth_mol", "zinc_mol")}
    names |= {f"{oxide}_per_flux_mol": oxide for oxide in ("B2O3", "Al2O3", "SiO2")}
    names["silica_alumina_ratio"] = "silica_alumina_ratio"
    return _Melts(
        curves=melt.melt_curve(moles),
        known=known,
        moles=moles,
        solids=solids.solids_of(moles),
        unity={column: unity[name].to_numpy(dtype=float) for column, name in names.items()},
    )


def _lot_spread_c(glazes: pd.DataFrame) -> Floats:
    """How far lots of its materials shift each glaze; 0 where no recipe was worked out. [°C]"""
    if "lot_spread_c" not in glazes:
        return np.zeros(len(glazes))
    return glazes["lot_spread_c"].to_numpy(dtype=float)


def _row_firings(
    layers: pd.DataFrame, schedules: pd.DataFrame | None
) -> tuple[heat.Firings, Indices]:
    """The distinct firings and the number of each row's."""
    typed = {} if schedules is None else dict(tuple(schedules.groupby("firing", sort=False)))
    witness = layers["witness_cone"].to_numpy(dtype=object)
    seen = witness != ""
    by_name = layers["firing"].isin(list(typed)).to_numpy() & ~seen
    told = zip(
        np.where(by_name, layers["firing"], ""),
        np.where(seen, witness, layers["cone"]),
        layers["ramp_c_per_h"].to_numpy(),
        np.where(seen, 0.0, layers["hold_min"]),  # what went down has felt the hold, too
        strict=True,
    )
    number: dict[tuple[Any, ...], int] = {}
    codes = [number.setdefault(key[:1] if key[0] else key, len(number)) for key in told]
    parts: list[heat.Firings] = []
    order: list[Indices] = []
    cones = [key for key in number if len(key) > 1]
    if cones:
        _, cone, ramps, holds = zip(*cones, strict=True)
        ramp = np.array(ramps, dtype=float)
        peak = heat.witness_peak_c(list(cone), ramp)
        parts.append(heat.firings_from_peak(peak, ramp, np.array(holds, dtype=float)))
        order.append(np.array([number[key] for key in cones]))
    for key in (key for key in number if len(key) == 1):
        segments = typed[key[0]].sort_values("segment")
        parts.append(
            heat.firing_from_schedule(
                segments["rate_c_per_h"].tolist(),
                segments["target_c"].tolist(),
                segments["hold_min"].fillna(0.0).tolist(),
            )
        )
        order.append(np.array([number[key]]))
    place = np.argsort(np.concatenate(order))
    return heat.join(parts).take(place), np.array(codes, dtype=np.intp)


def _melt_columns(
    layers: pd.DataFrame, glazes: pd.DataFrame, schedules: pd.DataFrame | None
) -> dict[str, AnyArray]:
    """What chemistry and heat say of each row."""
    melts = _melts_of(glazes)
    curves, known, moles = melts.curves, melts.known, melts.moles
    firings, firing_code = _row_firings(layers, schedules)
    glaze_code = pd.Index(glazes["glaze"]).get_indexer(layers["glaze"])
    pair, row = np.unique(
        glaze_code.astype(np.int64) * len(firings.peak_c) + firing_code, return_inverse=True
    )
    g, f = np.divmod(pair, len(firings.peak_c))
    curve = replace(
        curves,
        t3_k=curves.t3_k[g],
        steepness=curves.steepness[g],
        sd_log10=curves.sd_log10[g],
        outside=curves.outside[g],
    )
    fired = firings.take(f)
    shift = np.where(known[g], 0.0, _jar_shift_c(glazes.iloc[g], fired.peak_c))
    in_melt = melts.solids.take(g)
    peak = (fired.peak_c + shift)[:, None]
    at_peak, sd = (
        each[:, 0] for each in lots.viscosity_at(curve, in_melt, _lot_spread_c(glazes)[g], peak)
    )
    columns = {
        "peak_c": fired.peak_c,
        "hold_min": fired.hold_min,
        "viscosity_log10_pa_s": at_peak,
        "viscosity_sd_log10": sd,
        "outside_data": curve.outside,
        "chemistry_known": known[g],
        "fluidity_per_pa": heat.fluidity_per_pa(curve, fired, shift, in_melt),
        "fluidity_per_hold_min_per_pa": 60.0 * 10.0**-at_peak,
        "density_kg_m3": melt_properties.density_kg_m3(moles[g], fired.peak_c),
        "surface_tension_n_m": melt_properties.surface_tension_n_m(moles[g], fired.peak_c),
    }
    found = {name: np.asarray(values)[row] for name, values in columns.items()}
    return found | {name: values[glaze_code] for name, values in melts.unity.items()}


def build_features(
    layers: pd.DataFrame,
    glazes: pd.DataFrame,
    *,
    recipes: pd.DataFrame | None = None,
    materials: pd.DataFrame | None = None,
    schedules: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """One row of numbers a layer: all that chemistry, heat and geometry say of it.

    Parameters
    ----------
    layers, glazes, recipes, materials, schedules : DataFrame
        The tables of those names.

    Returns
    -------
    DataFrame, index of ``layers``
        The layer as given, then `peak_c`, `viscosity_log10_pa_s` at the peak and its error,
        `fluidity_per_pa` (∫ dt/η), `mobility_per_m`, the melt's density and surface tension,
        and the unity formula in brief. A jar has the numbers of an ordinary mid-range glaze.

    Raises
    ------
    BadInput : with every fault of every table.
    """
    tables = check_plan(layers, glazes, recipes=recipes, materials=materials, schedules=schedules)
    return features_of(tables.plan, tables.glazes, tables.schedules)


def features_of(
    layers: pd.DataFrame, glazes: pd.DataFrame, schedules: pd.DataFrame | None = None
) -> pd.DataFrame:
    """`build_features` for tables that `plan.check_plan` or `plan.read_plan` has returned.

    Returns
    -------
    DataFrame, one row a layer, index of ``layers``
    """
    layers = with_defaults(layers)
    named = glazes.set_index("glaze")
    layers = _with_schedule_ramp(layers, schedules)
    expected, dip_told = expected_thickness_mm(layers)
    measured = layers["thickness_mm"].notna().to_numpy()
    needle = dip_told & measured
    melts = _melt_columns(layers, glazes, schedules)
    slope = sheets.slope(layers["wall_deg"].to_numpy(dtype=float)) + LEVEL_SLOPE
    drive = sheets.GRAVITY_M_S2 * melts["density_kg_m3"] * slope
    told = {
        name: named[name].reindex(layers["glaze"]).to_numpy()
        for name in ("behaviour", "matures_cone")
    }
    as_given = {c.name: layers[c.name] for c in COLUMNS["layers"] if not c.after}
    columns = (
        as_given
        | told
        | {
            "thickness_measured": measured,
            "dip_told": dip_told,
            "needle_log": np.where(needle, np.log(layers["thickness_mm"] / expected), np.nan),
            "thickness_mm": layers["thickness_mm"].where(measured, expected),
            **melts,
            "heat_log": _heat_seen_log(layers, glazes, schedules, melts["fluidity_per_pa"]),
            "slope": slope,
            "mobility_per_m": drive * melts["fluidity_per_pa"],
            "mobility_per_hold_min_per_m": drive * melts["fluidity_per_hold_min_per_pa"],
        }
    )
    return pd.DataFrame(columns, index=layers.index)


def _heat_seen_log(
    layers: pd.DataFrame,
    glazes: pd.DataFrame,
    schedules: pd.DataFrame | None,
    seen: Floats,
) -> Floats:
    """Natural log of the fluidity by the cone that went down over what was planned, shape (n,).

    NaN where no cone was seen to go down, inf where none was planned.
    """
    typed: list[str] = [] if schedules is None else schedules["firing"].tolist()
    told = layers["witness_cone"].ne("")
    both = told & (layers["cone"].ne("") | layers["firing"].isin(typed))
    found = np.where(told, np.inf, np.nan)
    if both.any():
        planned = _melt_columns(layers.loc[both].assign(witness_cone=""), glazes, schedules)
        least = LEAST_MOBILITY_PER_M
        ratio = np.maximum(seen[both], least) / np.maximum(planned["fluidity_per_pa"], least)
        found[both] = np.log(ratio)
    return found


def _with_schedule_ramp(layers: pd.DataFrame, schedules: pd.DataFrame | None) -> pd.DataFrame:
    """The heating rate that a typed schedule reaches its top with, in place of a default."""
    if schedules is None or not layers["firing"].isin(schedules["firing"]).any():
        return layers
    top = schedules.loc[schedules.groupby("firing")["target_c"].idxmax()]
    rate = top.set_index("firing")["rate_c_per_h"].reindex(layers["firing"]).to_numpy(dtype=float)
    return layers.assign(ramp_c_per_h=np.where(rate > 0, rate, layers["ramp_c_per_h"]))
