"""The effects a log can teach: their names, and which of them act on which edge.

An effect is a step in the natural log of mobility. Each has a family and a name; a family shares
one spread, which the log corrects. The powers that bend the film's shape are effects as well.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from scipy import sparse

from runpredict.arrays import AnyArray, Floats, Indices
from runpredict.model import rules
from runpredict.model.chances import USUAL_THICKNESS_M
from runpredict.model.stacks import Stacks
from runpredict.physics import film

Effect = tuple[str, Any]

# Families, and mean and spread expected of each; those of the rules are in `rules`. Natural log of
# mobility; our choice, checked against simulated studios of several kinds.
PAIR_EDGE_SD = 0.6  # one edge of a pair against the other
ORDER_SD = 0.3  # a glaze under others against the same one over them
METHOD_SD = 0.12  # natural log of thickness: dip, pour, brush, spray against the hand
KIND_SD = 0.5  # all edges over glaze; all of glazes alone
LEVEL_SD = 0.7  # all edges: the kiln, and how far the caution of the rules is out of place here
RAMP_SD = 0.3  # a heating rate e times as fast
SHAPE_SD = 0.3  # the powers of `chances.Shape`
SLOW_RAMP_C_PER_H = 60.0
RAMP_LOG_MOST = 1.2  # beyond this rates count as this
OF_GLAZE = ("glaze",)
# What every log is asked about, whether or not a row bears on it.
COMMON: tuple[Effect, ...] = (
    ("hand", ""),
    ("kiln", ""),
    ("over", ""),
    ("alone", ""),
    ("ramp", ""),
    ("caution", ""),
    ("wall", ""),
    ("thickness", ""),
)


def effects_in(parts: Iterable[Stacks]) -> list[Effect]:
    """Every effect that acts on some pieces, each once, in an order of their names."""
    found: set[Effect] = set(COMMON)
    for stacks in parts:
        found |= {("glaze", name) for name in set(stacks.glaze_name[stacks.present])}
        found |= {("method", name) for name in set(stacks.method[stacks.present])}
        found |= {("body", name) for name in set(stacks.body)}
        found |= {("firing", name) for name in set(stacks.firing)}
        over, under = pairs_of(stacks)
        codes = {(o, u) for o, u in zip(over.ravel(), under.ravel(), strict=True) if o >= 0}
        for o, u in codes:
            pair = (stacks.glazes[o], stacks.glazes[u])
            found |= {("pair", pair), ("pair edge", pair)}
            for name in pair:
                found |= {("order", name), ("order below", name)}
    return sorted(found, key=repr)


def pairs_of(stacks: Stacks) -> tuple[Indices, Indices]:
    """Glaze over and glaze under, by number, of the pair each edge belongs to; -1 for none.

    Returns
    -------
    over, under : ndarray of int, shape (n, k)
    """
    mine = np.arange(stacks.present.shape[1])[None]
    partner = stacks.partner
    other = np.take_along_axis(stacks.glaze, np.maximum(partner, 0), axis=1)
    on_top = partner < mine
    over = np.where(partner >= 0, np.where(on_top, stacks.glaze, other), -1)
    under = np.where(partner >= 0, np.where(on_top, other, stacks.glaze), -1)
    return over, under


class Columns:
    """Columns of a design for some pieces.

    Parameters
    ----------
    stacks : Stacks of n pieces with up to k layers
    known : dict
        Column of each effect.
    """

    def __init__(self, stacks: Stacks, known: dict[Effect, int]) -> None:
        self.stacks = stacks
        self.known = known
        self.shape = stacks.present.shape
        self.rows: list[AnyArray] = []
        self.columns: list[AnyArray] = []
        self.values: list[AnyArray] = []

    def add(self, column: AnyArray | int, amount: Floats | float) -> None:
        """A coefficient on every edge whose column is not -1."""
        column = np.broadcast_to(column, self.shape)
        amount = np.broadcast_to(np.asarray(amount, dtype=float), self.shape)
        edge = np.flatnonzero((column >= 0) & (amount != 0) & self.stacks.present)
        self.rows.append(edge)
        self.columns.append(column.ravel()[edge])
        self.values.append(amount.ravel()[edge])

    def named(self, family: str, names: AnyArray) -> Indices:
        """Column of an effect of a family for each name, -1 where it is not known."""
        unique, place = np.unique(names.astype(str), return_inverse=True)
        found = np.array([self.known.get((family, name), -1) for name in unique], dtype=np.intp)
        return found[place.reshape(names.shape)] if len(found) else np.full(names.shape, -1)

    def of_glazes(self, family: str) -> Indices:
        """Column of an effect of a family for each glaze by number, -1 last, for none."""
        names = [*((family, name) for name in self.stacks.glazes), (family, None)]
        return np.array([self.known.get(name, -1) for name in names], dtype=np.intp)

    def matrix(self) -> sparse.csr_array:
        """The coefficients, shape (n k, number known), edge e of piece i in row i k + e."""
        return sparse.csr_array(
            (
                np.concatenate(self.values),
                (np.concatenate(self.rows), np.concatenate(self.columns)),
            ),
            shape=(self.shape[0] * self.shape[1], len(self.known)),
        )


def pair_columns(columns: Columns, family: str) -> Indices:
    """Column of the pair of each edge, -1 for none or one that is not known, shape (n, k)."""
    stacks = columns.stacks
    over, under = pairs_of(stacks)
    count = len(stacks.glazes)
    code = np.where(over >= 0, over * count + under, -1)
    unique, place = np.unique(code, return_inverse=True)
    pairs = [(stacks.glazes[c // count], stacks.glazes[c % count]) for c in unique.tolist()]
    found = np.array([columns.known.get((family, pair), -1) for pair in pairs], dtype=np.intp)
    found[unique < 0] = -1
    return found[place.reshape(code.shape)]


def design(
    stacks: Stacks, known: dict[Effect, int], shares: Floats, with_firings: bool = True
) -> sparse.csr_array:
    """Coefficients of effects in the margin of every edge.

    Parameters
    ----------
    stacks : Stacks of n pieces with up to k layers
    known : dict
        Column of each effect; others are left out.
    shares : ndarray, shape (n, k, k)
        Of each layer's melt in each edge.
    with_firings : bool
        Whether firings act by name.

    Returns
    -------
    sparse array, shape (n k, number known), edge e of piece i in row i k + e
    """
    columns = Columns(stacks, known)
    glaze = columns.of_glazes("glaze")[stacks.glaze]
    method = columns.named("method", stacks.method)
    hand = known.get(("hand", ""), -1)
    for j in range(columns.shape[1]):
        share = shares[:, :, j]
        coat = 2.0 * share * ~stacks.measured[:, [j]]
        columns.add(glaze[:, [j]], share)
        columns.add(hand, coat)
        columns.add(method[:, [j]], coat)
    _add_pairs(columns)
    columns.add(known.get(("kiln", ""), -1), 1.0)
    columns.add(columns.named("body", stacks.body)[:, None], 1.0)
    ramp = np.clip(np.log(stacks.ramp_c_per_h / SLOW_RAMP_C_PER_H), -RAMP_LOG_MOST, RAMP_LOG_MOST)
    columns.add(known.get(("ramp", ""), -1), ramp[:, None])
    if with_firings:
        columns.add(columns.named("firing", stacks.firing)[:, None], 1.0)
    return columns.matrix()


def _add_pairs(columns: Columns) -> None:
    stacks, known = columns.stacks, columns.known
    mine = np.arange(columns.shape[1])[None]
    on_top = (stacks.partner >= 0) & (stacks.partner < mine)
    below = (stacks.partner >= 0) & ~on_top
    over, under = pairs_of(stacks)
    columns.add(pair_columns(columns, "pair"), 1.0)
    columns.add(pair_columns(columns, "pair edge"), np.where(on_top, 0.5, -0.5))
    for family, where in (("order", on_top | below), ("order below", below)):
        of_glaze = columns.of_glazes(family)
        columns.add(of_glaze[under], np.where(where, 0.5, 0.0))
        columns.add(of_glaze[over], np.where(where, -0.5, 0.0))
    columns.add(known.get(("over", ""), -1), np.where(stacks.under >= 0, 1.0, 0.0))
    columns.add(known.get(("alone", ""), -1), 1.0 - rules.paired(stacks))


def shape_design(
    stacks: Stacks, known: dict[Effect, int], moving: list[film.Film], shares: Floats
) -> sparse.csr_array:
    """Coefficients of the powers that bend the film's shape, as `design`."""
    columns = Columns(stacks, known)
    _, thick = film.driving(moving, stacks.lower_m + 1e-3)
    high = np.log((stacks.lower_m + film.CAUTION_NEAR_M) / film.CAUTION_AT_M)
    slope = (shares * np.log(stacks.slope)[:, None]).sum(axis=2)
    columns.add(known.get(("caution", ""), -1), high)
    columns.add(known.get(("wall", ""), -1), slope)
    columns.add(
        known.get(("thickness", ""), -1),
        2.0 * np.log(np.maximum(thick, 1e-6) / USUAL_THICKNESS_M),
    )
    return columns.matrix()


