"""The open measurements of viscosity: read, told apart by paper, weighed for the fit.

Contains information from the SciGlass database, Copyright (c) 2019 EPAM Systems, made available
under the Open Database License (ODbL) 1.0. Part of the refit (`melt_fit`).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from runpredict.arrays import AnyArray, Float32s, Floats, Indices
from runpredict.physics import melt, melt_features, melt_nets

DATA = Path(__file__).parent / "melt_viscosity_open.csv.xz"

FOLDS = 5  # common practice of cross-validation
# Of `row_weights`, for the error; set by hand on what is missed on papers left out.
SOURCE_POWER = 0.25
# Albite and orthoclase melts up to a hundred times thinner than in four other papers on
# the same melts: not fitted to, but scored like the rest.
SOURCES_LEFT_OUT = ("S0045",)
# Mole fractions that differ by less in all are one melt, and so many of them make one family of
# two authors; our choice.
SAME_MELT = 0.003
SHARED_MELTS = 3
# Spread given to an oxide hardly measured, mole fraction.
RARE_OXIDE_SD = 0.005


@dataclass(frozen=True)
class Measurements:
    """The open data: rows as read, and n melts with their rows padded to one width.

    Attributes
    ----------
    rows : DataFrame
        As read: `temperature_c` [°C], `log10_viscosity` (Pa s), oxides as mole fractions.
    fitted : ndarray, shape (n, 23)
        Mole fractions of `melt_features.FITTED`, each row summing to 1.
    source, family : ndarray, shape (n,)
        Paper, and family of papers (`paper_families`).
    t_k, log10_viscosity : ndarray, shape (n, width)
        [K], and log10 of Pa s.
    present : ndarray, shape (n, width)
        1 where there is a row, else 0.
    melt_of_row, place_of_row : ndarray of int, shape (rows,)
        Where each row stands in those.
    """

    rows: pd.DataFrame
    fitted: Float32s
    source: AnyArray
    family: AnyArray
    t_k: Float32s
    log10_viscosity: Float32s
    present: Float32s
    melt_of_row: Indices
    place_of_row: Indices


def read_measurements(path: Path = DATA) -> Measurements:
    """Read the open data.

    Parameters
    ----------
    path : Path
        A table like melt_viscosity_open.csv.xz.

    Returns
    -------
    Measurements

    References
    ----------
    SciGlass database, Copyright (c) 2019 EPAM Systems, Open Database License (ODbL) 1.0.
    """
    rows = pd.read_csv(path)
    melts = rows.groupby("composition_id", sort=True).first()
    x = melts[list(melt_features.FITTED)].to_numpy(dtype=np.float64)
    fitted = (x / x.sum(axis=1, keepdims=True)).astype(np.float32)
    melt_of_row = np.searchsorted(melts.index.to_numpy(), rows["composition_id"].to_numpy())
    place = rows.groupby("composition_id").cumcount().to_numpy().astype(np.intp)
    shape = (len(melts), int(place.max()) + 1)
    t_k = np.full(shape, 1400.0, np.float32)
    value, present = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    t_k[melt_of_row, place] = rows["temperature_c"] + melt.CELSIUS_ZERO_K
    value[melt_of_row, place] = rows["log10_viscosity"]
    present[melt_of_row, place] = 1.0
    return Measurements(
        rows=rows,
        fitted=fitted,
        source=melts["source_id"].to_numpy(),
        family=paper_families(melts["author"].to_numpy(), fitted),
        t_k=t_k,
        log10_viscosity=value,
        present=present,
        melt_of_row=melt_of_row,
        place_of_row=place,
    )


def paper_families(author: AnyArray, fitted: Float32s) -> AnyArray:
    """Family of papers of each melt: one author, or authors who share three melts or more.

    Parameters
    ----------
    author : ndarray of str, shape (n,)
    fitted : ndarray, shape (n, 23)
        Mole fractions.

    Returns
    -------
    ndarray of str, shape (n,)
        The name of one author of the family.

    Notes
    -----
    Laboratories publish one melt under several names; a split by source alone would then
    test on what it was fitted to. Two melts are one when their mole fractions differ by
    less than 0.003 in all (`SAME_MELT`).
    """
    pairs = cKDTree(fitted).query_pairs(SAME_MELT, output_type="ndarray")
    pairs = pairs[author[pairs[:, 0]] != author[pairs[:, 1]]]
    shared = Counter(tuple(sorted((author[i], author[j]))) for i, j in pairs)
    parent = {name: name for name in author}

    def root(name: str) -> str:
        while parent[name] != name:
            name = parent[name]
        return name

    for (one, other), count in shared.items():
        if count >= SHARED_MELTS:
            parent[root(one)] = root(other)
    return np.array([root(name) for name in author])


def assign_folds(group: AnyArray, weight: Floats, seed: int) -> Indices:
    """Fold of each melt: groups whole, largest first into the emptiest fold.

    Parameters
    ----------
    group : ndarray, shape (n,)
        What is left out as one.
    weight : ndarray, shape (n,)
        Rows of each melt.
    seed : int
        Of the order among equals.

    Returns
    -------
    ndarray of int, shape (n,)
        From 0 to `FOLDS` - 1.
    """
    rng = np.random.default_rng(seed)
    size = pd.Series(weight).groupby(group).sum()
    size = size.sample(frac=1.0, random_state=seed).sort_values(ascending=False, kind="stable")
    filled = np.zeros(FOLDS)
    fold_of = {}
    for name, rows in size.items():
        fold_of[name] = int(np.argmin(filled + rng.random(FOLDS) * 20.0))
        filled[fold_of[name]] += rows
    return np.array([fold_of[name] for name in group])


def row_weights(data: Measurements, source_power: float = SOURCE_POWER) -> Float32s:
    """Weight of each row in the fit.

    Parameters
    ----------
    data : Measurements
    source_power : float
        A row weighs (rows of its source) ** -source_power: big sources count, but do not rule.

    Returns
    -------
    ndarray, shape (n, width)
        Mean 1 over the rows there are, 0 for `SOURCES_LEFT_OUT`.
    """
    rows_of_source = pd.Series(data.present.sum(axis=1)).groupby(data.source).transform("sum")
    weight = data.present * (rows_of_source.to_numpy() ** -source_power)[:, None]
    weight[np.isin(data.source, SOURCES_LEFT_OUT)] = 0.0
    return (weight * data.present.sum() / weight.sum()).astype(np.float32)


def reach_of(fitted: Float32s) -> melt_nets.Reach:
    """Where the data end.

    Parameters
    ----------
    fitted : ndarray, shape (n, 23)
        Mole fractions of `melt_features.FITTED`.

    Returns
    -------
    melt_nets.Reach
        Range of each oxide, and the whitening that measures distance from the data.

    References
    ----------
    Mahalanobis (1936), Proc. Natl. Inst. Sci. India 2:49 (the distance), from memory.
    """
    mean = fitted.mean(axis=0, dtype=np.float64)
    covariance = np.cov(fitted.T) + np.eye(len(mean)) * RARE_OXIDE_SD**2
    values, vectors = np.linalg.eigh(covariance)
    whitener = vectors / np.sqrt(values)
    distance = np.linalg.norm((fitted - mean) @ whitener, axis=1)
    return melt_nets.Reach(
        oxide_low=fitted.min(axis=0),
        oxide_high=fitted.max(axis=0),
        oxide_mean=mean.astype(np.float32),
        whitener=whitener.astype(np.float32),
        distance_limit=float(np.quantile(distance, 0.999)),
    )
