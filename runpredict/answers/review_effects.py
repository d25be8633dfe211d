"""The effects a log taught, for a reader: factors with their intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from runpredict.arrays import Floats
from runpredict.model import rules
from runpredict.model.stacks import Stacks
from runpredict.physics import film

if TYPE_CHECKING:
    from runpredict.model.learned import Studio


EFFECT_COLUMNS = ["family", "name", "factor", "low", "high", "rows", "run_factor"]
# What belongs to glazes and pairs alone, not to the firing, body, hand or kiln.
OWN_FAMILIES = ("glaze", "pair", "pair edge", "order", "order below", "over")


def _interval(draws: Floats) -> tuple[Floats, Floats, Floats]:
    """Median factor of each row of log draws, and its 90 % interval."""
    low, middle, high = np.exp(np.quantile(draws, rules.RUN_LEVELS, axis=-1))
    return middle, low, high


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
    from runpredict.model.effects import design, terms_of  # noqa: PLC0415 - loads scipy
    from runpredict.model.learned import outcomes_of  # noqa: PLC0415

    shape = stacks.present.shape
    matrix = design(terms_of(stacks), shape, studio.known).tocsc()
    told = ~np.isnan(outcomes_of(log, stacks).upper_m)
    one = np.ones(shape[1])
    intervals = list(zip(*_interval(studio.effects), strict=True))
    firings = list(zip(*_interval(studio.firings), strict=True))
    median = np.median(studio.effects, axis=1)
    row = np.array([studio.firing_names.get(name, -1) for name in stacks.firing])
    fired = np.where(row >= 0, np.median(studio.firings, axis=1)[row], 0.0)
    mobility = np.matmul(stacks.shares, stacks.mobility_log[..., None])[..., 0] + fired[:, None]
    mobility = mobility + (matrix @ median).reshape(shape)

    def row_of(family: str, name: Any, factor: tuple[Any, ...], step: Floats) -> dict[str, Any]:
        touched = (step != 0).any(axis=1)
        part = stacks.take(touched)
        return {
            "family": family,
            "name": effect_name(name),
            **dict(zip(("factor", "low", "high"), factor, strict=True)),
            "rows": int(((step != 0) & told).sum()),
            "run_factor": _run_factor(part, mobility[touched], step[touched]),
        }

    found = [
        row_of(family, name, intervals[i], median[i] * matrix[:, [i]].toarray().reshape(shape))
        for (family, name), i in studio.known.items()
    ]
    found += [
        row_of("firing", name, firings[i], np.where(row == i, fired, 0.0)[:, None] * one)
        for name, i in studio.firing_names.items()
    ]
    return pd.DataFrame(found, columns=EFFECT_COLUMNS)


def _run_factor(stacks: Stacks, mobility_log: Floats, step: Floats) -> float:
    """Sum of runs with an effect over that without it, of the edges it acts on; 1 for no runs."""
    acts = (step != 0) & stacks.glazed
    if not acts.any():
        return 1.0

    def total(log: Floats) -> float:
        runs = film.run_m(stacks.wall, log[..., None])[..., 0] - rules.HELD_BACK_M
        return float(np.maximum(runs, 0.0)[acts].sum())

    with_it, without = total(mobility_log), total(mobility_log - step)
    if without == 0.0:
        return float("inf") if with_it > 0.0 else 1.0
    return with_it / without


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
    """
    from runpredict.model.effects import design, pair_of_edge, terms_of  # noqa: PLC0415 - loads scipy

    shape, count = stacks.present.shape, studio.effects.shape[1]
    own = np.array([family in OWN_FAMILIES for family, _ in studio.known])
    taught = design(terms_of(stacks), shape, studio.known) @ (studio.effects * own[:, None])
    mixed = np.matmul(stacks.shares, stacks.mobility_log[..., None]) + taught.reshape(*shape, count)
    of_glaze = np.zeros((len(stacks.glazes) + 1, count))
    for code, name in enumerate(stacks.glazes):
        if ("glaze", name) in studio.known:
            of_glaze[code] = studio.effects[studio.known[("glaze", name)]]
    alone = stacks.mobility_log[..., None] + of_glaze[stacks.glaze]
    over, under = pair_of_edge(stacks)
    found = {}
    for o, u in sorted(set(zip(over[over >= 0].tolist(), under[over >= 0].tolist(), strict=True))):
        piece, edge = np.nonzero((over == o) & (under == u) & stacks.present)
        top = np.maximum(edge, 1)
        runnier = np.maximum(alone[piece, top], alone[piece, top - 1])
        excess = (mixed[piece, edge] - runnier).mean(axis=0)
        found[(stacks.glazes[o], stacks.glazes[u])] = tuple(float(v) for v in _interval(excess))
    return found