def prior_of(
    effects: list[Effect], glaze_prior: dict[str, tuple[float, float]]
) -> tuple[Floats, Floats]:
    """Mean and spread expected of each effect.

    Parameters
    ----------
    effects : list of Effect, length p
    glaze_prior : dict
        Mean and spread of each glaze.

    Returns
    -------
    mean, sd : ndarray, shape (p,)
    """
    common = {
        "pair": (0.0, rules.PAIR_SD),
        "pair edge": (0.0, PAIR_EDGE_SD),
        "order": (0.0, ORDER_SD),
        "order below": (0.0, ORDER_SD),
        "body": (0.0, rules.BODY_SD),
        "kiln": (0.0, LEVEL_SD),
        "over": (0.0, KIND_SD),
        "alone": (0.0, KIND_SD),
        "ramp": (0.0, RAMP_SD),
        "hand": (0.0, rules.HAND_SD),
        "method": (0.0, METHOD_SD),
        "firing": (0.0, rules.FIRING_SD),
        "caution": (rules.CAUTION, SHAPE_SD),
        "wall": (0.0, SHAPE_SD),
        "thickness": (0.0, SHAPE_SD),
    }
    both = [glaze_prior[name] if family == "glaze" else common[family] for family, name in effects]
    table = np.array(both, dtype=float).reshape(-1, 2)
    return table[:, 0], table[:, 1]
