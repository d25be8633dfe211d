"""What a log taught, for a reader: factors with intervals, what lies under, what is to blame."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from runpredict.answers.check import drives
from runpredict.arrays import Floats, Objects
from runpredict.model.stacks import NAMED_BESIDES, Stacks
from runpredict.tables.firings import firings_in_order

if TYPE_CHECKING:
    from runpredict.model.predictors import Predictor
    from runpredict.model.studio import Studio


BARE = "bare clay"
RUN_COLUMNS = ["run_factor", "run_low", "run_high"]
BATCH_COLUMNS = ["glaze", "batch", "factor", "low", "high", "layers", *RUN_COLUMNS]
EFFECT_COLUMNS = ["family", "name", "factor", "low", "high", "rows", *RUN_COLUMNS]
NINE_IN_TEN_SD = 1.645  # standard deviations either way that hold 90 % of a normal
# Those a potter can make use of.
TOLD_FAMILIES = ("glaze", "pair", "body", "kiln", "hand", *NAMED_BESIDES)
# What belongs to glazes and pairs alone, not to the firing, body, hand or kiln.
OWN_FAMILIES = (
    "glaze", "alone", "together", "single", "pair", "combination", "covers", "covered",
)  # fmt: skip
RUN_STEPS = 8  # runs between none and the foot, between which a run is read
LEAST_RUN_M = 0.2e-3


def _factor(mean: float, variance: float) -> tuple[float, float, float]:
    """Median factor of a normal log, and the ends of its 90 % interval."""
    reach = NINE_IN_TEN_SD * np.sqrt(max(variance, 0.0))
    return float(np.exp(mean)), float(np.exp(mean - reach)), float(np.exp(mean + reach))


def effect_name(name: Any) -> str:
    """An effect's name for a reader: "top over below" for a pair."""
    return f"{name[0]} over {name[1]}" if isinstance(name, tuple) else str(name)


def effects_of(predictor: Predictor, stacks: Stacks, log: pd.DataFrame) -> pd.DataFrame:
    """Every effect a log taught.

    Parameters
    ----------
    predictor : Predictor
    stacks : Stacks
        Of the log's pieces.
    log : DataFrame
        In the order of the rows the stacks were made of.

    Returns
    -------
    DataFrame, see `review.Review`; no rows where the log taught nothing
    """
    if predictor.basis == "rules":
        return pd.DataFrame(columns=EFFECT_COLUMNS)
    from runpredict.model.effects import BENDS  # noqa: PLC0415 - loads scipy

    studio, logged = predictor.studio, _Runs(predictor.studio, stacks, log)
    reach = NINE_IN_TEN_SD * np.sqrt(np.maximum(np.diag(studio.covariance), 0.0))
    runs = [logged.factors(studio.mean, studio.mean + step) for step in (0.0, -reach, reach)]
    rows_told = [
        (
            family,
            effect_name(name),
            *_factor(studio.mean[i], studio.covariance[i, i]),
            int(logged.rows[i]),
            *(factors[i] for factors in runs),
        )
        for (family, name), i in studio.known.items()
        if family not in BENDS
    ]
    return pd.DataFrame(rows_told, columns=EFFECT_COLUMNS)


