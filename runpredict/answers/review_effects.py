"""The effects a log taught, for a reader: factors with their intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from runpredict.arrays import Floats
from runpredict.model.chances import HELD_BACK_M
from runpredict.model.stacks import Stacks
from runpredict.physics import film

if TYPE_CHECKING:
    from runpredict.model.effects import Effect
    from runpredict.model.learned import Studio


EFFECT_COLUMNS = ["family", "name", "factor", "low", "high", "rows", "run_factor"]
NINE_IN_TEN_SD = 1.645  # standard deviations either way that hold 90 % of a normal
# Powers of slope, thickness and height, no factors; they bend the film's shape.
SHAPE_FAMILIES = ("caution", "wall", "thickness")
# What belongs to glazes and pairs alone, not to the firing, body, hand or kiln.
OWN_FAMILIES = ("glaze", "pair", "pair edge", "order", "order below", "over")


def _factor(mean: float, variance: float) -> tuple[float, float, float]:
    """Median factor of a normal log, and the ends of its 90 % interval."""
    reach = NINE_IN_TEN_SD * np.sqrt(max(variance, 0.0))
    return float(np.exp(mean)), float(np.exp(mean - reach)), float(np.exp(mean + reach))


def effect_name(name: Any) -> str:
    """An effect's name for a reader: "top over below" for a pair."""
    return f"{name[0]} over {name[1]}" if isinstance(name, tuple) else str(name)


def effects_of(studio: Studio | None, stacks: Stacks, log: pd.DataFrame) -> pd.DataFrame:
    """Every effect a log taught.

    Parameters
    ----------
    studio : Studio or None
        What the log taught; None where it taught nothing.
    stacks : Stacks
        Of the log's pieces.
    log : DataFrame
        In the order of the rows the stacks were made of.

    Returns
    -------
    DataFrame, see `review.Review`
    """
    if studio is None:
        return pd.DataFrame(columns=EFFECT_COLUMNS)
    from runpredict.model.effects import design  # noqa: PLC0415 - loads scipy
    from runpredict.model.outcomes import outcomes_of  # noqa: PLC0415

    acts = design(stacks, studio.known, stacks.shares)
    told = ~np.isnan(outcomes_of(log, stacks).upper_m)
    rows = np.bincount(
        acts.indices, np.repeat((told & stacks.glazed).ravel(), np.diff(acts.indptr)), acts.shape[1]
    )
    run_factor = _run_factors(studio, stacks, acts)
    found = [
        (
            family,
            effect_name(name),
            *_factor(studio.mean[i], studio.covariance[i, i]),
            int(rows[i]),
            run_factor[i],
        )
        for (family, name), i in studio.known.items()
        if family not in SHAPE_FAMILIES
    ]
    return pd.DataFrame(found, columns=EFFECT_COLUMNS)


def _run_factors(studio: Studio, stacks: Stacks, acts: Any) -> Floats:
    """Sum of runs with each effect over that without it, of the edges it acts on, shape (p,).

    Parameters
    ----------
    studio : Studio
    stacks : Stacks of n pieces with up to k layers
    acts : sparse array, shape (n k, p)
        Coefficient of each effect in the margin of each edge.
    """
    n, k = stacks.present.shape
    counts = np.diff(acts.indptr)
    edge = np.repeat(np.arange(n * k), counts)
    place = np.arange(len(edge)) - np.repeat(acts.indptr[:-1], counts)
    steps = np.zeros((n * k, int(counts.max(initial=0)) + 1))  # the last takes nothing away
    steps[edge, place] = acts.data * studio.mean[acts.indices]
    shape = studio.shape
    runs = film.run_m(
        shape.films(stacks, studio.melt_log(stacks)),
        studio.edges(stacks)[0][..., None] - steps.reshape(n, k, -1),
        stacks.lower_m + HELD_BACK_M,
        shape.caution,
    )
    runs = np.where(stacks.glazed[..., None], np.maximum(runs - HELD_BACK_M, 0.0), 0.0)
    runs = runs.reshape(n * k, -1)
    with_it, without = (
        np.bincount(acts.indices, weights, acts.shape[1])
        for weights in (runs[edge, -1], runs[edge, place])
    )
    none = np.where(with_it > 0.0, np.inf, 1.0)
    return np.where(without > 0.0, with_it / np.where(without > 0.0, without, 1.0), none)


def than_either(studio: Studio, stacks: Stacks) -> dict[tuple[str, str], tuple[float, ...]]:
    """Fluidity of each pair over that of the runnier of its two alone.

    Parameters
    ----------
    studio : Studio
    stacks : Stacks
        Of the log's pieces.

    Returns
    -------
    dict of (glaze over, glaze under) to (median, low, high), the mean over its logged edges

    Notes
    -----
    A pair's edge moves with the mean log mobility of its two melts, in the shares of
    `Stacks.shares`, and with what the log taught of pairs.
    """
    from runpredict.model.effects import design, pairs_of  # noqa: PLC0415 - loads scipy

    shape = stacks.present.shape
    own = np.array([family in OWN_FAMILIES for family, _ in studio.known])
    mixed = design(stacks, studio.known, stacks.shares).toarray().reshape(*shape, -1) * own
    alone = _glaze_rows(stacks, studio.known)
    given = np.matmul(stacks.shares, stacks.mobility_log[..., None])[..., 0]
    over, under = pairs_of(stacks)
    found: dict[tuple[str, str], tuple[float, ...]] = {}
    for o, u in sorted(set(zip(over[over >= 0].tolist(), under[over >= 0].tolist(), strict=True))):
        piece, edge = np.nonzero((over == o) & (under == u) & stacks.present)
        both = np.stack([edge, stacks.partner[piece, edge]])
        log = stacks.mobility_log[piece, both] + alone[stacks.glaze[piece, both]] @ studio.mean
        runnier = np.take_along_axis(both, log.argmax(axis=0)[None], axis=0)[0]
        row = (mixed[piece, edge] - alone[stacks.glaze[piece, runnier]]).mean(axis=0)
        apart = (given[piece, edge] - stacks.mobility_log[piece, runnier]).mean()
        excess = _factor(float(apart + row @ studio.mean), float(row @ studio.covariance @ row))
        found[(stacks.glazes[o], stacks.glazes[u])] = excess
    return found


def _glaze_rows(stacks: Stacks, known: dict[Effect, int]) -> Floats:
    """Coefficients of the effects in a melt alone, by number of its glaze, (glazes, p)."""
    rows = np.zeros((len(stacks.glazes), len(known)))
    for code, name in enumerate(stacks.glazes):
        if ("glaze", name) in known:
            rows[code, known[("glaze", name)]] = 1.0
    return rows