class _Runs:
    """Middle runs of the log's edges, and how far each effect changes them.

    Attributes
    ----------
    rows : ndarray of int, shape (p,)
        Edges that each effect acts on.
    """

    def __init__(self, studio: Studio, stacks: Stacks, log: pd.DataFrame) -> None:
        from runpredict.model.line import Edges  # noqa: PLC0415 - loads scipy
        from runpredict.model.outcomes import outcomes_of  # noqa: PLC0415

        known = ~np.isnan(outcomes_of(log, stacks).upper_m) & stacks.glazed
        piece, edge = np.nonzero(known)
        reach = stacks.lower_m[piece, edge]
        edges = Edges(stacks, studio.known, piece, edge, (reach, reach))
        self._acts = edges.line(studio.mean).slope.tocoo()
        self.rows = np.bincount(self._acts.col[self._acts.data != 0], minlength=len(studio.known))
        share = np.linspace(0.0, 1.0, RUN_STEPS)
        most = np.maximum(reach, 2.0 * LEAST_RUN_M)[:, None]
        self._runs_m = LEAST_RUN_M * (most / LEAST_RUN_M) ** share
        margins = [edges.margin_of(studio.mean, self._runs_m[:, i]) for i in range(RUN_STEPS)]
        self._margins = np.stack(margins, axis=1)

    def _sum_m(self, step: Floats) -> Floats:
        """Sum of the runs that each effect acts on, once so much is taken off it, (p,)."""
        edge, runs = self._acts.row, self._runs_m
        left = self._margins[edge] - (self._acts.data * step[self._acts.col])[:, None]
        run_m = np.where(left[:, 0] > 0, LEAST_RUN_M, 0.0)
        for i in range(RUN_STEPS - 1):
            fall = np.maximum(left[:, i] - left[:, i + 1], 1e-12)
            part = np.clip(left[:, i] / fall, 0.0, 1.0)
            there = runs[edge, i] * (runs[edge, i + 1] / runs[edge, i]) ** part
            run_m = np.where(left[:, i] > 0, there, run_m)
        return np.asarray(np.bincount(self._acts.col, run_m, len(step)), dtype=float)

    def factors(self, fitted: Floats, instead: Floats) -> Floats:
        """Sum of runs with so much of each effect over that with none of it, shape (p,).

        Parameters
        ----------
        fitted : ndarray, shape (p,)
            What of each effect is in the runs as they were fitted, natural log.
        instead : ndarray, shape (p,)
            How much of it there is to be.
        """
        with_it, without = self._sum_m(fitted - instead), self._sum_m(fitted)
        none = np.where(with_it > 0.0, np.inf, 1.0)
        return np.where(without > 0.0, with_it / np.where(without > 0.0, without, 1.0), none)


def since_batches(predictor: Predictor, stacks: Stacks, log: pd.DataFrame) -> pd.DataFrame:
    """What changed with the newest batch of each glaze that was fired before it, too.

    Parameters
    ----------
    predictor, stacks, log
        As for `effects_of`.

    Returns
    -------
    DataFrame, one row a glaze
        glaze, batch; factor on its fluidity against the layers before the batch, whatever they
        were of, with low and high ends of its 90 % interval; layers of the batch; run_factor, all
        runs of those layers as a multiple of what they were without that, and its two ends.
    """
    if predictor.basis == "rules":
        return pd.DataFrame(columns=BATCH_COLUMNS)
    found: list[tuple[Any, ...]] = []
    studio = predictor.studio
    order = {name: place for place, name in enumerate(firings_in_order(log))}
    layers = pd.DataFrame(
        {
            "glaze": log["glaze"].to_numpy(),
            "batch": stacks.names["batch"][stacks.at],
            "effect": stacks.named_besides["batch"][stacks.at],
            "at": log["firing"].map(order).to_numpy(),
        }
    )
    moved = np.zeros((3, len(studio.mean)))
    for glaze, mine in layers.groupby("glaze", sort=False):
        first = mine["at"].groupby(mine["effect"]).transform("min").where(mine["batch"].ne(""))
        if first.isna().all():
            continue
        newest, begun = mine["effect"].to_numpy()[np.nanargmax(first)], first.max()
        before = mine.loc[mine["effect"].ne(newest) & (mine["at"] < begun), "effect"]
        if before.empty:
            continue
        row, place = np.zeros(len(studio.mean)), studio.known["batch", newest]
        row[place] = 1.0
        for name in before.loc[before.ne("")]:
            row[studio.known["batch", name]] -= 1.0 / len(before)
        factor = _factor(float(row @ studio.mean), float(row @ studio.covariance @ row))
        moved[:, place] = np.log(factor)
        own = mine.loc[mine["effect"].eq(newest), "batch"]
        found.append((glaze, own.iloc[0], *factor, len(own), place))
    table = pd.DataFrame(found, columns=[*BATCH_COLUMNS[:6], "place"])
    places = table.pop("place").to_numpy(dtype=np.intp)
    if len(table):
        logged = _Runs(studio, stacks, log)
        for name, instead in zip(RUN_COLUMNS, moved, strict=True):
            table[name] = logged.factors(moved[0], instead)[places]
    return table.reindex(columns=BATCH_COLUMNS)


def than_either(studio: Studio, stacks: Stacks) -> dict[tuple[str, str], tuple[float, ...]]:
    """Fluidity of each pair over that of the runnier of its two alone.

    Parameters
    ----------
    studio : Studio
    stacks : Stacks
        Of the log's pieces.

    Returns
    -------
    dict of (glaze over, glaze under) to (median, low, high), the mean over its logged pieces

    Notes
    -----
    A pair is a layer and the other glaze beneath that it meets. It moves with the mean log
    mobility of its two melts, in their shares of as much of each, and with what the log taught of
    pairs.
    """
    from runpredict.model import effects, priors  # noqa: PLC0415 - loads scipy

    own = np.array([family in OWN_FAMILIES for family, _ in studio.known])
    bends, _ = effects.bends_of(studio.known, studio.mean)
    sums: dict[tuple[str, str], list[tuple[float, Floats]]] = {}
    for _, part in stacks.by_layers():
        n, k = part.present.shape
        moving = effects.Moving.of(part)
        given = priors.ordinary_log(part) - np.log(10.0) * part.viscosity_log10_pa_s
        steps = effects.melt_design(part, studio.known)
        melts = steps.dense().reshape(n, k, -1) * own
        fluid = given + steps.times(studio.mean).reshape(n, k)
        shares = moving.shares(fluid, bends.mixing)
        choices = effects.choice_design(part, studio.known).dense().reshape(n, shares.shape[1], -1)
        choices = shares @ melts + choices * own
        pieces = effects.piece_design(part, studio.known).dense() * own
        apart = (shares @ given[..., None])[..., 0]
        for j in range(1, min(k, 4)):
            beneath = part.under[:, j]
            for i in np.flatnonzero(beneath >= 0):
                under, over = (1 << beneath[i]) - 1, (1 << j) - 1
                both = under + over + 1
                each = [apart[i, c] + choices[i, c] @ studio.mean for c in (under, over)]
                runnier = under if each[0] > each[1] else over
                row = choices[i, both] + pieces[i] - choices[i, runnier]
                key = (part.glaze_name[i, j], part.glaze_name[i, beneath[i]])
                sums.setdefault(key, []).append((apart[i, both] - apart[i, runnier], row))
    factors: dict[tuple[str, str], tuple[float, ...]] = {}
    for key, rows in sorted(sums.items()):
        row = np.mean([row for _, row in rows], axis=0)
        given_apart = float(np.mean([apart for apart, _ in rows]))
        variance = float(row @ studio.covariance @ row)
        factors[key] = _factor(given_apart + float(row @ studio.mean), variance)
    return factors


def glaze_to_blame(seen: pd.DataFrame, stacks: Stacks, predictor: Predictor) -> Objects:
    """The glaze that carried each layer past the foot, "" for one that did not pass, shape (m,).

    Parameters
    ----------
    seen : DataFrame of m layers
        With past_foot, in the order of the rows the stacks were made of.
    stacks : Stacks
    predictor : Predictor
    """
    past = np.flatnonzero(seen["past_foot"] == "yes")
    piece, layer = stacks.at
    pieces, place = np.unique(piece[past], return_inverse=True)
    part, edge = stacks.take(pieces), layer[past]
    driving = predictor.chances(part).driving(part)
    to_blame = np.full(len(seen), "", dtype=object)
    to_blame[past] = part.glaze_name[place, drives(driving[place, edge], edge)]
    return to_blame


def glaze_under(stacks: Stacks) -> Objects:
    """Name of the glaze that each layer lies over, shape (n, k).

    The nearest beneath it that it meets: another glaze where there is one, as the model has it,
    else its own; `BARE` where it meets none.
    """
    names = stacks.glaze_name
    other = np.take_along_axis(names, np.maximum(stacks.under, 0), axis=1)
    same = stacks.glaze[:, :, None] == stacks.glaze[:, None]
    itself = (stacks.meets & same & np.tri(names.shape[1], k=-1, dtype=bool)).any(axis=2)
    return np.where(stacks.under >= 0, other, np.where(itself, names, BARE))
